"""What is told of each vane in plan: quantities with their uncertainty by source, flags, where to lay a gauge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.finders.vanes import Vanes
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import in_frame
from wearvision.measure.vanes.settle import HINT, LEAST_ALIKE
from wearvision.measure.vanes.siblings import centre_u, left_over
from wearvision.measure.vanes.telling import FAINT, SUSPECTED, bent_probability, unclear
from wearvision.measure.vanes.tilt import tips_aside
from wearvision.quantity import K95, Measured, Quantity, Unmeasured

ROOT_MM = 5.0
"""Where vanes begin: hidden by the hub's fillet, or not followed so far in."""
MOST_BENT = 2
"""So many bent vanes, or a third, may be compared."""
EVERY = 4
"""Every so manieth station is a point of a vane's outline."""
PLACES = (0.96, 0.66, 0.33)
"""Where a vane is gauged, shares of its length."""
EDGE_PX = 0.1
"""Place of an edge of a vane on the photo, px: what no fit tells."""
TIP_SD_MM, OUTER = 0.9, 0.25
"""Of where the vanes end, along them: a bend goes on growing there, and its direction on turning, over so much of the
vane."""
NO_TIP = Unmeasured(reason="the vane's tip is out of the picture, covered or too faint", hint=HINT)
NO_SIBLINGS = Unmeasured(reason="not enough siblings are seen to compare with", hint=HINT)
STUB = Unmeasured(reason="only the inner part of the vane is there", hint="look at the part")
MANY = Unmeasured(
    reason="more vanes differ than are alike enough to compare with: their common line may be another", hint=HINT
)
UNLIKE = Unmeasured(reason="the vanes do not lie alike well enough to compare them", hint=HINT)
GONE = Unmeasured(reason="the vane is missing", hint="look at the part")
UNCLEAR = "too unclear"


def to_findings(vanes: Vanes, plane: Plane, cards_px: tuple[Array, ...] = ()) -> tuple[Finding, ...]:
    """One finding for each vane, numbered clockwise from the one nearest 12 o'clock in the photo."""
    stretch, tips = _stretch(vanes, plane), _tips_aside(vanes, plane)
    outlines = _all_px(plane, [outline_mm(vanes, k) for k in range(len(vanes.shapes))])
    places = _all_px(plane, _places_mm(vanes))
    found = []
    for i, k in enumerate(_order(vanes, plane), start=1):
        quantities = _quantities(vanes, k, stretch, {name: float(u[k]) for name, u in tips.items()})
        found.append(Finding(
            id=f"V{i}", kind="vane", outline_px=outlines[k], quantities=quantities,
            flags=_flags(vanes, k, quantities, in_frame(outlines[k], plane.size_px)),
            places_px=_free(places[k], plane.size_px, cards_px), detail={"index": i},
        ))  # fmt: skip
    return tuple(found)


def is_doubt(vane: Finding) -> bool:
    """Whether no shift is told of a vane because it, or what it is compared with, does not show clearly."""
    shift = vane.quantities["tip_shift"]
    return isinstance(shift, Unmeasured) and (shift in (MANY, UNLIKE) or shift.reason.startswith(UNCLEAR))


def _all_px(plane: Plane, lines_mm: list[Array]) -> list[Array]:
    """Some lines on the plane in photo px, at the cost of one."""
    px = plane.to_px(np.vstack(lines_mm))
    return np.split(px, np.cumsum([len(one) for one in lines_mm[:-1]]))


