"""A vane seen along its length: radius of each top corner, height, thickness.

The end of the vane is a stub on a bar (the shroud). It is looked for round the card (`vane_edge_search`), its straight
lines are settled (`vane_edge_lines`), its outline followed to a fraction of a pixel (`vane_edge_trace`), and one shape
is fitted to all of it (`stub`): two flanks, a top, two rounded corners, a base. Lengths hold in the plane of the card.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import chart_of
from wearvision.measure.finders.stub import Stub, distance, fit_shape
from wearvision.measure.finders.vane_edge_lines import Lines, Section, find_lines, section_patch
from wearvision.measure.finders.vane_edge_search import Place, Sizes, places
from wearvision.measure.finders.vane_edge_trace import Trace, slopes, trace
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured

COARSE_WORTH = 1.5
"""What the coarse search still counts once the lines are settled."""
COARSE_PX, FINE_PX = 1.0, 0.5
"""Photo pixels a sample, for the lines and for the outline."""
TRIED, LEAST_FIT, NEARLY = 3, 0.6, 0.25
"""Places whose outline is followed; how well it must fit to count; how much worse a nearer vane may fit."""
BAR_SEEN = 0.5
"""Share of the bar's edge on one side below which something hides it there."""
FEW_MM = 0.8
"""Radius below which so few points lie on the arc that a robust fit may give them up."""
TIP_MM, HUBER_MM = 0.6, 0.06
"""What counts as about a corner's tip, beside its radius; distances beyond which a point pulls no harder."""
ROUGHEST_MM = 0.15
"""Points further off tell of something else than a rough edge."""
ON_SHAPE_MM = 0.1
"""How near a point must lie to the shape to be on it."""
RADII_MM, NEAR_MM = np.concatenate([[0.03], np.arange(0.15, 3.6, 0.15)]), 0.12
"""Radii to start from, and how near a point must lie to speak for one."""
HINT = "plain dark or light paper behind the vane, its end square to the camera, the card in the plane of its end"
NOTHING = Unmeasured(reason="no vane stands out against its background", hint=HINT)


def find_vane_edge(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], sizes: Sizes, *, blur_px: float
) -> Stub | Unmeasured:
    """The end section near the first card, fitted; lengths in mm of the plane.

    Parameters
    ----------
    cards_px : (4, 2) outlines of the cards
    sizes : what to look for, from `sizes_of`
    blur_px : standard deviation of the photo's edges
    """
    chart = chart_of(gray, plane, cards_px)
    seen: list[tuple[float, Place, Lines]] = []
    for place in places(chart, plane.to_mm(cards_px[0]), sizes):
        lines = find_lines(section_patch(gray, plane, place, COARSE_PX), sizes)
        if lines is not None:
            seen.append((lines.worth + COARSE_WORTH * place.worth, place, lines))
    stubs = []
    for _, place, lines in sorted(seen, key=lambda s: -s[0])[:TRIED]:
        upright = _upright(place, lines)
        again = find_lines(section_patch(gray, plane, upright, COARSE_PX), sizes)
        place, lines = (place, lines) if again is None else (upright, again)
        stubs.append(fit_stub(section_patch(gray, plane, place, FINE_PX), lines, blur_px=blur_px))
    return _front(stubs)


def _front(stubs: list[Stub]) -> Stub | Unmeasured:
    """The stub that fits best, or a taller one that fits nearly as well: vanes further back look smaller."""
    best = max((fits(stub) for stub in stubs), default=0.0)
    if best < LEAST_FIT:
        return NOTHING
    near = max(LEAST_FIT, best - NEARLY)
    return max((stub for stub in stubs if fits(stub) >= near), key=lambda stub: stub.height_mm)


def fits(stub: Stub) -> float:
    """How well the outline fits a vane's, 0 to 1: the least of its parts, of the bar the better side."""
    bar = max(stub.share["bar left"], stub.share["bar right"])
    return min(stub.share["left"], stub.share["right"], stub.share["top"], bar)


