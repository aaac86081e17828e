"""How well one printed board gives the pitch of dots beside it, and another board: photos with sizes in `ID.json`.

Run: python -m tests.bench.boards DIR
The photos show two ChArUco boards and two plates of dots on one sheet; no focal length is told.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from wearvision.measure.board import BoardSpec
from wearvision.measure.plane import Array, Plane
from wearvision.measure.pose import solve
from wearvision.measure.scale import Sighting, find_boards

THRESHOLD, MARGIN_PX = 120, 5
DOT_PX2 = (300, 1200)
SETS: tuple[tuple[int, ...], ...] = ((0,), (1,), (0, 1))


def boards_of(truth: dict[str, Any]) -> list[BoardSpec]:
    firsts, (across, down) = truth["boards_first_id"], truth["squares"]
    return [
        BoardSpec(
            name=f"board {k + 1}", dictionary=str(truth["dictionary"]), squares_x=across, squares_y=down,
            square_mm=truth["square_mm"], marker_mm=truth["marker_mm"], first_id=first,
        )
        for k, first in enumerate(firsts)
    ]  # fmt: skip


def dots(gray: np.ndarray) -> Array:
    """Centres (N, 2) of round dark blobs, px, weighed by how dark they are."""
    _, dark = cv2.threshold(gray, THRESHOLD, 255, cv2.THRESH_BINARY_INV)
    _, _, stats, _ = cv2.connectedComponentsWithStats(dark)
    found = []
    for x, y, width, height, area in stats[1:]:
        if DOT_PX2[0] < area < DOT_PX2[1] and 0.8 < width / height < 1.25 and area > 0.7 * width * height:
            x, y = max(x - MARGIN_PX, 0), max(y - MARGIN_PX, 0)
            weight = 255.0 - gray[y : y + height + 2 * MARGIN_PX, x : x + width + 2 * MARGIN_PX]
            v, u = np.indices(weight.shape)
            found.append([x + np.average(u, weights=weight), y + np.average(v, weights=weight)])
    return np.array(found)


def plates(centres: Array, count: int) -> list[Array]:
    """Dots of each plate, leftmost plate first: dots nearer to each other than 1.25 of the usual belong together."""
    apart = np.linalg.norm(centres[:, None] - centres, axis=2)
    np.fill_diagonal(apart, np.inf)
    near = (apart < 1.25 * np.median(apart.min(axis=1))).astype(np.uint8) | np.eye(len(apart), dtype=np.uint8)
    while True:
        wider = (near.astype(float) @ near > 0).astype(np.uint8)
        if (wider == near).all():
            break
        near = wider
    groups = {tuple(np.flatnonzero(row)) for row in near if row.sum() == count}
    return sorted((centres[list(g)] for g in groups), key=lambda p: float(p[:, 0].mean()))


def pitch(mm: Array) -> float:
    """Mean distance of neighbours along rows and columns, mm."""
    apart = np.linalg.norm(mm[:, None] - mm, axis=2)[np.triu_indices(len(mm), 1)]
    return float(apart[apart < 1.2 * np.median(np.sort(apart)[: len(mm)])].mean())


def other_board(plane: Plane, board: Sighting) -> float:
    """By how much another board comes out too large: mean of both directions, inner corners and marker centres."""
    inner, last = board.inner_count, board.inner_count + 4 * board.spec.marker_count

    def ink_free(points: Array) -> Array:
        return np.vstack([points[:inner], points[inner:last].reshape(-1, 4, 2).mean(axis=1)])

    drawn, seen = (p - p.mean(axis=0) for p in (ink_free(board.corners_mm), ink_free(plane.to_mm(board.corners_px))))
    stretch = np.linalg.lstsq(drawn, seen, rcond=None)[0]
    return float(np.sqrt(abs(np.linalg.det(stretch)))) - 1


def main(folder: Path) -> None:
    """Print the figures of all photos in a folder."""
    off: dict[tuple[int, ...], list[list[float]]] = {chosen: [] for chosen in SETS}
    other: list[float] = []
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        with Image.open(path.with_suffix(".png")) as picture:
            gray = np.asarray(picture.convert("L"))
        seen = sorted(find_boards(gray, boards_of(truth)), key=lambda s: s.spec.first_id)
        sheet = plates(dots(gray), truth["dots"][0] * truth["dots"][1])
        for chosen in SETS:
            plane = solve([seen[k] for k in chosen], size_px=(gray.shape[1], gray.shape[0]))
            assert isinstance(plane, Plane)
            off[chosen].append([100 * (pitch(plane.to_mm(plate)) / truth["dot_pitch_mm"] - 1) for plate in sheet])
            other += [100 * other_board(plane, seen[1 - chosen[0]])] if len(chosen) == 1 else []
    for chosen, rows in off.items():
        error = np.array(rows)
        names = " and ".join(str(k + 1) for k in chosen)
        print(
            f"from board {names}: pitch of the plates off by {error.mean(axis=0).round(3)} %, "
            f"scatter {error.std(axis=0, ddof=1).round(3)}, root mean square {np.sqrt(np.mean(error**2)):.3f}"
        )
    alone = np.abs(np.array(off[(0,)] + off[(1,)]))
    print(f"one board: median {np.median(alone):.3f} %, worst {alone.max():.3f} %")
    print(f"the other board from one: worst {np.abs(other).max():.3f} %")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
