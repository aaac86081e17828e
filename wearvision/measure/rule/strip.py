"""The photo along a line, unrolled so that marks stand upright."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.bands import Line

Gray = NDArray[np.uint8]
Grid = NDArray[np.float32]
Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Strip:
    """Grey along a line.

    Attributes
    ----------
    values : (S, T) float32
        Rows across the line, columns along it.
    inside : (S, T) bool
        Whether the place lies in the photo.
    t_px, s_px : (T,), (S,)
        Along and across from the line's centre, px; t in steps of one.
    line : Line
    """

    values: Grid
    inside: NDArray[np.bool_]
    t_px: Array
    s_px: Array
    line: Line

    @property
    def step_px(self) -> float:
        """Distance of neighbouring rows, px."""
        return float(self.s_px[1] - self.s_px[0])

    def row(self, s_px: float) -> int:
        """Nearest row to a place across."""
        return int(np.clip(np.rint((s_px - self.s_px[0]) / self.step_px), 0, len(self.s_px) - 1))


def place_px(line: Line, t: Array, s: Array) -> Array:
    """Photo px (N, 2) of places along and across a line; t is told on the line itself, marks are upright."""
    moved = t + s * (line.skew[0] + line.skew[1] * t)
    return np.asarray(line.centre_px + moved[:, None] * line.along + s[:, None] * line.across)


def unroll(gray: Gray, line: Line, reach_px: tuple[float, float], step_px: float) -> Strip:
    """Sample the photo along a line from side to side, `reach_px` (low, high) across."""
    low, high = _chord(line, gray.shape[::-1])
    t = np.arange(np.ceil(low), np.floor(high) + 1)
    s = np.arange(reach_px[0], reach_px[1] + step_px / 2, step_px)
    moved = (t + s[:, None] * (line.skew[0] + line.skew[1] * t)).astype(np.float32)
    start = (line.centre_px + s[:, None] * line.across).astype(np.float32)
    x, y = (start[:, k, None] + moved * np.float32(line.along[k]) for k in (0, 1))
    values = cv2.remap(gray, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = (x >= 0) & (y >= 0) & (x <= gray.shape[1] - 1) & (y <= gray.shape[0] - 1)
    return Strip(values=values.astype(np.float32), inside=inside, t_px=t, s_px=s, line=line)


def _chord(line: Line, size_px: tuple[int, ...]) -> tuple[float, float]:
    """Where the line enters and leaves the photo, px along it."""
    low, high = -1e9, 1e9
    for k in (0, 1):
        if abs(line.along[k]) > 1e-9:
            ends = sorted((edge - line.centre_px[k]) / line.along[k] for edge in (0.0, size_px[k] - 1.0))
            low, high = max(low, ends[0]), min(high, ends[1])
    return (low, high) if high > low else (0.0, 1.0)


def moved_to(line: Line, row_px: float) -> Line:
    """The line through a parallel row of its strip; places t along it become `t (1 + row skew slope)`."""
    stretch = 1 + row_px * line.skew[1]
    centre = line.centre_px + row_px * line.across + row_px * line.skew[0] * line.along
    return Line(centre_px=centre, along=line.along, skew=(line.skew[0], line.skew[1] / stretch), votes=line.votes)
