"""The vanes of a disc: centre, number, common line and thickness; coarse, from a small map of the plane."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import Pair, Where, best_shifts, common, follow, shifted
from wearvision.measure.vanes.fold import NUMBERS, TWO, Sweep, find_sweeps
from wearvision.measure.vanes.foot import centres, where
from wearvision.measure.vanes.hub import Disc
from wearvision.measure.vanes.strips import Line, edges_across, from_chart

FROM, TO = 0.36, 1.09
"""Ends of the line that is looked along, shares of the rim."""
STEP_MM, SIGMA_MM = 1.5, 0.6
ACROSS_MM = np.arange(-14.0, 14.01, 0.5)
REACH_MM = 3.0
STEPS_MM = (1.0, 0.5, 0.25)
DEPTHS = ((9.0, 4.0), (15.0, 2.5), (4.0, 2.5))
"""How far the disc's circles may lie below the tops: depth and spread, mm."""
UNLIKE_MM = 0.6
SEEMS = 1.02
"""A disc that lies deeper than the tops seems smaller than it is by about this."""
SURE = 2.4
"""A layout that stands out so far ends the search."""
KINK_MM = 1.0
"""What strays so far from a smooth line hardly counts for it."""
LEAST_GAIN = 0.9
"""Below this no vanes are believed: mean edge pair over what is usual, times the root of the number."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Layout:
    """Where the vanes stand.

    Attributes
    ----------
    centre_mm : (2,) array
        Centre of the vanes, on the plane of their tops.
    number : int
    line : Line
        Middle of vane 0, about the centre.
    width_mm : float
        Thickness, to half a millimetre.
    score : float
        How far this stands out.
    margin : float
        The score over that of the best other number.
    disc : Disc
    disc_mm : float
        Radius of the disc: half of what is stated, or as it seems.
    """

    centre_mm: Array
    number: int
    line: Line
    width_mm: float
    score: float
    disc: Disc
    disc_mm: float
    margin: float = 1.0


def find_vanes(
    chart: Chart, plane: Plane, disc: Disc, diameter_mm: float | None = None, stated: int | None = None
) -> list[Layout]:
    """Count the vanes of a disc and lay their common line.

    Parameters
    ----------
    chart : map of the plane
    disc : where the disc seems to be
    diameter_mm : stated diameter of the disc, if any
    stated : number that is stated: one more to look for

    Returns
    -------
    Layouts that differ in number or centre, likeliest first; tracing tells which holds. None where no vanes stand out.
    """
    asked = (None,) if stated is None or stated not in (TWO, *NUMBERS) else (None, stated)
    sweeps = find_sweeps(chart, centres(plane, disc.centre_mm), disc.rim_mm, asked)
    laid: list[Layout] = []
    for sweep in sweeps:
        laid += _laid(chart, plane, disc, sweep, diameter_mm)
        best = max(laid, key=lambda one: one.score)
        if best.score > SURE and stated in (None, best.number):
            break
    laid.sort(key=lambda one: -one.score)
    if not laid or laid[0].score < LEAST_GAIN:
        return []
    others = max((one.score for one in laid if one.number != laid[0].number), default=0.0)
    return [replace(one, margin=one.score / max(others, LEAST_GAIN)) for one in laid]


def _laid(chart: Chart, plane: Plane, disc: Disc, sweep: Sweep, diameter_mm: float | None) -> list[Layout]:
    """One sweep aligned, and the pair of edges its vanes share: for each depth that the disc may lie at."""
    radius = np.linspace(FROM * disc.rim_mm, TO * disc.rim_mm, 100)
    angle = np.radians(sweep.angle_deg(radius))
    line = Line.through(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]), STEP_MM)
    strips = from_chart(chart, line, sweep.centre_mm, sweep.number, ACROSS_MM)
    size = edges_across(strips, STEP_MM, SIGMA_MM)[1]
    beliefs = []
    for depth in DEPTHS:
        middle, spread = where(plane, disc.centre_mm, depth)
        beliefs.append(Where(middle_mm=middle - sweep.centre_mm, spread_mm2=spread))
    found: list[Layout] = []
    for shift in best_shifts(size, strips, REACH_MM, STEPS_MM, tuple(beliefs)):
        centre = sweep.centre_mm + shift
        if any(float(np.hypot(*(centre - f.centre_mm))) < UNLIKE_MM for f in found):
            continue
        pair = follow(common(shifted(size, strips, shift)), ACROSS_MM, STEP_MM)
        found.append(Layout(
            centre_mm=centre, number=sweep.number, line=line.moved(_smooth(pair)),
            width_mm=pair.width_mm, score=float(pair.gain.mean() * np.sqrt(sweep.number)), disc=disc,
            disc_mm=diameter_mm / 2 if diameter_mm else SEEMS * disc.rim_mm,
        ))  # fmt: skip
    return found


def _smooth(pair: Pair) -> Array:
    """A cubic through the pair's middle, weighted by how strong it is: vanes have no kinks."""
    u = np.linspace(-1, 1, len(pair.middle_mm))
    weight = np.clip(pair.gain, 0.05, 2.0)
    value = pair.middle_mm
    for _ in range(4):
        poly = np.polynomial.polynomial.polyfit(u, pair.middle_mm, 3, w=np.sqrt(weight))
        value = np.asarray(np.polynomial.polynomial.polyval(u, poly), dtype=np.float64)
        weight = np.clip(pair.gain, 0.05, 2.0) / (1 + ((pair.middle_mm - value) / KINK_MM) ** 2) ** 2
    return value
