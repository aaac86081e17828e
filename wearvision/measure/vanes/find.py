"""The vanes of a disc: centre, number, common line and thickness; coarse, from a small map of the plane."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import best_shifts
from wearvision.measure.vanes.fold import NUMBERS, TWO, Sweep, find_sweeps
from wearvision.measure.vanes.foot import Where, centres, where
from wearvision.measure.vanes.hub import Disc
from wearvision.measure.vanes.layout import FULL, STEP_MM, Layout, widths
from wearvision.measure.vanes.refine import laid, refined
from wearvision.measure.vanes.strips import Line, edges_across, from_chart

FROM = 0.36
"""Inner end of the line that is looked along, share of the disc's radius."""
SIGMA_MM = 0.6
ACROSS_MM = np.arange(-14.0, 14.01, 0.5)
REACH_MM, STEPS_MM = 3.0, (1.0, 0.5, 0.25)
NEAR_MM, NEAR_STEPS_MM = 0.75, (0.25,)
"""Reach and steps of the centre about an axis that the rim tells."""
DEPTHS = ((9.0, 4.0), (15.0, 2.5), (2.0, 4.0))
"""How far the disc's circles may lie below the tops, depth and spread, mm: rim, deep rim, hub and bore."""
UNLIKE_MM = 0.6
SEEMS = 1.02
"""A disc that lies deeper than the tops seems smaller than it is by about this."""
SURE = 2.0
"""A layout that stands out so far ends the search."""
REFINED = 3
"""Layouts that are bettered, of all that were found."""
LEAST_GAIN = 0.9
"""Below this no vanes are believed: mean edge pair over what is usual, times the root of the number."""


def find_vanes(
    chart: Chart, plane: Plane, disc: Disc, diameter_mm: float | None = None,
    stated: int | None = None, thickness_mm: float | None = None, stiff: float = 0.0,
) -> list[Layout]:
    """Count the vanes of a disc and lay their common line.

    Parameters
    ----------
    chart : map of the plane
    disc : where the disc seems to be
    diameter_mm : stated diameter of the disc, if any
    stated : number that is stated: one more to look for
    thickness_mm : stated thickness of a vane, if any
    stiff : how straight the common line is held, `Layout.stiff`

    Returns
    -------
    Layouts that differ in number or centre, likeliest first; tracing tells which holds. None where no vanes stand out.
    """
    asked = (None,) if stated is None or stated not in (TWO, *NUMBERS) else (None, stated)
    places = centres(plane, disc.centre_mm) if disc.axis is None else [disc.axis.middle_mm]
    sweeps = find_sweeps(chart, places, disc.rim_mm, asked)
    found: list[Layout] = []
    for sweep in sweeps:
        found += _laid(chart, plane, disc, sweep, diameter_mm, widths(thickness_mm), stiff)
        best = max(found, key=lambda one: one.score)
        if best.score > SURE and stated in (None, best.number):
            break
    found.sort(key=lambda one: -one.score)
    found = [*(refined(chart, plane, one) for one in found[:REFINED]), *found[REFINED:]]
    found.sort(key=lambda one: -one.score)
    if not found or found[0].score < LEAST_GAIN:
        return []
    others = max((one.score for one in found if one.number != found[0].number), default=0.0)
    return [replace(one, margin=one.score / max(others, LEAST_GAIN)) for one in found]


def _laid(
    chart: Chart, plane: Plane, disc: Disc, sweep: Sweep, diameter_mm: float | None, widths_mm: Array, stiff: float
) -> list[Layout]:
    """One sweep aligned, and the pair of edges its vanes share: for each depth that the disc may lie at."""
    disc_mm = diameter_mm / 2 if diameter_mm else SEEMS * disc.rim_mm
    radius = np.linspace(FROM * disc_mm, FULL * disc_mm, 100)
    angle = np.radians(sweep.angle_deg(radius))
    line = Line.through(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]), STEP_MM)
    strips = from_chart(chart, line, sweep.centre_mm, sweep.number, ACROSS_MM)
    size = edges_across(strips, STEP_MM, SIGMA_MM)[1]
    search: tuple[float, tuple[float, ...], tuple[Where, ...]]
    if disc.axis is None:
        search = REACH_MM, STEPS_MM, tuple(where(plane, disc.centre_mm, depth) for depth in DEPTHS)
    else:
        search = NEAR_MM, NEAR_STEPS_MM, (disc.axis,)
    found: list[Layout] = []
    for shift in best_shifts(size, strips, sweep.centre_mm, *search):
        centre = sweep.centre_mm + shift
        if any(float(np.hypot(*(centre - f.centre_mm))) < UNLIKE_MM for f in found):
            continue
        blank = Layout(
            centre_mm=sweep.centre_mm, number=sweep.number, line=line, width_mm=0.0, score=0.0, disc=disc,
            disc_mm=disc_mm, widths_mm=widths_mm, stiff=stiff,
        )  # fmt: skip
        found.append(laid(blank, plane, strips, size, shift))
    return found
