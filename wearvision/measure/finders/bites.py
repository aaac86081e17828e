"""Bites out of a gasket land: where the land is missing just inside of an edge's circle, and what lies there instead.

Along an arc where what lies inside of the circle is unlike the land, the edge is sought further in, as the best way
from the circle and back to it: what is unlike the land on the circle's side, the land beyond, a step between. Whether
what was found is a bite, or a stain or a shadow, is weighed as odds (`bite_traits`).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import median
from wearvision.measure.finders.bite_traits import STANDS, THROUGH_MM, log_odds, traits_of, usual_step
from wearvision.measure.finders.bite_way import follow
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_tone import band
from wearvision.measure.plane import Array

INSIDE_MM = (0.08, 0.46)
"""Just inside of a circle, one photo pixel further in."""
CORE, FOOT = 0.35, -0.6
"""An arc is looked at where the tone there is so unlike the land's, out to where it is as the land's."""
LEAST_ARC_MM = 1.2
"""Shortest such arc."""
BRIDGE_MM, WIDE_GAP_MM, SPARE_MM = 1.0, 6.0, 0.8
"""Gaps bridged, also those over which no edge stands, and what is added at either end."""
LEAST_LOSS_MM = 0.4
"""Least loss that is looked at."""
LONGEST = 0.45
"""Longest arc, as a share of the lap."""
JOIN_MM = 8.0
"""Neighbours nearer than this may be one bite."""
SPOT_MM = 1.0
"""So much is taken off the rims of a land's spots."""
STANDING = 0.85
"""The other edge stands behind a way that goes through when it does in so many of its rows."""
HIDDEN_MM = 2.0
"""So near to what is hidden nothing is told."""
SURE, UNSURE = 2.5, -3.0
"""Logarithms of odds from which on it is taken as a bite, and may be one."""
LIKELY = -0.25
"""The same from which on a doubtful one is told, faint."""
STILL = 4.0
"""Odds are no better than this less how clear the old edge stands: hardly any drawn bite had one of 2.5."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """What a way is held against: usual steps of either edge, spots of the land, how many ways there are."""

    usual: tuple[float, float]
    even: tuple[float, float]
    spots: tuple[float, float]
    many: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Bite:
    """An arc where the land may be missing.

    Attributes
    ----------
    edge : int
        0 inner, 1 outer.
    rows : (K,) array
        Rows of the strip, in order.
    loss_mm : (K,) array
        How far the edge lies inside its circle.
    log_odds : float
        Logarithm of the odds that it is a bite, and no stain, shadow or grain.
    traits : dict of str to float
        What speaks for and against it, see `traits_of`; `hidden`: mm of its loss that only a shadow tells.
    """

    edge: int
    rows: NDArray[np.int64]
    loss_mm: Array
    log_odds: float
    traits: dict[str, float]

    @property
    def verdict(self) -> str:
        """``bite``, ``unsure``, or ``stain``: anything but a bite."""
        return "bite" if self.log_odds >= SURE else "unsure" if self.log_odds >= UNSURE else "stain"

    @property
    def likely(self) -> bool:
        """Whether it is sure, or so likely that it is told."""
        return self.log_odds >= LIKELY

    @property
    def deepest(self) -> int:
        """Row where most is missing."""
        return int(self.rows[int(np.argmax(self.loss_mm))])


def seek_bites(land: Land) -> list[Bite]:
    """Every arc where the land may be bitten into, with its verdict."""
    clear = _clear(land)
    usual = (usual_step(land, 0), usual_step(land, 1))
    arcs: list[tuple[int, NDArray[np.int64]]] = []
    for edge in (0, 1):
        way = (1.0, -1.0)[edge]
        near = sorted(way * (d + land.strip.px_mm) for d in INSIDE_MM)
        inside = band(land.tones.unlike, land.strip, land.sound_mm[edge], *near)
        stands = land.steps[edge] > STANDS * usual[edge]
        arcs += [(edge, rows) for rows in _arcs(np.where(clear, inside, -1.0), stands, land)]
    ways = [(edge, rows, follow(land, rows, edge, usual[edge])) for edge, rows in arcs]
    ways = [one for one in ways if float(one[2].max()) >= LEAST_LOSS_MM]
    even = (usual_step(land, 0, even=True), usual_step(land, 1, even=True))
    ground = Ground(usual=usual, even=even, spots=_spots(land, [rows for _, rows, _ in ways]), many=len(ways))
    return _alone(_joined(land, [_judged(land, *one, ground) for one in ways], ground), land)


def _judged(land: Land, edge: int, rows: NDArray[np.int64], loss: Array, ground: Ground) -> Bite:
    traits = traits_of(land, rows, loss, edge, ground.even[edge])
    odds = log_odds(traits, ground.spots, ground.many)
    odds = min(odds, STILL - traits["stands"])
    if _through_standing(land, rows, loss, edge, ground.usual[1 - edge]):
        odds = min(odds, 0.0)
    return Bite(edge=edge, rows=rows, loss_mm=loss, log_odds=odds, traits=traits)


def _through_standing(land: Land, rows: NDArray[np.int64], loss: Array, edge: int, usual: float) -> bool:
    """Whether a way goes right through the land where its other edge stands: no bite does."""
    other = land.sound_mm[1 - edge][rows]
    through = np.abs(other - land.sound_mm[edge][rows]) - loss < THROUGH_MM
    return bool(through.any() and (land.steps[1 - edge][rows[through]] > STANDS * usual).mean() > STANDING)


def _joined(land: Land, bites: list[Bite], ground: Ground) -> list[Bite]:
    """Neighbours as one where together they are likelier a bite: what shows in it may be blotched."""
    lap, out = len(land.deg), list[Bite]()
    for bite in bites:
        last = out[-1] if out else None
        if last is not None and last.edge == bite.edge and "stain" not in (last.verdict, bite.verdict):
            gap = (int(bite.rows[0]) - int(last.rows[-1]) + lap // 2) % lap - lap // 2
            if gap * land.row_mm < JOIN_MM:
                count = (int(bite.rows[-1]) - int(last.rows[0])) % lap + 1
                rows = (int(last.rows[0]) + np.arange(count)) % lap
                loss = follow(land, rows, bite.edge, ground.usual[bite.edge])
                both = _judged(land, bite.edge, rows, loss, ground)
                if both.log_odds > max(last.log_odds, bite.log_odds, SURE) and count < LONGEST * lap:
                    out[-1] = both
                    continue
        out.append(bite)
    return out


def _alone(bites: list[Bite], land: Land) -> list[Bite]:
    """Without what the other edge's bite has taken: of two that share their angles and cross, the wider stands."""
    width = float(np.abs(land.sound_mm[1] - land.sound_mm[0]).mean())
    out: list[Bite] = []
    for bite in sorted(bites, key=lambda b: (b.verdict != "bite", -len(b.rows))):
        deep = set(bite.rows[bite.loss_mm > 0.3].tolist())
        shares = (
            len(deep & set(other.rows.tolist())) > 0.3 * len(deep)
            and float(other.loss_mm.max() + bite.loss_mm.max()) > 0.9 * width
            for other in out if other.edge != bite.edge and other.verdict == "bite"
        )  # fmt: skip
        if not any(shares):
            out.append(bite)
    return out


