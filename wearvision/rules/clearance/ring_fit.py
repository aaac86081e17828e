"""What inside and outside micrometer readings of a ring pair say of its clearance and shape; no limits here.

All figures are diametral: bore less ring. Readings at the same place (end of the ring) are held together; where
the places of bore and ring differ, every bore reading meets every ring reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from statistics import fmean

from wearvision.errors import BadInput
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Diameter, RingPair


@dataclass(frozen=True, kw_only=True)
class RingFit:
    """Clearance and shape of one pair.

    Attributes
    ----------
    ring_diameter, bore_diameter : Gauged
        Means of the places' means.
    min_diametral, mean_diametral, max_diametral : Gauged
        Clearance. Contact follows the smallest, leakage of a short ring the mean.
    bore_ovality_diametral, ring_ovality_diametral : Gauged or None
        Largest difference between directions at one place; `None` with one direction everywhere.
    bore_taper_diametral, ring_taper_diametral : Gauged or None
        Difference between the places' mean diameters; `None` with one place.
    """

    ring_diameter: Gauged
    bore_diameter: Gauged
    min_diametral: Gauged
    mean_diametral: Gauged
    max_diametral: Gauged
    bore_ovality_diametral: Gauged | None
    ring_ovality_diametral: Gauged | None
    bore_taper_diametral: Gauged | None
    ring_taper_diametral: Gauged | None


def ring_fit(pair: RingPair) -> RingFit:
    """Clearance and shape from the readings.

    Raises
    ------
    BadInput
        Fewer than two readings of bore or ring, or a ring that would not go into its bore.
    """
    met = _met(pair)
    for bore, ring in met:
        if ring.value_mm >= bore.value_mm:
            raise BadInput(f"{pair.name}: is the impeller ring larger than its bore? (bore, ring in mm)",
                           got=(bore.value_mm, ring.value_mm), do="check which reading is which")  # fmt: skip
    clearances = [bore.minus(ring) for bore, ring in met]
    bore, ring = _mean(_places(pair.bore)), _mean(_places(pair.ring))
    return RingFit(
        ring_diameter=ring, bore_diameter=bore, mean_diametral=bore.minus(ring, "mean bore less mean ring"),
        min_diametral=min(clearances, key=lambda c: c.value_mm),
        max_diametral=max(clearances, key=lambda c: c.value_mm),
        bore_ovality_diametral=_ovality(pair.bore), ring_ovality_diametral=_ovality(pair.ring),
        bore_taper_diametral=_taper(pair.bore), ring_taper_diametral=_taper(pair.ring),
    )  # fmt: skip


def _met(pair: RingPair) -> list[tuple[Gauged, Gauged]]:
    """Bore and ring readings that belong together: of the same place, else all with all."""
    for what, found in (("casing ring (inside)", pair.bore), ("impeller ring (outside)", pair.ring)):
        if len({(d.place, d.angle_deg % 180) for d in found}) < 2:
            raise BadInput(f"{pair.name}: the {what} needs readings at two or more places or angles",
                           got=len(found), do="read a quarter turn on, and at the other end")  # fmt: skip
    same = {d.place for d in pair.bore} == {d.place for d in pair.ring}
    return [(b.gauged, r.gauged) for b, r in product(pair.bore, pair.ring) if not same or b.place == r.place]


def _by_place(found: Sequence[Diameter]) -> list[list[Gauged]]:
    """Place by place, the diameter in each direction; a direction read again counts by its mean."""
    places: dict[str, dict[float, list[Gauged]]] = {}
    for d in found:
        places.setdefault(d.place, {}).setdefault(d.angle_deg % 180, []).append(d.gauged)
    return [[_mean(again) for again in directions.values()] for directions in places.values()]


def _places(found: Sequence[Diameter]) -> list[Gauged]:
    """Mean diameter of each place."""
    return [_mean(directions) for directions in _by_place(found)]


def _mean(readings: Sequence[Gauged]) -> Gauged:
    """Mean; its u is not shrunk by the number, because the gauge's own error is common to all."""
    worst = max(g.u_mm for g in readings)
    return Gauged(value_mm=fmean(g.value_mm for g in readings), u_mm=worst, how=f"mean of {len(readings)}")


def _ovality(found: Sequence[Diameter]) -> Gauged | None:
    spreads = [_spread(readings) for readings in _by_place(found) if len(readings) > 1]
    return max(spreads, key=lambda s: s.value_mm, default=None)


def _taper(found: Sequence[Diameter]) -> Gauged | None:
    means = _places(found)
    return _spread(means) if len(means) > 1 else None


def _spread(sizes: Sequence[Gauged]) -> Gauged:
    return max(sizes, key=lambda g: g.value_mm).minus(min(sizes, key=lambda g: g.value_mm), "largest less smallest")
