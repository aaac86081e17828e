"""The far wall of a groove of which one wall was followed.

A wide groove has walls that shade and a floor that looks like the face. The search may take one wall for a mark, and
the floor beside it for the face: nothing there seems to be out of the ordinary. But somewhere beside it, all along, the
other wall stands, if less steep in the light of one lamp. So the mark is stretched to there, and what it then shows
has to speak for itself. Where the one wall is bright the other is dark, so that the grey falls, or rises, at both lips;
of two dark lines it falls at one and rises at the other. Such lines are walls only where they end together, as a tool's
lines do not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import median
from wearvision.measure.evidence import Evidence
from wearvision.measure.laid import SIDE_MM, beside, lay, seen_mean, slope_squares
from wearvision.measure.lips import Track, running_median
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

CALM_ROWS = 31
"""The middle of the mark is calmed over so many rows."""
CAP = 25.0
"""Highest count of one sector: (5 standard deviations) squared."""
AS_STEEP, CLEAR_PX = 0.15, 2.0
"""A wall has at least this share of the square of the mark's slope, and lies so far from its lips."""
LIP_PX, LINES = 1.5, -0.5
"""The steepest place so near a lip is the lip's; and least cosine between the slopes at both lips, which is -1 for two
lines and 1 for walls in the light of one lamp."""
BEYOND_DEG, GOES_ON = (6.0, 30.0), 0.3
"""Where beyond its ends a line that goes on is looked for, and which share of the square of its slope it has there."""
FADE_DEG = 20.0
"""Standard uncertainty of where the groove ends when one wall of it ends there: a wall fades with the angle to the
lamp, not with the groove."""


def to_far_wall(track: Track, found: Evidence, strip: Strip, max_width_mm: float) -> list[Ribbon]:
    """The mark stretched to the steepest wall beside it, on either side that has one near enough."""
    rows = round((track.deg[0] - strip.first_deg) / strip.step_deg) + np.arange(len(track.deg))
    middle = (running_median((track.inner_mm + track.outer_mm) / 2, CALM_ROWS) - strip.start_mm) / strip.step_mm
    half, reach = track.width_mm / 2 / strip.step_mm, round((max_width_mm + SIDE_MM) / strip.step_mm)
    laid = lay(found, strip, rows, middle, reach)
    box = (reach - half, reach + half)
    wall = seen_mean(slope_squares(laid, beside(strip, box, laid.gray.shape[1]), CAP))
    px = strip.px_mm / strip.step_mm
    low, high = (round(edge) for edge in (box[0] - CLEAR_PX * px, box[1] + CLEAR_PX * px))
    far = np.arange(len(wall))
    least = AS_STEEP * float(wall[max(0, low) : high + 1].max())
    near = round(max_width_mm / strip.step_mm)
    sides = ((far < low) & (far > box[1] - near), (far > high) & (far < box[0] + near))
    doubt = (0.0, 0.0) if track.full else (FADE_DEG / strip.step_deg, FADE_DEG / strip.step_deg)
    one = Ribbon(rows=rows, inner=middle, outer=middle, score=track.score, full=track.full, doubt_rows=doubt)
    out: list[Ribbon] = []
    for side in sides:
        at = int(np.argmax(np.where(side, wall, 0.0)))
        if side[at] and wall[at] >= least:
            inner, outer = (middle - reach + lip for lip in (min(at, box[0]), max(at, box[1])))
            out.append(replace(one, inner=inner, outer=outer))
    return out


def are_lines(ribbon: Ribbon, found: Evidence, strip: Strip) -> bool:
    """Whether a ribbon is the room between two lines rather than a groove between two walls: the grey falls at one lip
    and rises at the other, and beyond the ends of the ribbon at least one goes on."""
    inner, outer = _lips(ribbon, ribbon.rows, 0, found, strip)
    if inner @ outer >= LINES * np.sqrt((inner @ inner) * (outer @ outer)):
        return False
    return ribbon.full or _go_on(ribbon, (inner, outer), found, strip)


def _go_on(ribbon: Ribbon, lips: tuple[Array, Array], found: Evidence, strip: Strip) -> bool:
    """Whether a lip is seen beyond either end, or an end is out of the strip."""
    first, last = int(ribbon.rows[0]), int(ribbon.rows[-1])
    near, far = (round(deg / strip.step_deg) for deg in BEYOND_DEG)
    for rows, end in ((np.arange(first - far, first - near), 0), (np.arange(last + near + 1, last + far + 1), -1)):
        if not strip.closed and (rows[0] < 0 or rows[-1] >= len(strip.values)):
            return True
        beyond = _lips(ribbon, rows, end, found, strip)
        if any(np.mean(out**2) > GOES_ON * np.mean(lip**2) for out, lip in zip(beyond, lips, strict=True)):
            return True
    return False


def _lips(ribbon: Ribbon, rows: NDArray[np.int64], end: int, found: Evidence, strip: Strip) -> tuple[Array, Array]:
    """Steepest slope near either lip in each sector of some rows; beyond an end, near where that end's lips are."""
    px, half = strip.px_mm / strip.step_mm, median(ribbon.outer - ribbon.inner) / 2
    near = round(LIP_PX * px)
    middle = (ribbon.inner + ribbon.outer) / 2
    line = middle if len(rows) == len(middle) else np.full(len(rows), middle[end])
    slope = lay(found, strip, rows, line, round(half) + near).slope
    inner, outer = (
        part[np.arange(len(part)), np.argmax(np.abs(part), axis=1)].astype(np.float64)
        for part in (slope[:, : 2 * near + 1], slope[:, -2 * near - 1 :])
    )
    return inner, outer
