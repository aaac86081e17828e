"""Cracks in a gasket land: thin dark lines across it, wholly or in part, suspected only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.cracks import Path, to_finding
from wearvision.measure.finders.dark_line import EDGE_MM, Line, Lines
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured

LEAST_MM, DARKER = 3.0, 0.12
"""A crack is so long, and so dark in log grey."""
MOST = 3
SMOOTH_MM, NEAR_END_MM = 0.5, 0.7
"""A line is smoothed over so much; one that ends so near where none is sought any more goes on to the land's edge."""
WIDTH_DOUBT = 0.15
"""Standard uncertainty of a width as a share of it: what lies beside it is uneven."""


def find_cracks(found: Lines, lines: list[Line], plane: Plane) -> tuple[Finding, ...]:
    """Up to three of the lines that are no bite's, clearest first."""
    paths = [_path(line, found) for line in lines]
    real = [path for path in paths if path.length_mm >= LEAST_MM and path.dark > DARKER][:MOST]
    return tuple(_finding(path, f"K{i}", plane) for i, path in enumerate(real, start=1))


def _finding(path: Path, name: str, plane: Plane) -> Finding:
    """As on a face, but for its width."""
    found = to_finding(path, name, plane)
    width = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, if black or as pale as it looks",
        edge=path.width_u_mm,
    )  # fmt: skip
    return replace(found, quantities={**found.quantities, "width": width})


def _path(line: Line, found: Lines) -> Path:
    """The line on the plane, with its darkness and width."""
    strip, tone, level = found.strip, found.tone, found.level
    wide = 2 * round(SMOOTH_MM / 2 / strip.step_mm) + 1
    rows = np.convolve(np.pad(line.rows.astype(np.float64), wide // 2, mode="edge"), np.full(wide, 1 / wide), "valid")
    columns = line.columns.astype(np.float64)
    width, width_u = _width(line, rows, found)
    depth = (level - tone)[line.rows % len(tone), line.columns]
    off = round((EDGE_MM + strip.px_mm + NEAR_END_MM) / strip.step_mm)
    if columns[0] < off:
        rows, columns = np.append(rows[0], rows), np.append(0.0, columns)
    if columns[-1] > tone.shape[1] - 1 - off:
        rows, columns = np.append(rows, rows[-1]), np.append(columns, tone.shape[1] - 1.0)
    line_mm = strip.centre_mm + ring_points(np.zeros(2), strip.deg(rows), 1.0) * strip.mm(columns)[:, None]
    return Path(line_mm=line_mm, dark=float(np.median(depth)), share=1.0, width_mm=width, width_u_mm=width_u)


def _width(line: Line, smooth: Array, found: Lines) -> tuple[float, float]:
    """Width at mid-length and its standard uncertainty.

    The light that is missing tells the width of a black crack, which is the least; one as pale as its blurred middle
    would be the widest. Between these nothing is known (a rectangular distribution, GUM 4.3.7).
    """
    strip, tone, level = found.strip, found.tone, found.level
    count, lap = len(line.rows), len(tone)
    mid = slice(count // 3, 2 * count // 3 + 1)
    away = np.arange(-found.away, found.away + 1)
    rows, columns = line.rows[mid, None], line.columns[mid, None]
    taken = np.clip(1 - np.exp(tone[(rows + away) % lap, columns] - level[rows % lap, columns]), 0, 1)
    row_mm = np.radians(strip.step_deg) * found.mm(line)[mid]
    lean = np.gradient(smooth)[mid] * row_mm / strip.step_mm
    least = float(np.median(taken.sum(axis=1) * row_mm / np.hypot(1, lean)))
    most = least / max(0.1, float(np.median(taken.max(axis=1))))
    width = (least + most) / 2
    return width, float(np.linalg.norm([(most - least) / 12**0.5, WIDTH_DOUBT * width, 0.25 * strip.px_mm]))
