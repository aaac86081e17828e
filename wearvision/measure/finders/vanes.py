"""Vanes of an impeller in plan, each against its own siblings: shift at the tip, bend, shortening, a missing vane.

Found by `measure/vanes`: centre, number and common line (`find`), edges (`trace`), what differs (`siblings`, `ends`).
What all vanes share cannot be seen this way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.chart import chart_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, in_frame
from wearvision.measure.vanes.ends import common_end, ends, scores
from wearvision.measure.vanes.find import Layout, find_vanes
from wearvision.measure.vanes.fold import NUMBERS
from wearvision.measure.vanes.present import STRETCH_MM, presence
from wearvision.measure.vanes.siblings import Shape, against_siblings, centred, offsets, shape
from wearvision.measure.vanes.trace import Traces, holds, trace
from wearvision.quantity import K95, Measured, Quantity, Unmeasured, root_sum_square
from wearvision.stated import Stated

LEAST_HOLDS, SURE_HOLDS, CENTRES = 0.4, 0.85, 3
"""Below this the vanes do not lie alike about any centre tried, and nothing is said of them; above the second no
other centre is tried; at most so many are."""
MORE = 0.4
"""Power of their number by which more vanes count for more: twice as many hold if three quarters as well."""
LEAST_APART = 0.6
"""Logarithm by which vanes must stand out from the gaps between them, or they may be none."""
ROOT_MM = 5.0
"""Where vanes begin: hidden by the hub's fillet, or not followed so far in."""
UNCLEAR_MM = 1.2
"""A shift that may well be none is not given when its interval is wider than this."""
BENT_MM = 1.0
EDGE_PX = 0.1
"""Place of an edge of a vane on the photo, px: what no fit tells."""
HINT = "take it again from straight above, the whole disc in frame, with light from two sides"
NO_TIP = Unmeasured(reason="the vane's tip is out of the picture, covered or too faint", hint=HINT)
NO_SIBLINGS = Unmeasured(reason="not enough siblings are seen to compare with", hint=HINT)
STUB = Unmeasured(reason="only the inner part of the vane is there", hint="look at the part")
GONE = Unmeasured(reason="the vane is missing", hint="look at the part")


@dataclass(frozen=True, kw_only=True, eq=False)
class Vanes:
    """All vanes of one disc, measured.

    Attributes
    ----------
    layout : Layout
    traces : Traces
    centre_mm : (2,) array
        Centre after all vanes were traced.
    tip_mm : float
        Where the siblings end, along the line.
    shapes : tuple of Shape
    short_mm, short_u_mm : (N,) arrays
    standing, stub : (N,) bool
        Which vanes are there at all, and of which only the inner part.
    apart : float
        Logarithm of the edge at vanes over that in the gaps between; nan where no gap is seen.
    """

    layout: Layout
    traces: Traces
    centre_mm: Array
    tip_mm: float
    shapes: tuple[Shape, ...]
    short_mm: Array
    short_u_mm: Array
    standing: NDArray[np.bool_]
    stub: NDArray[np.bool_]
    apart: float


def measure_vanes(
    gray: Image, plane: Plane, stated: Stated, cards_px: tuple[Array, ...] = (), *, blur_px: float = 0.8
) -> Vanes | Unmeasured:
    """Find, trace and compare the vanes.

    Parameters
    ----------
    gray : (H, W) uint8
    plane : Plane
        The plane of the vanes' tops.
    stated : Stated
        `disc_diameter_mm` helps; `vane_count` is one more number to try, and has no say beyond that.
    cards_px : outlines in photo px that hide the part
    """
    diameter = stated.nominal.get("disc_diameter_mm")
    chart = chart_of(gray, plane, cards_px)

    stated_count = stated.nominal.get("vane_count")
    found = find_vanes(chart, plane, diameter, round(stated_count) if stated_count else None)
    if isinstance(found, Unmeasured):
        return found
    tried = [_held(gray, plane, some, cards_px, blur_px) for some in _numbers(found, stated_count)]
    held, traces, layout = max(tried, key=_likely)
    if held < LEAST_HOLDS:
        return Unmeasured(reason="the vanes' edges could not be followed alike on all of them", hint=HINT)
    score = scores(traces)
    tip = common_end(score, traces, layout.disc_mm)
    shown = presence(gray, plane, layout, traces, tip, cards_px)
    if shown.apart < LEAST_APART:
        return Unmeasured(reason="the vanes hardly stand out from the gaps between them", hint=HINT)
    stub, there = np.isfinite(shown.end_mm), ~shown.gone
    place, place_u = ends(score, traces, tip)
    place, place_u = np.where(stub, shown.end_mm, place), np.where(stub, STRETCH_MM / 12**0.5, place_u)
    whole = there & ~stub
    off, moved = centred(offsets(traces), traces, tip)
    shapes, short = [], np.zeros(len(off))
    for k in range(len(off)):
        difference, doubt = against_siblings(off, k, whole)
        difference = difference if whole[k] else np.full(len(difference), np.nan)  # what was followed is no vane
        shapes.append(shape(difference, traces.line.along_mm, tip, doubt))
        others = [place[j] for j in range(len(off)) if j != k and whole[j]]
        short[k] = (np.median(others) if others else tip) - place[k] if there[k] else tip - traces.line.along_mm[0]
    return Vanes(
        layout=layout, traces=traces, centre_mm=layout.centre_mm + moved, tip_mm=tip, shapes=tuple(shapes),
        short_mm=short, short_u_mm=place_u, standing=there, stub=stub, apart=shown.apart,
    )  # fmt: skip


