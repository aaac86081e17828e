"""Where a bent vane would stand: its siblings' outlines turned into place."""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.pages.overlay_vanes import Points, sibling_outlines

CENTRE = np.array([30.0, -12.0])
SHAPE = np.array([[20.0, -2.0], [40.0, -1.0], [60.0, 4.0], [60.0, 8.0], [40.0, 3.0], [20.0, 2.0]])


def vane(index: int, number: int, *, bent: bool = False) -> Finding:
    angle = 2 * np.pi * index / number
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    shape = SHAPE + (np.array([[0, 0], [0, 0], [0, 5], [0, 5], [0, 0], [0, 0]]) if bent else 0.0)
    return Finding(
        id=f"V{index}", kind="vane", outline_px=CENTRE + shape @ turn.T, quantities={}, detail={"index": index},
        flags=("suspected",) if bent else (),
    )  # fmt: skip


def same(points: Points) -> Points:
    return points


def test_the_median_stands_where_the_sound_vane_would() -> None:
    vanes = [vane(i, 5, bent=i == 3) for i in range(1, 6)]
    (ghost,) = sibling_outlines(vanes, same, same)
    assert np.allclose(ghost, vane(3, 5).outline_px, atol=1e-9)


def test_sound_vanes_or_too_few_of_them_have_no_ghost() -> None:
    assert sibling_outlines([vane(i, 5) for i in range(1, 6)], same, same) == ()
    assert sibling_outlines([vane(i, 3, bent=i > 1) for i in range(1, 4)], same, same) == ()
