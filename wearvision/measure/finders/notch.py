"""What is left of a rolled-out gasket land: its least width and where, and the bites out of either edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_unseen import Stretch
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Quantity, Unmeasured

FOOT_SHARE, FOOT_MM = 0.04, 0.12
"""A bite begins where the loss is over this share of its depth, and over so many mm."""
EDGE_PX, RAGGED_MM, SIDE_MM = 0.25, 0.11, 0.16
"""Standard uncertainty common to an edge: localisation, photo px; raggedness and shadow taken for land, mm; the same
all along a bite."""
TIP_DEG, FOOT_DOUBT, CUT_DOUBT = 0.5, 0.1, 0.5
"""Standard uncertainty of a bite's arc, in degrees and as a share: its feet run out flat; and where they end short, as
a share by which their loss there is of the deepest: what goes on is not seen."""
AREA_DOUBT = 0.17
"""Standard uncertainty of its area as a share: tips and feet are rounded off."""
LIKELY_DOUBT = 0.3
"""Both of these of a bite that is only likely: it may be seen in part."""
FEET_UNSEEN = 0.04
"""Share of an arc that lies in flat feet and is not seen."""
DEPTH_DOUBT = 0.07
"""Standard uncertainty of a bite's tip as a share of its loss: it narrows and lies in shadow."""
NARROW_MM, HIDDEN_DOUBT = 0.25, 0.15
"""So much along the lap is blurred together: a narrow bite's tip is seen shorter by this times its flanks' slope. And
share of what only its wall's shadow tells: that may end before the tip or go beyond."""
BREACH_MM = 0.3
"""Less than this left is a leak path."""
LEAST_SURE = 0.5
"""With less of the lap told than this, no least width is."""
MOST_DOUBT_MM, DOUBT_SPREAD = 1.2, 3.6
"""What may be a bite, or not, is taken into the interval of the least width up to this; it covers both then."""
DEEPER, DEEPER_MM = 1.1, 0.1
"""It may be so much deeper than the way that was found in it."""
UNSEEN_MM = 0.2
"""Standard uncertainty of a least width by bites that are too shallow to be seen."""
MOST_LIKELY = 5
"""On a land with more bites and doubtful places than this none of the doubtful is told: it is stained."""
HINT = "look there, and gauge the width"


