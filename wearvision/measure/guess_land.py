"""A gasket land whose diameters are not stated: told from the picture alone, or it is not.

A sheet, or a land that looks otherwise than its ground, is a ring with the same ground on either side: both its edges
are clear and run about one axis, its tones are others than the ground's, and those inside and outside of it are alike:
rusty ground has many, and a sheet's may be one of them. A ring of ground between a land and a bore or a rim has two
unlike neighbours. Where no ring is so, or more than one, none is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.guess import MIN_EDGE, MIN_LEAD, STATED_MM, WEIGHT, Ring, Roll, differ, edges_about
from wearvision.measure.plane import Array

WIDTH_OFF = 0.5, 0.03
"""A ring's width lies within the sum of these, mm and share, of a stated one."""
WIDTH_MM, SLIM = (4.0, 40.0), 0.5
"""A land is so wide, and its inner radius over its outer one is more than the second."""
CLEAR_EDGE = 1.0
"""Least strength of either edge of a land of which nothing is stated."""
BESIDE_MM, MIDDLE = (1.0, 4.0), 0.25
"""How far beside it its ground is looked at, and the share of its width at either edge that does not count for it."""
TONES, EVEN = np.arange(-0.5, 6.5, 0.06), (0.25, 0.5, 0.25)
"""Tones are counted in steps of this, log grey, and evened out."""
DIFFER, SEEN = 0.4, 0.5
"""This share of its tones is not its ground's, where they are seen in the second share of the directions."""
ALIKE, LEAD = 0.55, 0.15
"""The ground inside and outside differ by no more than this share of that; any other ring's by so much more."""


def ring_of_width(chart: Chart, width_mm: float) -> tuple[Array, tuple[float, float]] | None:
    """Centre (2,) and radii (inner, outer) in mm of the one clear ring of a stated width; `None` when there is none, or
    more than one.

    Either edge may be the brighter on either side.
    """
    about = edges_about(chart)
    if about is None:
        return None
    edges = [*about[1], *about[2]]
    near = WIDTH_OFF[0] + WIDTH_OFF[1] * width_mm
    pairs = [
        (bore.worth + rim.worth + WEIGHT["apart"] * min(float(np.hypot(*(bore.off_mm - rim.off_mm))), 3.0), bore, rim)
        for bore, rim in product([e for e in edges if e.worth >= MIN_EDGE], repeat=2)
        if abs(rim.radius_mm - bore.radius_mm - width_mm) < near
    ]
    if not pairs:
        return None
    best, bore, rim = max(pairs, key=lambda pair: pair[0])
    lead = best - max((worth for worth, b, r in pairs if differ((b, r), (bore, rim))), default=0.0)
    return _ring(chart, about[0], bore, rim) if lead >= MIN_LEAD else None


def land_rings(
    chart: Chart, inner_mm: float | None = None, outer_mm: float | None = None
) -> tuple[Array, tuple[float, float]] | None:
    """Centre (2,) and radii (inner, outer) in mm of the one ring that is surely a land; `None` when there is none, or
    more than one.

    `inner_mm`, `outer_mm`: a radius that is stated.
    """
    about = edges_about(chart)
    if about is None:
        return None
    roll, rising, falling = about
    pairs = [
        (_apart(roll, *pair), pair) for pair in _pairs(rising, falling)
        if all(said is None or abs(edge.radius_mm - said) < STATED_MM
               for edge, said in zip(pair, (inner_mm, outer_mm), strict=True))
    ]  # fmt: skip
    least, best = min(pairs, key=lambda one: one[0], default=(np.inf, None))
    if best is None or least > ALIKE or any(apart < least + LEAD and differ(pair, best) for apart, pair in pairs):
        return None
    return _ring(chart, roll, *best)


def _ring(chart: Chart, roll: Roll, inner: Ring, outer: Ring) -> tuple[Array, tuple[float, float]]:
    """Centre and radii of two edges."""
    off = (inner.off_mm + outer.off_mm) / 2
    return chart.origin_mm + roll.place + off, (inner.radius_mm, outer.radius_mm)


def _pairs(rising: list[Ring], falling: list[Ring]) -> Iterator[tuple[Ring, Ring]]:
    """Clear edges, the one falling where the other rises, that may be the two of a land."""
    strong = [[edge for edge in edges if edge.worth >= CLEAR_EDGE] for edges in (rising, falling)]
    for inner, outer in (*product(*strong), *product(*strong[::-1])):
        width = outer.radius_mm - inner.radius_mm
        if WIDTH_MM[0] < width < WIDTH_MM[1] and inner.radius_mm > SLIM * outer.radius_mm:
            yield inner, outer


def _apart(roll: Roll, inner: Ring, outer: Ring) -> float:
    """How unlike the ground inside and outside is, over how unlike what lies between them is to either; infinite where
    that is not clear."""
    a, b = inner.radius_mm, outer.radius_mm
    margin = MIDDLE * (b - a)
    land, within, beyond = (
        _tones(roll, low, high)
        for low, high in ((a + margin, b - margin), (a - BESIDE_MM[1], a - BESIDE_MM[0]),
                          (b + BESIDE_MM[0], b + BESIDE_MM[1]))
    )  # fmt: skip
    if land is None or within is None or beyond is None:
        return np.inf
    least = min(_unlike(land, within), _unlike(land, beyond))
    return _unlike(within, beyond) / least if least > DIFFER else np.inf


def _tones(roll: Roll, low_mm: float, high_mm: float) -> Array | None:
    """How often each tone is met between two radii, the total 1; None where too few directions see them."""
    columns = (roll.radius_mm >= low_mm) & (roll.radius_mm <= high_mm)
    seen = roll.valid[:, columns] > 0
    if not columns.any() or (seen.mean(axis=1) >= 0.5).mean() < SEEN:
        return None
    count, _ = np.histogram(roll.values[:, columns][seen], TONES)
    even = np.convolve(count, EVEN, mode="same")
    return np.asarray(even / max(1.0, float(even.sum())), dtype=np.float64)


def _unlike(one: Array, other: Array) -> float:
    """Share of two rings' tones that only one of them has: 0 where they are the same, 1 where none is shared."""
    return float(np.abs(one - other).sum() / 2)