def outline_mm(vanes: Vanes, k: int) -> Array:
    """Outline (M, 2) on the plane of a vane's top, right side outwards, left side back; where it is gone, of what its
    siblings have in its place. Each has as many points, from its root to its end, so that they correspond."""
    traces = vanes.traces
    along = traces.line.along_mm
    end = vanes.tip_mm if not vanes.standing[k] else vanes.tip_mm - float(vanes.short_mm[k])
    at = np.linspace(along[0], max(end, along[4]), int(np.searchsorted(along, vanes.tip_mm)) // EVERY + 1)
    points, left = traces.line.turned(vanes.layout.number)
    bend = vanes.shapes[k].off_mm
    shift = bend if np.isfinite(bend).all() else np.zeros(len(along))
    sides = [points[k] + left[k] * (traces.pair_mm[:, s] + shift)[:, None] for s in (0, 1)]
    right, back = (np.column_stack([np.interp(at, along, side[:, i]) for i in (0, 1)]) for side in sides)
    return np.asarray(vanes.centre_mm + np.vstack([right, back[::-1]]))


def _order(vanes: Vanes, plane: Plane) -> list[int]:
    """Vanes clockwise in the photo from the one nearest 12 o'clock."""
    points, _ = vanes.traces.line.turned(vanes.layout.number)
    middle = points[:, points.shape[1] // 2] + vanes.centre_mm
    off = plane.to_px(middle) - plane.to_px(vanes.centre_mm[None])
    turn = np.degrees(np.arctan2(off[:, 0], -off[:, 1]))
    first = turn[int(np.argmin(np.abs(turn)))]
    return [int(k) for k in np.argsort(np.mod(turn - first + 1e-6, 360.0))]


def _stretch(vanes: Vanes, plane: Plane) -> dict[str, float]:
    """Relative standard uncertainty of lengths on the disc, by source."""
    at = plane.to_px(vanes.centre_mm + np.array([[-20.0, 0], [20, 0], [0, -20], [0, 20]]))

    def size(p: Plane) -> Array:
        mm = p.to_mm(at)
        return np.array([0.5 * (np.hypot(*(mm[1] - mm[0])) + np.hypot(*(mm[3] - mm[2])))])

    value, parts = plane.propagate(size)
    return {name: float(u[0] / value[0]) for name, u in parts.items()}


def _tips_aside(vanes: Vanes, plane: Plane) -> dict[str, Array]:
    """What the plane's uncertainty makes of the place of each tip against the others, mm (N,), by source."""
    shift, spread = np.stack([seen.off_mm for seen in vanes.shapes]), left_over(vanes.layout).spread_mm2
    return tips_aside(plane, vanes.traces.line, vanes.centre_mm, vanes.tip_mm, shift, spread)


def _quantities(
    vanes: Vanes, k: int, stretch: dict[str, float], aside_mm: dict[str, float]
) -> dict[str, Quantity]:
    """Shift, bend and shortening of one vane, of lengths that may be stretched and a tip that may lie aside."""
    short = float(vanes.short_mm[k])
    if not vanes.standing[k]:
        gone = Measured.of(short, "mm", how="missing: all of its siblings' length", end=ROOT_MM)
        return {"tip_shift": GONE, "bend_angle": GONE, "shortening": gone}
    shortening: Quantity = Measured.of(
        short, "mm", how="end against the siblings' median", end=float(vanes.short_u_mm[k]),
        edge=EDGE_PX * vanes.traces.px_mm, **{n: abs(short) * u for n, u in stretch.items()},
    )  # fmt: skip
    no = _why_not(vanes, k)
    if no is NO_SIBLINGS or (no is NO_TIP and not _tip_seen(vanes, k)):
        shortening = no
    if no is not None:
        return {"tip_shift": no, "bend_angle": no, "shortening": shortening}
    return _bend(vanes, k, stretch, aside_mm) | {"shortening": shortening}


def _why_not(vanes: Vanes, k: int) -> Unmeasured | None:
    """Why no shift and no bend are told of a vane; `None` where they are."""
    if vanes.stub[k]:
        return STUB
    if vanes.standing.sum() >= 3 and not (np.isfinite(vanes.shapes[k].tip_shift_mm) and _tip_seen(vanes, k)):
        return NO_TIP
    return _why_all(vanes)


def _why_all(vanes: Vanes) -> Unmeasured | None:
    """Why no shift is told of any vane; `None` where some may be."""
    return NO_SIBLINGS if vanes.standing.sum() < 3 else not_compared(vanes)


def _bend(
    vanes: Vanes, k: int, stretch: dict[str, float], aside_mm: dict[str, float]
) -> dict[str, Quantity]:
    """Shift at the tip and angle there, unless the shift is known too badly."""
    seen = vanes.shapes[k]
    shift = Measured.of(
        seen.tip_shift_mm, "mm", how="against the siblings' line; + is to the left going outwards",
        fit=seen.tip_u_mm, edge=EDGE_PX * vanes.traces.px_mm,
        centre=float(centre_u(vanes.traces, vanes.centre_cov_mm2, vanes.tip_mm)[k]),
        end=TIP_SD_MM * abs(np.tan(np.radians(seen.bend_deg))),
        **{n: float(np.hypot(seen.tip_shift_mm * part, aside_mm[n])) for n, part in stretch.items()},
    )  # fmt: skip
    if unclear(shift.value, shift.u):
        low, high = shift.value - shift.u95, shift.value + shift.u95
        no = Unmeasured(reason=f"{UNCLEAR}: between {low:.1f} and {high:.1f} mm", hint=HINT)
        return {"tip_shift": no, "bend_angle": no}
    angle = Measured.of(
        seen.bend_deg, "deg", how="direction at the tip against the siblings'", fit=seen.bend_u_deg,
        edge=float(np.degrees(EDGE_PX * vanes.traces.px_mm / (OUTER * vanes.tip_mm))),
        end=TIP_SD_MM * abs(seen.bend_deg) / (OUTER * vanes.tip_mm),
    )  # fmt: skip
    return {"tip_shift": shift, "bend_angle": angle}


def _tip_seen(vanes: Vanes, k: int) -> bool:
    """Whether a vane's tip is in view, and most of the way to it: another line may leave a card where the tip would."""
    along, seen = vanes.traces.line.along_mm, vanes.traces.seen[k]
    near, way = (along > vanes.tip_mm - 6) & (along < vanes.tip_mm), along < vanes.tip_mm
    return bool(seen[near].mean() > 0.8 and seen[way].mean() > 0.5)


def _flags(
    vanes: Vanes, k: int, quantities: dict[str, Quantity], seen: NDArray[np.bool_]
) -> tuple[str, ...]:
    """Doubts: one that differs is suspected; one whose shift cannot be told, or that may be bent or gone, is faint."""
    shift, flags = quantities["tip_shift"], []
    likely = bent_probability(shift.value, shift.u) if isinstance(shift, Measured) else None
    bent = likely is not None and likely >= SUSPECTED
    if bent or (isinstance(quantities["shortening"], Measured) and _gone_or_short(vanes, k)):
        flags.append("suspected")
    unsure = (likely is None or likely >= FAINT) and _why_all(vanes) is None
    if vanes.standing[k] and not bent and (unsure or vanes.doubted[k]):
        flags.append("faint")
    if not seen.all():
        flags.append("cut-by-frame")
    return tuple(flags)


def not_compared(vanes: Vanes) -> Unmeasured | None:
    """Why no shift is told: the vanes lie too little alike, or over two of them, and over a third, seem bent."""
    if vanes.held < LEAST_ALIKE:
        return UNLIKE
    bent = sum(seen.bent for seen in vanes.shapes)
    return MANY if bent > max(MOST_BENT, len(vanes.shapes) / 3) else None


def _gone_or_short(vanes: Vanes, k: int) -> bool:
    """Whether a vane is missing, or clearly shorter than its siblings."""
    return bool(not vanes.standing[k] or vanes.short_mm[k] > max(2.0, K95 * vanes.short_u_mm[k]))


def _places_mm(vanes: Vanes) -> list[Array]:
    """Where to lay the template or gauge on each vane: the tip, two thirds and a third of the way; on none if gone."""
    traces = vanes.traces
    points, left = traces.line.turned(vanes.layout.number)
    rows = [int(np.argmin(np.abs(traces.line.along_mm - s * vanes.tip_mm))) for s in PLACES]
    middle = traces.pair_mm[rows].mean(axis=1)
    bends = [np.nan_to_num(shape.off_mm[rows]) for shape in vanes.shapes]
    on = [points[k, rows] + left[k, rows] * (middle + bend)[:, None] for k, bend in enumerate(bends)]
    return [vanes.centre_mm + (one if there else one[:0]) for one, there in zip(on, vanes.standing, strict=True)]


def _free(px: Array, size_px: tuple[int, int], cards_px: tuple[Array, ...]) -> Array:
    """Those of some places that are in view and not under a card."""
    free = in_frame(px, size_px, 4.0)
    for outline in cards_px:
        ahead = np.roll(outline, -1, axis=0)
        side = (ahead - outline)[:, 0] * (px[:, None, 1] - outline[:, 1]) - (ahead - outline)[:, 1] * (
            px[:, None, 0] - outline[:, 0]
        )
        free &= ~(np.all(side >= 0, axis=1) | np.all(side <= 0, axis=1))
    return np.asarray(px[free])