def _likely(tried: tuple[float, Traces, Layout]) -> float:
    """How much speaks for a number: how well the vanes lie alike, how far they stand out, and how many they are."""
    held, _, layout = tried
    return float(held * np.sqrt(max(layout.score, 0.0)) * layout.number**MORE)


def _numbers(found: list[Layout], stated: float | None) -> list[list[Layout]]:
    """Layouts of the number that stands out most, of what is stated, and where nothing is of twice as many."""
    first = found[0].number
    out = [[one for one in found if one.number == first][:CENTRES]]
    other = [one for one in found if stated and one.number == round(stated) != first]
    if other:
        out.append(other[:CENTRES])
    elif not stated and 2 * first in NUMBERS:
        out.append([replace(found[0], number=2 * first)])
    return out


def _held(
    gray: Image, plane: Plane, layouts: list[Layout], cards_px: tuple[Array, ...], blur_px: float
) -> tuple[float, Traces, Layout]:
    """The layout about whose centre the vanes lie most alike: how much so, traces, layout."""
    traced: list[tuple[float, Traces, Layout]] = []
    for one in layouts:
        seen = trace(gray, plane, one, cards_px, blur_px)
        traced.append((holds(seen), seen, one))
        if traced[-1][0] > SURE_HOLDS:
            break
    return max(traced, key=lambda t: t[0])


def to_findings(vanes: Vanes, plane: Plane, cards_px: tuple[Array, ...] = ()) -> tuple[Finding, ...]:
    """One finding for each vane, numbered clockwise from the one nearest 12 o'clock in the photo."""
    order = _order(vanes, plane)
    stretch = _stretch(vanes, plane)
    return tuple(
        Finding(
            id=f"V{i}", kind="vane", outline_px=plane.to_px(outline_mm(vanes, k)), flags=_flags(vanes, plane, k),
            quantities=_quantities(vanes, k, stretch), places_px=_places(vanes, plane, k, cards_px),
            detail={"index": i},
        )
        for i, k in enumerate(order, start=1)
    )  # fmt: skip


def outline_mm(vanes: Vanes, k: int, *, median: bool = False) -> Array:
    """Outline (M, 2) on the plane of a vane's top, or of its siblings' median in its place."""
    traces = vanes.traces
    along = traces.line.along_mm
    end = vanes.tip_mm if median or not vanes.standing[k] else vanes.tip_mm - float(vanes.short_mm[k])
    rows = np.flatnonzero(along <= max(end, along[4]))[::4]
    points, left = traces.line.turned(vanes.layout.number)
    bend = vanes.shapes[k].off_mm
    shift = np.zeros(len(along)) if median or not np.isfinite(bend).all() else bend
    sides = [points[k, rows] + left[k, rows] * (traces.pair_mm[rows, s] + shift[rows])[:, None] for s in (0, 1)]
    return np.asarray(vanes.centre_mm + np.vstack([sides[0], sides[1][::-1]]))


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


