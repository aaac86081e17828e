"""Cracks in a gasket land: thin dark lines across it, wholly or in part, suspected only."""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.crack_finding import Length, crack_finding
from wearvision.measure.finders.dark_line import EDGE_MM, Line, Lines
from wearvision.measure.finders.slit import slit_width
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import length_of
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured

LEAST_MM, DARKER = 3.0, 0.12
"""A crack is so long, and so dark in log grey; less than twice as dark it is faint."""
MOST = 3
SMOOTH_MM, NEAR_END_MM = 0.5, 0.7
"""A line is smoothed over so much; one that ends so near where none is sought any more goes on to the land's edge."""
END_MM, UNSEEN_SHARE = 0.95, 0.06
"""Standard uncertainty of its length: of its ends, which fade, and as a share, as it wanders more than is seen;"""
MORE_MM, MORE_SHARE = 0.7, 0.03
"""and what is added for both, as so much is missing of drawn cracks."""


def find_cracks(found: Lines, lines: list[Line], plane: Plane) -> tuple[Finding, ...]:
    """Up to three of the lines that are no bite's, clearest first."""
    out: list[Finding] = []
    for line in lines:
        finding = _finding(f"K{len(out) + 1}", line, found, plane)
        if finding is not None and len(out) < MOST:
            out.append(finding)
    return tuple(out)


def _finding(name: str, line: Line, found: Lines, plane: Plane) -> Finding | None:
    """A line as a finding, always suspected; None where it is too short or too pale."""
    rows, columns = _smooth(line, found)
    line_mm = found.strip.centre_mm + ring_points(np.zeros(2), found.strip.deg(rows), 1.0) * (
        found.strip.mm(columns)[:, None]
    )
    at = (line.rows % len(found.tone), line.columns)
    dark = float(np.median(found.level[at] - found.tone[at]))
    if length_of(line_mm) < LEAST_MM or dark < DARKER:
        return None
    width, width_u = _width(line, found)
    wide = Measured.of(
        width, "mm", how="from the light it takes at mid-length, if black or as pale as it looks", edge=width_u
    )
    length = Length(ends_mm=END_MM, share=UNSEEN_SHARE, smoothed=MORE_SHARE, tails_mm=MORE_MM)
    return crack_finding(name, line_mm, plane, length, wide, faint=dark < 2 * DARKER)


def _smooth(line: Line, found: Lines) -> tuple[Array, Array]:
    """Rows and columns of a line, carried on to an edge that it all but reaches."""
    strip = found.strip
    rows, columns = _evened(line, found), line.columns.astype(np.float64)
    last, off = strip.values.shape[1] - 1, round((EDGE_MM + strip.px_mm + NEAR_END_MM) / strip.step_mm)
    if columns[0] < off:
        rows, columns = np.append(rows[0], rows), np.append(0.0, columns)
    if columns[-1] > last - off:
        rows, columns = np.append(rows, rows[-1]), np.append(columns, float(last))
    return rows, columns


def _evened(line: Line, found: Lines) -> Array:
    wide = 2 * round(SMOOTH_MM / 2 / found.strip.step_mm) + 1
    return np.convolve(np.pad(line.rows.astype(np.float64), wide // 2, mode="edge"), np.full(wide, 1 / wide), "valid")


def _width(line: Line, found: Lines) -> tuple[float, float]:
    """Width at mid-length and its standard uncertainty."""
    strip, tone, level = found.strip, found.tone, found.level
    count, lap = len(line.rows), len(tone)
    mid = slice(count // 3, 2 * count // 3 + 1)
    away = np.arange(-found.away, found.away + 1)
    rows, columns = line.rows[mid, None], line.columns[mid, None]
    taken = 1 - np.exp(tone[(rows + away) % lap, columns] - level[rows % lap, columns])
    row_mm = np.radians(strip.step_deg) * found.mm(line)[mid]
    lean = np.gradient(_evened(line, found))[mid] * row_mm / strip.step_mm
    return slit_width(taken, row_mm / np.hypot(1, lean), strip.px_mm)