def fit_stub(section: Section, lines: Lines, *, blur_px: float) -> Stub:
    """Fit the shape to the outline along its lines."""
    place = section.place
    found = trace(slopes(section, blur_px), lines, place.high_mm)
    middle = (lines.left(place.high_mm / 2) + lines.right(place.high_mm / 2)) / 2
    start = np.array([
        lines.left.at, lines.left.lean, lines.right.at, lines.right.lean, lines.top(middle), lines.top.lean,
        0.5, 0.5, lines.base.at, lines.base.lean,
    ])  # fmt: skip
    start[6:8] = [_first_radius(found, start, side) for side in (0, 1)]
    shape, covariance, spread = fit_shape(found.points, found.base, found.run_mm, start)
    hidden = [side for side in ("bar left", "bar right") if found.share(_near(found, shape))[side] < BAR_SEEN]
    if len(hidden) == 1:
        found = found.without(hidden[0])
        shape, covariance, spread = fit_shape(found.points, found.base, found.run_mm, _levelled(found, shape))
    for side in (0, 1):
        if shape[6 + side] < FEW_MM:
            shape[6 + side] = _last_radius(found, shape, side)
    return Stub(
        origin_mm=place.base_mm, along=place.along, up=place.up, shape=shape, covariance=covariance,
        px_mm=section.patch.px_mm, spread_mm=spread, share=found.share(_near(found, shape)),
        rough_mm=found.rough(distance(found.points, found.base, shape), ROUGHEST_MM),
    )  # fmt: skip


def _near(found: Trace, shape: Array) -> NDArray[np.bool_]:
    return np.asarray(np.abs(distance(found.points, found.base, shape)) < ON_SHAPE_MM)


def _levelled(found: Trace, shape: Array) -> Array:
    """The shape with its base laid through what is left of the bar's edge."""
    x, y = found.points[found.base].T
    out = shape.copy()
    if len(x) > 10:
        half = len(x) // 2
        order = np.argsort(x)
        rise, run = y[order[half:]] - y[order[: len(x) - half]], x[order[half:]] - x[order[: len(x) - half]]
        out[9] = float(np.median(rise / np.maximum(run, 1e-3)))
        out[8] = float(np.median(y - out[9] * x))
    return out


def _first_radius(found: Trace, shape: Array, side: int) -> float:
    """The radius whose outline most points of a corner lie on."""
    points = found.points[found.part == side]
    if len(points) == 0:
        return float(RADII_MM[0])
    off = []
    for radius in RADII_MM:
        away = np.abs(distance(points, np.zeros(len(points), bool), _with_radius(shape, side, float(radius))))
        off.append(float(np.minimum(away, NEAR_MM).mean()))
    return float(RADII_MM[int(np.argmin(off))])


def _last_radius(found: Trace, shape: Array, side: int) -> float:
    """Radius by all points about a corner, the few at its very tip included, which a robust fit would give up.

    Huber's loss on their distances, each by the length of edge it stands for; the lines stay.
    """
    mine = found.part == side
    points, run = found.points[mine], found.run_mm[mine]
    at, lean, middle = shape[2 * side], shape[2 * side + 1], (shape[0] + shape[2]) / 2
    up = (shape[4] + shape[5] * (at - middle)) / (1 - lean * shape[5])
    tip = np.array([at + lean * up, up])
    near = np.hypot(*(points - tip).T) < TIP_MM + shape[6 + side]
    points, run = points[near], run[near]
    if len(points) < 5:
        return float(shape[6 + side])

    def loss(radius: float) -> float:
        off = np.abs(distance(points, np.zeros(len(points), bool), _with_radius(shape, side, radius)))
        return float(np.sum(run * np.where(off < HUBER_MM, off**2, HUBER_MM * (2 * off - HUBER_MM))))

    low, high = max(1e-3, shape[6 + side] - 0.8), shape[6 + side] + 0.3
    for _ in range(3):
        tries = np.linspace(low, high, 13)
        best = int(np.argmin([loss(float(radius)) for radius in tries]))
        low, high = float(tries[max(0, best - 1)]), float(tries[min(12, best + 1)])
    return float(low + high) / 2


def _with_radius(shape: Array, side: int, radius: float) -> Array:
    told = shape.copy()
    told[6 + side] = radius
    return told


def _upright(place: Place, lines: Lines) -> Place:
    """The place with its foot on the bar's edge, in the middle of the flanks, and that edge level."""
    middle = (lines.left(lines.base.at) + lines.right(lines.base.at)) / 2
    along = place.along + lines.base.lean * place.up
    along = along / np.hypot(*along)
    turned = place.up - (place.up @ along) * along
    half = (lines.top(middle) + lines.base(middle)) / 2
    return replace(
        place, base_mm=place.base_mm + middle * place.along + lines.base(middle) * place.up, along=along,
        up=turned / np.hypot(*turned), wide_mm=lines.right(half) - lines.left(half),
        high_mm=lines.top(middle) - lines.base(middle),
    )  # fmt: skip
