"""Cracks in a gasket land: thin dark lines across it, wholly or in part, suspected only.

Dark lines of the land rolled out are followed in the photo itself, on from their ends, as far as the land goes. What
shows darker than the land's own grain all along is reported; a pale line that runs as true as a tool is a scratch, one
with the land on one side only a wall.
"""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.crack_finding import Length, crack_finding
from wearvision.measure.finders.crack_grow import ON, ON_MM, SHARE, Ground, distinct, grown, to_ends
from wearvision.measure.finders.crack_path import Trace, traces
from wearvision.measure.finders.dark_line import Line, Lines
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.joined import share_on
from wearvision.measure.finders.land_tone import sample
from wearvision.measure.finders.notch import Left
from wearvision.measure.finders.tool_mark import stray
from wearvision.measure.look import Look
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured

LEAST_MM, LEAST_DARK = 3.0, 0.18
"""A crack is so long, and so much darker than what lies beside it, log grey;"""
LEAST = (1.8, 4.1)
"""it counts so much, in the mean, and has such a contrast in spreads of the land's grain."""
FAINT, FAINT_DARK = 5.0, 0.28
"""With less contrast than this, or less dark, it is faint."""
BESIDE_MM, UNLIKE = (0.8, 1.2, 1.6), 0.3
"""So far to either side of it is the land; where one side is as clearly not the land as the other is, it may be a
wall."""
WALL, LIKE_WALL = 0.75, 0.58
"""Where that holds over the first share of it, it is a wall of a bite; over the second, it is faint."""
STRAY_MM, SCRATCH = 0.05, 0.5
"""Four fifths of a scratch lie so near one parabola, and it is no darker."""
MOST = 3
NEAR_END_MM, BACK_MM = 1.3, 1.5
"""A path that ends so near an edge goes on to it, as its last so many mm run."""
END_MM, UNSEEN_SHARE = 0.85, 0.045
"""Standard uncertainty of its length: of its ends, which fade, and as a share, as it wanders more than is seen;"""
MORE_MM = 0.5
"""and what is added, as so much is missing of drawn cracks."""


def find_cracks(look: Look, land: Land, left: Left, found: Lines, lines: list[Line]) -> tuple[Finding, ...]:
    """Up to three of the lines that are no bite's, those that take most light first."""
    ground = Ground(
        gray=look.gray, plane=look.plane, centre_mm=land.ring.centre_mm, deg=land.deg,
        edges_mm=np.stack([left.inner_mm, left.outer_mm]), exclude_px=look.cards_px,
    )  # fmt: skip
    lines_mm = [ring_points(land.ring.centre_mm, found.deg(line), found.mm(line)) for line in lines]
    some = [path for path in traces(look.gray, look.plane, lines_mm, SHARE) if path is not None and _clear(path)]
    paths: list[Trace] = []
    for path in sorted(some, key=lambda p: -p.taken):
        if all(share_on(path.line_mm, other.line_mm, ON_MM) < ON for other in paths):
            paths.append(grown(path, ground))
    clear = [to_ends(path, ground) for path in distinct(paths) if _clear(path)]
    good = [path for path in clear if path.length_mm > LEAST_MM and not _scratch(path)]
    told = [(path, wall) for path in good if (wall := _one_sided(path.line_mm, land)) < WALL]
    return tuple(
        _finding(f"K{k + 1}", path, ground, look.plane, doubtful=wall > LIKE_WALL)
        for k, (path, wall) in enumerate(told[:MOST])
    )


def _clear(path: Trace) -> bool:
    return path.worth > LEAST[0] and path.contrast > LEAST[1] and path.dark > LEAST_DARK


def _scratch(path: Trace) -> bool:
    return path.dark < SCRATCH and stray(path.line_mm) < STRAY_MM


def _one_sided(line_mm: Array, land: Land) -> float:
    """Share of a line (N, 2) along which the land lies on one and the same side of it only."""
    way = np.asarray(np.gradient(line_mm, axis=0), dtype=np.float64)
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    beside = []
    for side in (1.0, -1.0):
        x, y = (line_mm[:, None] + side * normal[:, None] * np.array(BESIDE_MM)[:, None] - land.ring.centre_mm).T
        rows = np.rint((np.degrees(np.arctan2(y, x)) - land.deg[0]) / land.strip.step_deg).astype(np.int64)
        radius, rows = np.hypot(x, y).ravel(), rows.ravel() % len(land.deg)
        unlike = sample(land.tones.unlike, land.strip, radius[:, None], rows)
        beside.append(unlike.reshape(len(BESIDE_MM), -1).mean(axis=0))
    one, other = beside
    walls = ((a > UNLIKE) & (b < -UNLIKE) for a, b in ((one, other), (other, one)))
    return max(float(wall.mean()) for wall in walls)


def _finding(name: str, path: Trace, ground: Ground, plane: Plane, *, doubtful: bool) -> Finding:
    """A path as a finding, always suspected."""
    wide = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, if black or as pale as it looks",
        edge=path.width_u_mm,
    )  # fmt: skip
    length = Length(ends_mm=END_MM, share=UNSEEN_SHARE, tails_mm=MORE_MM)
    faint = doubtful or path.contrast < FAINT or path.dark < FAINT_DARK
    return crack_finding(name, _to_edges(path.line_mm, ground), plane, length, wide, faint=faint)


def _to_edges(line_mm: Array, ground: Ground) -> Array:
    """A line carried on to an edge that it all but reaches."""
    for _ in range(2):
        line_mm = line_mm[::-1]
        back = line_mm[np.hypot(*(line_mm - line_mm[-1]).T) < BACK_MM][0]
        heading = (line_mm[-1] - back) / max(1e-9, float(np.hypot(*(line_mm[-1] - back))))
        ahead = line_mm[-1] + np.arange(0.1, 2 * NEAR_END_MM, 0.1)[:, None] * heading
        beyond = ground.inside(ahead) < 0
        if beyond.any() and ground.inside(line_mm[-1:])[0] < NEAR_END_MM:
            line_mm = np.vstack([line_mm, ahead[int(np.argmax(beyond))]])
    return line_mm
