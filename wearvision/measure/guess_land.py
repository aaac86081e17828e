"""A gasket land whose diameters are not stated: told from the picture alone, or it is not.

A sheet, or a land of another tone than its ground, is a ring with the same ground on either side: both its edges are
clear and run about one axis, its tone is off the ground's the same way on both sides, and the ground inside and outside
of it is alike. A ring of ground between a land and a bore or a rim has two unlike neighbours. Where no ring is so, or
more than one, none is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import median, row_medians
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
DIFFER, AGREE, SEEN = 0.12, 0.7, 0.5
"""It is off its ground by so much, log grey, and the same way in the second share of the directions, of which the third
are seen."""
ALIKE, LEAD = 0.25, 0.1
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
    that is neither darker nor brighter than both."""
    a, b = inner.radius_mm, outer.radius_mm
    margin = MIDDLE * (b - a)
    land, within, beyond = (
        _tone(roll, low, high)
        for low, high in ((a + margin, b - margin), (a - BESIDE_MM[1], a - BESIDE_MM[0]),
                          (b + BESIDE_MM[0], b + BESIDE_MM[1]))
    )  # fmt: skip
    seen = np.isfinite(land) & np.isfinite(within) & np.isfinite(beyond)
    if seen.mean() < SEEN:
        return np.inf
    off = np.stack([land - within, land - beyond])[:, seen]
    usual = np.array([median(one) for one in off])
    least = float(np.abs(usual).min())
    agree = float((np.sign(off) == np.sign(usual)[:, None]).mean(axis=1).min())
    apart = abs(median((within - beyond)[seen]))
    clear = usual[0] * usual[1] > 0 and least > DIFFER and agree > AGREE
    return apart / least if clear else np.inf


def _tone(roll: Roll, low_mm: float, high_mm: float) -> Array:
    """Median log grey between two radii in each direction; nan where less than half of it is seen."""
    columns = (roll.radius_mm >= low_mm) & (roll.radius_mm <= high_mm)
    seen = roll.valid[:, columns] > 0
    tone = row_medians(np.where(seen, roll.values[:, columns], np.nan))
    return np.where(seen.mean(axis=1) >= 0.5, tone, np.nan)
