"""The vanes of a disc: centre, number, common line and thickness; coarse, from a small map of the plane."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import PRIOR, WIDTHS_MM, Pair, best_shift, common, follow, shifted
from wearvision.measure.vanes.fold import Sweep, find_sweeps
from wearvision.measure.vanes.foot import camera_foot, centres, where
from wearvision.measure.vanes.hub import Disc, find_disc
from wearvision.measure.vanes.strips import Line, Strips, edges_across, from_chart
from wearvision.quantity import Unmeasured

FROM, TO = 0.36, 1.09
"""Ends of the line that is looked along, shares of the rim."""
STEP_MM, SIGMA_MM = 1.5, 0.6
ACROSS_MM = np.arange(-14.0, 14.01, 0.5)
REACH_MM = 3.0
WIDE = (8.0, 5.0)
DEPTHS = ((9.0, 4.0), (15.0, 2.5), (4.0, 2.5))
"""How far the disc's circles may lie below the tops (mm, spread): while counting, and for each of the centres."""
UNLIKE_MM = 0.6
ALIKE = 0.6
"""Trials of the number found that come this near the best are bettered."""
LEAST_GAIN = 0.9
"""Below this no vanes are believed: mean edge pair over what is usual, times the root of the number."""
DISC_HINT = "take the whole disc in, from straight above, and state its diameter"


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
    """

    centre_mm: Array
    number: int
    line: Line
    width_mm: float
    score: float
    margin: float
    disc: Disc


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    sweep: Sweep
    line: Line
    centre_mm: Array
    pair: Pair
    score: float
    strips: Strips
    size: Grid


def find_vanes(
    chart: Chart, plane: Plane, diameter_mm: float | None = None, number: int | None = None
) -> Iterator[Layout] | Unmeasured:
    """Count the vanes and lay their common line.

    Parameters
    ----------
    chart : map of the plane
    diameter_mm : stated diameter of the disc, if any
    number : look for this many only

    Returns
    -------
    Layouts of one number that differ in their centre, likeliest first, worked out as they are asked for; tracing tells
    which holds. `Unmeasured` when no disc or no vanes can be told.
    """
    disc = find_disc(chart, diameter_mm, camera_foot(plane)[1])
    if disc is None:
        return Unmeasured(reason="no disc with a bore or a rim was found", hint=DISC_HINT)
    sweeps = find_sweeps(chart, centres(plane, disc.centre_mm), disc.rim_mm, number)
    trials = sorted((_trial(chart, plane, disc, s) for s in sweeps), key=lambda t: -t.score)
    if not trials or trials[0].score < LEAST_GAIN:
        return Unmeasured(reason="no vanes stand out from the disc", hint=DISC_HINT)
    return _layouts(plane, disc, trials)


def _layouts(plane: Plane, disc: Disc, trials: list[_Trial]) -> Iterator[Layout]:
    count = trials[0].sweep.number
    others = max((t.score for t in trials if t.sweep.number != count), default=0.0)
    alike = [t for t in trials if t.sweep.number == count and t.score > ALIKE * trials[0].score]
    found: list[Array] = []
    for depth in DEPTHS:
        best = max((_centred(plane, disc, t, depth) for t in alike), key=lambda t: t.score)
        if all(float(np.hypot(*(best.centre_mm - f))) > UNLIKE_MM for f in found):
            found.append(best.centre_mm)
            yield Layout(
                centre_mm=best.centre_mm, number=count, line=best.line.moved(_smooth(best.pair.middle_mm)),
                width_mm=best.pair.width_mm, score=trials[0].score, margin=trials[0].score / max(others, 0.3),
                disc=disc,
            )  # fmt: skip


def _trial(chart: Chart, plane: Plane, disc: Disc, sweep: Sweep) -> _Trial:
    """One sweep aligned, and the pair of edges its vanes share."""
    radius = np.linspace(FROM * disc.rim_mm, TO * disc.rim_mm, 200)
    angle = np.radians(sweep.angle_deg(radius))
    line = Line.through(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]), STEP_MM)
    strips = from_chart(chart, line, sweep.centre_mm, sweep.number, ACROSS_MM)
    size = edges_across(strips, STEP_MM, SIGMA_MM)[1]
    middle, spread = where(plane, disc.centre_mm, WIDE)
    shift = best_shift(
        size, strips, REACH_MM, (1.0, 0.5), expect_mm=middle - sweep.centre_mm, spread_mm2=spread, weight=PRIOR / 2
    )
    pair = follow(common(shifted(size, strips, shift)), ACROSS_MM, STEP_MM, WIDTHS_MM[::2])
    score = float(pair.gain.mean() * np.sqrt(sweep.number))
    return _Trial(
        sweep=sweep, line=line, centre_mm=sweep.centre_mm + shift, pair=pair, score=score, strips=strips, size=size
    )


def _centred(plane: Plane, disc: Disc, trial: _Trial, depth: tuple[float, float]) -> _Trial:
    """The trial aligned anew with what is usual for the depth of a disc; its score counts for less away from there."""
    middle, spread = where(plane, disc.centre_mm, depth)
    start = trial.sweep.centre_mm
    shift = best_shift(
        trial.size, trial.strips, REACH_MM, (1.0, 0.5, 0.25), expect_mm=middle - start, spread_mm2=spread
    )
    pair = follow(common(shifted(trial.size, trial.strips, shift)), ACROSS_MM, STEP_MM)
    off = start + shift - middle
    score = float(pair.gain.mean() * np.exp(-PRIOR * off @ np.linalg.inv(spread) @ off))
    return _Trial(
        sweep=trial.sweep, line=trial.line, centre_mm=start + shift, pair=pair, score=score, strips=trial.strips,
        size=trial.size,
    )  # fmt: skip


def _smooth(middle_mm: Array) -> Array:
    """Running mean over five stations."""
    padded = np.pad(middle_mm, 2, mode="edge")
    return np.convolve(padded, np.ones(5) / 5, mode="valid")