@dataclass(frozen=True, kw_only=True, eq=False)
class Left:
    """Both edges as they are.

    Attributes
    ----------
    inner_mm, outer_mm : (N,) arrays
        Radii by angle.
    sure : (N,) bool
        Where that can be told.
    """

    inner_mm: Array
    outer_mm: Array
    sure: NDArray[np.bool_]

    @property
    def width_mm(self) -> Array:
        """What is left at each angle."""
        return np.maximum(self.outer_mm - self.inner_mm, 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Span:
    """A length to be told: its ends (2, 2), mm, in words, the standard uncertainty of its tip, mm, further parts."""

    ends_mm: Array
    how: str
    tip_mm: float
    more: dict[str, float]


def left_of(land: Land, bites: list[Bite], told: NDArray[np.bool_]) -> Left:
    """Edges with what is missing of them; where it is unsure whether it is, nothing is told."""
    edges, sure = land.sound_mm.copy(), land.seen & told.all(axis=0)
    for bite in bites:
        if bite.verdict == "bite":
            edges[bite.edge][bite.rows] += (1.0, -1.0)[bite.edge] * bite.loss_mm
        elif bite.verdict == "unsure":
            sure[bite.rows] = False
    return Left(inner_mm=edges[0], outer_mm=edges[1], sure=sure)


def land_findings(
    land: Land, bites: list[Bite], left: Left, hidden: list[Stretch], plane: Plane
) -> tuple[Finding, ...]:
    """The land, then its bites, deepest first, and those that most likely are some, which are faint.

    Where an edge can be told nowhere there are only bites, and all are faint.
    """
    pale = not left.sure.any()
    told = _told(land, bites, left)
    spans = [] if pale else _least_spans(land, left, [b for b in bites if b.verdict == "bite"])
    lengths = _lengths(spans + [s for bite, edges in told for s in _bite_spans(land, bite, edges)], land, plane)
    whole, lengths = lengths[: len(spans)], lengths[len(spans) :]
    notches = tuple(
        _bite(f"N{k + 1}", bite, land, edges, (lengths[2 * k], lengths[2 * k + 1]), plane, faint=pale)
        for k, (bite, edges) in enumerate(told)
    )
    if pale:
        return notches
    doubtful = [b for b in bites if b.verdict == "unsure"]
    width = _unseen(land, left, hidden[0], plane) if hidden else _least(land, left, whole[0], doubtful)
    return (_whole(land, left, hidden, {"remaining_width": width, "width": whole[1]}, plane), *notches)


def _told(land: Land, bites: list[Bite], left: Left) -> list[tuple[Bite, Left]]:
    """Bites that are told, each with the edges as they are with it: those that are sure, and likely ones; none of a
    single row, which has no outline."""
    broad = sorted((b for b in bites if len(b.rows[_span(b.loss_mm)]) > 1), key=lambda b: -float(b.loss_mm.max()))
    real, doubtful = ([b for b in broad if b.verdict == verdict] for verdict in ("bite", "unsure"))
    some = [b for b in doubtful if b.likely] if len(real) + len(doubtful) <= MOST_LIKELY else []
    return [(b, left) for b in real] + [
        (b, left_of(land, [replace(b, log_odds=np.inf)], np.tile(left.sure, (2, 1)))) for b in some
    ]


def _least_row(left: Left) -> int:
    """Where least is left, of what can be told."""
    return int(np.argmin(np.where(left.sure, left.width_mm, np.inf)))


def _least_spans(land: Land, left: Left, bites: list[Bite]) -> list[Span]:
    """The least width, and one that is usual."""
    row, width = _least_row(left), left.width_mm
    tips = sum(_tip(b, land) for b in bites if row in b.rows)
    usual = int(np.argmax(left.sure & (width >= np.median(width[left.sure])))) if left.sure.any() else 0
    return [_across(land, left, row, tips, {"unseen": UNSEEN_MM}), _across(land, left, usual)]


def _whole(land: Land, left: Left, hidden: list[Stretch], widths: dict[str, Quantity], plane: Plane) -> Finding:
    """The land with its widths."""
    lap, least = len(land.deg), _least_row(left)
    some = slice(None, None, max(1, lap // 360))
    inner, outer = (ring_points(land.ring.centre_mm, land.deg, r)[some] for r in (left.inner_mm, left.outer_mm))
    ring = np.vstack([inner, inner[:1], outer[::-1], outer[-1:]])
    flags = () if land.seen.all() else ("cut-by-frame",)
    if left.width_mm[least] < BREACH_MM and left.sure[least]:
        flags = (*flags, "breach")
    first = int(hidden[0].rows[len(hidden[0].rows) // 2]) if hidden else least
    spots = np.array([first, *[(least + lap * k // 4) % lap for k in (1, 2, 3)]])
    middle = ring_points(land.ring.centre_mm, land.deg[spots], (left.inner_mm[spots] + left.outer_mm[spots]) / 2)
    return Finding(
        id="L1", kind="gasket-land", outline_px=plane.to_px(ring), quantities=widths, flags=flags,
        places_px=plane.to_px(middle[land.seen[spots]]),
    )  # fmt: skip


def _unseen(land: Land, left: Left, hidden: Stretch, plane: Plane) -> Unmeasured:
    """That there may be less than what is seen: an edge is not seen over a stretch."""
    deg = land.deg[hidden.rows[len(hidden.rows) // 2]]
    centre, place = plane.to_px(ring_points(land.ring.centre_mm, np.full(2, deg), np.array([0.0, land.sound_mm.max()])))
    hour = round(float(np.degrees(np.arctan2(place[0] - centre[0], centre[1] - place[1]))) / 30) % 12 or 12
    edge, length = ("inner", "outer")[hidden.edge], len(hidden.rows) * land.row_mm
    return Unmeasured(
        reason=f"at most {left.width_mm[_least_row(left)]:.1f} mm: its {edge} edge is not seen over {length:.0f} mm at "
        f"{hour} o'clock, where a bite would not show",
        hint="gauge it there, or light it from the side",
    )


def _least(land: Land, left: Left, got: Measured, doubtful: list[Bite]) -> Quantity:
    """The least width, unless too little is told, or what may be a bite would make it less."""
    share = float(left.sure.mean())
    if share < LEAST_SURE:
        return Unmeasured(reason=f"its edges can be told on {100 * share:.0f} % of it only", hint=HINT)
    width = float(left.width_mm[_least_row(left)])
    less = max((width - _if_bitten(land, left, b) for b in doubtful), default=0.0)
    if less > MOST_DOUBT_MM:
        reason = (
            f"at most {width:.1f} mm, or {max(0.0, width - less):.1f} mm if all that may be bites are: "
            "it is bitten into or stained at more places, which cannot be told apart"
        )
        return Unmeasured(reason=reason, hint=HINT)
    if less <= 0:
        return got
    value = max(0.0, got.value - less / 2)
    how = "left between the edges; half way to what is left if a doubtful place is a bite"
    return Measured.of(value, "mm", how=how, doubt=less / DOUBT_SPREAD, **got.budget)


def _if_bitten(land: Land, left: Left, bite: Bite) -> float:
    """Width that would be left if a doubtful one were a bite."""
    return float((left.width_mm[bite.rows] - DEEPER * bite.loss_mm).min()) - DEEPER_MM


def _across(land: Land, left: Left, row: int, tip_mm: float = 0.0, more: dict[str, float] | None = None) -> Span:
    """The width at a row."""
    radii = np.array([left.inner_mm[row], max(left.inner_mm[row], left.outer_mm[row])])
    ends = ring_points(land.ring.centre_mm, np.full(2, land.deg[row]), radii)
    return Span(ends_mm=ends, how="left between the edges", tip_mm=tip_mm, more=more or {})


def _bite_spans(land: Land, bite: Bite, left: Left) -> list[Span]:
    """A bite's loss, and the least that it leaves."""
    deepest = bite.deepest
    radii = np.array([land.sound_mm[bite.edge][deepest], (left.inner_mm, left.outer_mm)[bite.edge][deepest]])
    ends = ring_points(land.ring.centre_mm, np.full(2, land.deg[deepest]), radii)
    tip = _tip(bite, land)
    loss = Span(ends_mm=ends, how="deepest, from the edge's own circle", tip_mm=tip, more={})
    return [loss, _across(land, left, _narrowest(bite, left), tip)]


def _narrowest(bite: Bite, left: Left) -> int:
    rows = bite.rows[_span(bite.loss_mm)]
    return int(rows[int(np.argmin(left.width_mm[rows]))])


def _lengths(spans: list[Span], land: Land, plane: Plane) -> list[Measured]:
    """Lengths with their uncertainty; the plane is asked once for all, it is dear."""
    if not spans:
        return []
    ends_px = plane.to_px(np.vstack([span.ends_mm for span in spans]))
    values, parts = plane.propagate(lambda p: np.hypot(*np.diff(p.to_mm(ends_px).reshape(-1, 2, 2), axis=1)[:, 0].T))
    edge = 1.4 * EDGE_PX * land.strip.px_mm
    return [
        Measured.of(
            float(values[k]), "mm", how=span.how, edge=edge, outline=float(np.hypot(RAGGED_MM * 1.4, span.tip_mm)),
            circles=land.width_u_mm, **span.more, **{name: float(u[k]) for name, u in parts.items()},
        )
        for k, span in enumerate(spans)
    ]  # fmt: skip


def _bite(
    name: str, bite: Bite, land: Land, left: Left, lengths: tuple[Measured, Measured], plane: Plane, *, faint: bool
) -> Finding:
    """One bite: loss, arc, what is left at its deepest, area."""
    part = _span(bite.loss_mm)
    rows, loss, centre = bite.rows[part], bite.loss_mm[part], land.ring.centre_mm
    sound, edge = land.sound_mm[bite.edge][rows], (left.inner_mm, left.outer_mm)[bite.edge][rows]
    deepest = int(np.argmax(loss))
    tip = ring_points(centre, land.deg[rows[[deepest]]], edge[[deepest]])
    outline = np.vstack([
        ring_points(centre, land.deg[rows], edge), ring_points(centre, land.deg[rows], sound)[::-1]
    ])  # fmt: skip
    quantities: dict[str, Quantity] = {
        "loss": lengths[0], "remaining_width": lengths[1], **_extent(bite, land, loss, edge, sound)
    }
    flags = ("faint",) if faint or bite.verdict == "unsure" else ()
    if float(left.width_mm[_narrowest(bite, left)]) < BREACH_MM:
        flags = (*flags, "breach")
    return Finding(
        id=name, kind="notch", outline_px=plane.to_px(outline), quantities=quantities, flags=flags,
        places_px=plane.to_px(tip),
    )  # fmt: skip


def _extent(bite: Bite, land: Land, loss: Array, edge: Array, sound: Array) -> dict[str, Quantity]:
    """Arc and area of a bite whose edge lies so far inside its circle."""
    step = land.strip.step_deg
    area = float(np.sum(loss * (edge + sound) / 2) * np.radians(step))
    arc = (1 + FEET_UNSEEN) * float(len(loss) * step)
    cut = CUT_DOUBT * float(loss[0] + loss[-1]) / 2 / float(loss.max())
    feet, tips = (LIKELY_DOUBT, LIKELY_DOUBT) if bite.verdict == "unsure" else (FOOT_DOUBT, AREA_DOUBT)
    side = (EDGE_PX * land.strip.px_mm + SIDE_MM) * float(np.radians(arc) * np.mean(edge))
    return {
        "arc": Measured.of(arc, "deg", how="from foot to foot", outline=TIP_DEG, feet=float(np.hypot(feet, cut)) * arc),
        "area": Measured.of(area, "mm2", how="between the edge and its circle", edge=side,
                            tip=float(np.hypot(tips, cut / 2)) * area),
    }  # fmt: skip


def _tip(bite: Bite, land: Land) -> float:
    """Standard uncertainty of where a bite ends: as a share of its loss, and more the steeper its flanks are."""
    loss = float(bite.loss_mm.max())
    half = max(1.0, float((bite.loss_mm > 0.3 * loss).sum()) / 2) * land.row_mm
    hidden = HIDDEN_DOUBT * bite.traits.get("hidden", 0.0)
    return float(np.linalg.norm([DEPTH_DOUBT * loss, NARROW_MM * loss / half, hidden]))


def _span(loss_mm: Array) -> slice:
    """From foot to foot about the deepest."""
    low = loss_mm <= max(FOOT_MM, FOOT_SHARE * float(loss_mm.max()))
    deepest = int(np.argmax(loss_mm))
    before, after = np.flatnonzero(low[:deepest]), np.flatnonzero(low[deepest:])
    return slice(int(before[-1]) + 1 if len(before) else 0, deepest + int(after[0]) if len(after) else len(loss_mm))
