"""Where a vane that differs would stand if it were like its siblings: outlines for the overlay.

The outlines of all vanes of a photo are alike but for a turn about one centre, and run the same way round (right side
outwards, left side back), so that the siblings' outlines, turned into place, have a median point by point.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding

Points = NDArray[np.float64]
To = Callable[[Points], Points]


def sibling_outlines(findings: Sequence[Finding], to_mm: To, to_px: To) -> tuple[Points, ...]:
    """Median outline (M, 2), photo px, of its siblings for each vane that differs; none with too few sound ones.

    Parameters
    ----------
    findings : all findings of one photo; vanes are numbered clockwise by their `index`
    to_mm, to_px : between photo px and the measured plane, mm
    """
    vanes = [f for f in findings if f.kind == "vane" and not f.struck and "index" in f.detail]
    sound = [f for f in vanes if not f.flags]
    if len(sound) < 2 or len(sound) == len(vanes):
        return ()
    length = int(np.median([len(f.outline_px) for f in sound]))
    alike = {int(f.detail["index"]): to_mm(f.outline_px) for f in sound if len(f.outline_px) == length}
    centre = _centre(alike, len(vanes))
    odd = [int(f.detail["index"]) for f in vanes if "suspected" in f.flags]
    if centre is None:
        return ()
    return tuple(
        to_px(np.median([centre + (q - centre) @ _turn(k - i, len(vanes)).T for i, q in alike.items()], axis=0))
        for k in odd
    )


def _turn(steps: int, number: int) -> Points:
    """Turn by some vanes, from x towards y."""
    angle = 2 * np.pi * steps / number
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _centre(alike: dict[int, Points], number: int) -> Points | None:
    """The point about which turning takes each outline into the next, by least squares."""
    rows, values = [], []
    indices = sorted(alike)
    for i in indices:
        for j in indices:
            if i < j:
                turn = _turn(j - i, number)
                rows.append(np.eye(2) - turn)
                values.append((alike[j] - alike[i] @ turn.T).mean(axis=0))
    if not rows:
        return None
    return np.asarray(np.linalg.lstsq(np.vstack(rows), np.concatenate(values), rcond=None)[0])