def _quantities(vanes: Vanes, k: int, stretch: dict[str, float]) -> dict[str, Quantity]:
    """Shift, bend and shortening of one vane."""
    if not vanes.standing[k]:
        gone = Measured.of(float(vanes.short_mm[k]), "mm", how="missing: all of its siblings' length", end=ROOT_MM)
        return {"tip_shift": GONE, "bend_angle": GONE, "shortening": gone}
    seen, edge = vanes.shapes[k], EDGE_PX * vanes.traces.px_mm
    short = float(vanes.short_mm[k])
    shortening = Measured.of(
        short, "mm", how="end against the siblings' median", end=float(vanes.short_u_mm[k]), edge=edge,
        **{n: abs(short) * u for n, u in stretch.items()},
    )  # fmt: skip
    shift, u = seen.tip_shift_mm, root_sum_square(seen.tip_u_mm, edge)
    if vanes.stub[k]:
        return {"tip_shift": STUB, "bend_angle": STUB, "shortening": shortening}
    if not np.isfinite(shift):
        return {"tip_shift": NO_TIP, "bend_angle": NO_TIP, "shortening": shortening if _tip_seen(vanes, k) else NO_TIP}
    if vanes.standing.sum() < 3:
        return {"tip_shift": NO_SIBLINGS, "bend_angle": NO_SIBLINGS, "shortening": NO_SIBLINGS}
    if K95 * u > max(UNCLEAR_MM, abs(shift)):
        low, high = shift - K95 * u, shift + K95 * u
        unclear = Unmeasured(reason=f"too unclear: between {low:.1f} and {high:.1f} mm", hint=HINT)
        return {"tip_shift": unclear, "bend_angle": unclear, "shortening": shortening}
    return {
        "tip_shift": Measured.of(
            shift, "mm", how="against the siblings' median; + is to the left going outwards", fit=seen.tip_u_mm,
            edge=edge, **{n: abs(shift) * part for n, part in stretch.items()},
        ),
        "bend_angle": Measured.of(
            seen.bend_deg, "deg", how="direction at the tip against the siblings'", fit=seen.bend_u_deg
        ),
        "shortening": shortening,
    }  # fmt: skip


def _tip_seen(vanes: Vanes, k: int) -> bool:
    along = vanes.traces.line.along_mm
    near = (along > vanes.tip_mm - 6) & (along < vanes.tip_mm)
    return bool(vanes.traces.seen[k, near].mean() > 0.8)


def _flags(vanes: Vanes, plane: Plane, k: int) -> tuple[str, ...]:
    """Doubts: one that differs is suspected, one that is hardly seen is faint."""
    flags = []
    if differs(vanes, k):
        flags.append("suspected")
    if vanes.standing[k] and not np.isfinite(vanes.shapes[k].tip_shift_mm):
        flags.append("faint")
    if not in_frame(plane.to_px(outline_mm(vanes, k)), plane.size_px).all():
        flags.append("cut-by-frame")
    return tuple(flags)


def differs(vanes: Vanes, k: int) -> bool:
    """Whether a vane is missing, bent by a millimetre or more, or clearly shorter than its siblings."""
    seen = vanes.shapes[k]
    if not vanes.standing[k]:
        return True
    bent = np.isfinite(seen.tip_shift_mm) and abs(seen.tip_shift_mm) >= max(BENT_MM, K95 * seen.tip_u_mm)
    return bool(bent or vanes.short_mm[k] > max(2.0, K95 * vanes.short_u_mm[k]))


def _places(vanes: Vanes, plane: Plane, k: int, cards_px: tuple[Array, ...]) -> Array:
    """Where to lay the template or gauge: the tip, then two thirds and a third of the way, where in view and free."""
    if not vanes.standing[k]:
        return np.zeros((0, 2))
    traces = vanes.traces
    points, left = traces.line.turned(vanes.layout.number)
    bend = np.nan_to_num(vanes.shapes[k].off_mm)
    middle = points[k] + left[k] * (traces.pair_mm.mean(axis=1) + bend)[:, None]
    rows = [int(np.argmin(np.abs(traces.line.along_mm - s * vanes.tip_mm))) for s in (0.96, 0.66, 0.33)]
    px = plane.to_px(vanes.centre_mm + middle[rows])
    free = in_frame(px, plane.size_px, 4.0)
    for outline in cards_px:
        ahead = np.roll(outline, -1, axis=0)
        side = (ahead - outline)[:, 0] * (px[:, None, 1] - outline[:, 1]) - (ahead - outline)[:, 1] * (
            px[:, None, 0] - outline[:, 0]
        )
        free &= ~(np.all(side >= 0, axis=1) | np.all(side <= 0, axis=1))
    return np.asarray(px[free])
