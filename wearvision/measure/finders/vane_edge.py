"""A vane seen along its length: radius of each top corner, height, thickness.

The end of the vane is a stub on a bar (the shroud). It is looked for round the card (`vane_edge_search`), its straight
lines are settled (`vane_edge_lines`), its outline followed to a fraction of a pixel (`vane_edge_trace`), and one shape
is fitted to all of it (`stub`): two flanks, a top, two rounded corners, a base. Lengths hold in the plane of the card.
Where the vane runs off to one side in the face's own tone, that flank and corner are not told; all else is, if a
stated thickness says where the flank is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Copies, chart_of
from wearvision.measure.finders.stub import Stub, distance, fit_shape
from wearvision.measure.finders.vane_edge_arc import arc_radius
from wearvision.measure.finders.vane_edge_belief import BAR_SEEN, LEAST_IN_LIGHT, OUT_MM, Lead, front, sure
from wearvision.measure.finders.vane_edge_ends import runs_on
from wearvision.measure.finders.vane_edge_lines import Lines, Section, coarse_section, find_lines, fine_section
from wearvision.measure.finders.vane_edge_search import Place, Sizes, places
from wearvision.measure.finders.vane_edge_trace import Trace, foot_edge, slopes, trace
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured

COARSE_WORTH, CLEAR = 0.5, 12.5
"""What the coarse search still counts once the lines are settled; lines as clear as no others are."""
TRIED, TRIED_IN_LIGHT, LEAST_FIT = 5, 1, 0.6
"""Places whose outline is followed, in greys and in each other light; how much of a flank must fit, or it is hidden."""
ROUGHLY_MM = 2.5
"""How far the coarse search may be off."""
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
HELD: Mapping[str, tuple[int, ...]] = {"left": (0, 1, 6), "right": (2, 3, 7)}
"""Numbers of the shape that a hidden side takes from the drawing."""
HINT = "plain dark or light paper behind the vane, its end square to the camera, the card in the plane of its end"
NOTHING = Unmeasured(reason="no vane stands out against its background", hint=HINT)


def find_vane_edge(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], sizes: Sizes, *, blur_px: float,
    copies: Copies | None = None, lights: Iterable[Image] = (),
) -> Stub | Unmeasured:  # fmt: skip
    """The end section near the first card, fitted; lengths in mm of the plane.

    Parameters
    ----------
    cards_px : (4, 2) outlines of the cards
    sizes : what to look for, from `sizes_of`
    blur_px : standard deviation of the photo's edges
    copies : smaller copies of the photo, where it has some
    lights : the photo in other light (H, W), gone through while no stub is likely enough
    """
    leads = _leads(gray, plane, cards_px, sizes, blur_px, copies)
    told = front(leads, sizes)
    for light in lights if told is None else ():
        leads += _leads(light, plane, cards_px, sizes, blur_px, tried=TRIED_IN_LIGHT)
        told = front(leads, sizes, LEAST_IN_LIGHT)
        if told is not None:
            break
    return told or NOTHING


def _leads(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], sizes: Sizes, blur_px: float,
    copies: Copies | None = None, tried: int = TRIED,
) -> list[Lead]:  # fmt: skip
    """The stubs that are followed in one light."""
    chart = chart_of(gray, plane, cards_px, copies)
    found = places(chart, plane.to_mm(cards_px[0]), sizes)
    leads: list[Lead] = []
    for place, lines in _with_lines(gray, plane, found, sizes)[:tried]:
        if any(sure(lead, sizes) and not _in_front(place, lead.place, lead.lines) for lead in leads):
            continue
        upright = _upright(place, lines)
        again = find_lines(coarse_section(gray, plane, upright), sizes)
        stands, lines = (place, lines) if again is None else (upright, again)
        stub = fit_stub(fine_section(gray, plane, stands), lines, sizes, blur_px=blur_px)
        leads.append(Lead(stub=stub, place=stands, lines=lines, behind=place.worth - found[0].worth))
    return leads


def _with_lines(gray: Image, plane: Plane, found: list[Place], sizes: Sizes) -> list[tuple[Place, Lines]]:
    """Places with their lines, the clearest first; beside very clear ones only places that may lie in front."""
    seen: list[tuple[Place, Lines]] = []
    for place in found:
        if any(lines.worth > CLEAR and not _in_front(place, other, lines) for other, lines in seen):
            continue
        its = find_lines(coarse_section(gray, plane, place), sizes)
        if its is not None:
            seen.append((place, its))
    return sorted(seen, key=lambda s: -(s[1].worth + COARSE_WORTH * s[0].worth))


def _in_front(place: Place, other: Place, lines: Lines) -> bool:
    """Whether a place may be of a vane on the same bar as another, in front of that."""
    off = abs(float((place.base_mm - other.base_mm) @ other.up) - lines.base.at)
    return float(place.up @ other.up) > 0.9 and off < ROUGHLY_MM and place.high_mm > _height(lines) - ROUGHLY_MM


def _height(lines: Lines) -> float:
    middle = (lines.left(lines.base.at) + lines.right(lines.base.at)) / 2
    return lines.top(middle) - lines.base(middle)


def fit_stub(section: Section, lines: Lines, sizes: Sizes, *, blur_px: float) -> Stub:
    """Fit the shape to the outline along its lines; a flank that hardly shows lies at the thickness of a new vane."""
    place, steep = section.place, slopes(section, blur_px)
    found = trace(steep, lines, place.high_mm)
    fit = fit_shape(found.points, found.base, found.run_mm, _first_shape(found, lines, place.high_mm))
    found, start = _without_bar(found, fit[0])
    if start is not fit[0]:
        fit = fit_shape(found.points, found.base, found.run_mm, start)
    hidden = _hidden(found, fit[0], sizes)
    if hidden is not None:
        found = found.without(hidden).without(f"corner {hidden}")
        start = _as_new(fit[0], hidden, sizes.new_wide_mm or 0.0)
        fit = fit_shape(found.points, found.base, found.run_mm, start, HELD[hidden])
    shape, covariance, spread = fit
    arcs = [
        arc_radius(steep, (line.way, lines.top.way), shape, side) for side, line in enumerate((lines.left, lines.right))
    ]
    for side in (0, 1):
        if shape[6 + side] < FEW_MM and hidden != ("left", "right")[side]:
            shape[6 + side] = _last_radius(found, shape, side)
    return Stub(
        origin_mm=place.base_mm, along=place.along, up=place.up, shape=shape, covariance=covariance,
        px_mm=section.patch.px_mm, spread_mm=spread, share=found.share(_near(found, shape)),
        rough_mm=found.rough(distance(found.points, found.base, shape), ROUGHEST_MM), hidden=hidden,
        through=foot_edge(steep, shape), runs_on=runs_on(section, shape, hidden), arc_mm=(arcs[0], arcs[1]),
    )  # fmt: skip


def _first_shape(found: Trace, lines: Lines, high_mm: float) -> Array:
    """The shape of the lines, with the radii that most points speak for."""
    middle = (lines.left(high_mm / 2) + lines.right(high_mm / 2)) / 2
    shape = np.array([
        lines.left.at, lines.left.lean, lines.right.at, lines.right.lean, lines.top(middle), lines.top.lean,
        0.5, 0.5, lines.base.at, lines.base.lean,
    ])  # fmt: skip
    shape[6:8] = [_first_radius(found, shape, side) for side in (0, 1)]
    return shape


def _without_bar(found: Trace, shape: Array) -> tuple[Trace, Array]:
    """Without the bar's edge on the one side where something hides it."""
    share = found.share(_near(found, shape))
    hidden = [side for side in ("bar left", "bar right") if share[side] < BAR_SEEN]
    if len(hidden) != 1:
        return found, shape
    found = found.without(hidden[0])
    return found, _levelled(found, shape)


def _hidden(found: Trace, shape: Array, sizes: Sizes) -> str | None:
    """The one side whose flank hardly shows; the less clear one where they lie further apart than any vane is thick.

    None where no thickness is stated.
    """
    share = found.share(_near(found, shape))
    hidden = [side for side in ("left", "right") if share[side] < LEAST_FIT]
    half = (shape[4] + shape[8]) / 2
    wide = shape[2] - shape[0] + (shape[3] - shape[1]) * half
    if not hidden and wide > sizes.wide_mm[1] + OUT_MM:
        hidden = [min(("left", "right"), key=lambda side: share[side])]
    return hidden[0] if len(hidden) == 1 and sizes.new_wide_mm is not None else None


def _as_new(shape: Array, hidden: str, new_wide_mm: float) -> Array:
    """The shape with one flank as far from the other as in a new vane, leaning as much, its corner sharp."""
    out = shape.copy()
    one, other = (0, 2) if hidden == "left" else (2, 0)
    lean, half = -2 * shape[9] - shape[other + 1], (shape[4] + shape[8]) / 2
    out[one : one + 2] = shape[other] + (one - 1) * new_wide_mm + half * (shape[other + 1] - lean), lean
    out[6 + one // 2] = RADII_MM[0]
    return out


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