def _clear(land: Land) -> NDArray[np.bool_]:
    """Rows in view that have no hidden ones near."""
    near = max(1, round(HIDDEN_MM / land.row_mm))
    hidden = np.concatenate([~land.seen[-near:], ~land.seen, ~land.seen[:near]]).astype(np.float64)
    return np.asarray(np.convolve(hidden, np.ones(2 * near + 1), mode="valid") < 0.5)


def _spots(land: Land, arcs: list[NDArray[np.int64]]) -> tuple[float, float]:
    """Share of the land's middle that is of another tone where no arc is, and how far that tone is from its own."""
    free = land.seen.copy()
    for rows in arcs:
        free[rows] = False
    if not free.any() or not land.tones.middle.any():
        return 0.0, 0.0
    size = [max(1, round(SPOT_MM / step)) for step in (land.row_mm, land.strip.step_mm)]
    solid = cv2.erode((land.tones.unlike > 0.5).astype(np.uint8), np.ones(size, np.uint8))
    rows, columns = np.flatnonzero(free), np.flatnonzero(land.tones.middle)
    spot = solid[rows][:, columns] > 0
    i, j = np.nonzero(spot)
    off = land.tones.soft[rows[i], columns[j]] - land.tones.own[rows[i]]
    return float(spot.mean()), median(off) if len(off) else 0.0


def _arcs(unlike: Array, stands: NDArray[np.bool_], land: Land) -> list[NDArray[np.int64]]:
    """Rows of each arc where the tone is not the land's; over a short gap where no edge stands they are one."""
    lap, per_mm = len(unlike), 1 / land.row_mm
    calm = _smooth(unlike, max(1, round(0.5 * per_mm)), closed=land.strip.closed)
    core = calm > CORE
    if not core.any() or core.all():
        return []
    turn = int(np.flatnonzero(~core)[0]) if land.strip.closed else 0
    core, calm, stands = np.roll(core, -turn), np.roll(calm, -turn), np.roll(stands, -turn)
    spare, foot = max(2, round(SPARE_MM * per_mm)), max(FOOT, float(np.median(calm)) + 0.2)
    spans: list[tuple[int, int]] = []
    for part in np.split(np.flatnonzero(core), np.flatnonzero(np.diff(np.flatnonzero(core)) > 1) + 1):
        first, last = int(part[0]), int(part[-1])
        while first > 0 and calm[first - 1] > foot:
            first -= 1
        while last < lap - 1 and calm[last + 1] > foot:
            last += 1
        if spans and _one(spans[-1][1], first, stands, per_mm):
            spans[-1] = (spans[-1][0], max(last, spans[-1][1]))
        else:
            spans.append((first, last))
    return [
        (np.arange(max(0, first - spare), min(lap - 1, last + spare) + 1) + turn) % lap for first, last in spans
        if (last - first + 1) / per_mm >= LEAST_ARC_MM and last - first <= LONGEST * lap
    ]  # fmt: skip


def _one(last: int, first: int, stands: NDArray[np.bool_], per_mm: float) -> bool:
    """Whether two arcs are one: hardly apart, or no edge stands between them."""
    gap = (first - last) / per_mm
    return gap < BRIDGE_MM or (gap < WIDE_GAP_MM and float(stands[last : first + 1].mean()) < 0.4)


def _smooth(values: Array, half: int, *, closed: bool) -> Array:
    pad = np.concatenate([values[-half:], values, values[:half]]) if closed else np.pad(values, half, mode="edge")
    return np.convolve(pad, np.full(2 * half + 1, 1 / (2 * half + 1)), mode="valid")
