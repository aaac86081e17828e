"""Middle of a line of light in each column, free of the ground it lies on and of a clipped core.

Each column is averaged with its neighbours along the line, so that a sharp dip stays sharp. The ground under the
line is a straight slope between both flanks; what rises over it beyond a share of its peak is one run, and the middle
of that run is its centre of mass over that share. A core that is clipped, or bleached in a photo of a coloured line,
stands symmetric within the run and leaves its middle where it is (derived; checked against Gaussian lines).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.across import medians
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

Flags = NDArray[np.bool_]
Places = NDArray[np.int64]
SHARE = 0.4
"""Share of the peak over which the middle is taken."""
TURNS = 3
CORE, FILL = 0.8, 12.0
"""Widest bleached core, in widths of the line, and how strong, in noises, a line is that can have one: all of it, as
where the ground is uneven one of its rims would be taken for the line."""
STRONG, LEAST_SHARE = 5.0, 0.15
"""A sure place rises over so many times the noise of its flanks, and over this share of the usual peak."""
WIDER, NARROWER = 1.8, 0.4
"""A sure place is as wide as the line usually is, within these."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Middle:
    """Middle of the line in each column: row (N,), peak over the ground (N,), width at a share of the peak (N,) in
    samples, and noise of the flanks (N,)."""

    row: Array
    peak: Array
    wide: Array
    noise: Array

    def sure(self) -> Flags:
        """Where the line is plain to see."""
        plain = self.peak > STRONG * self.noise
        if not plain.any():
            return plain
        strong = plain & (self.peak > np.median(self.peak[plain]))
        usual = float(np.median(self.wide[strong if strong.any() else plain]))
        alike = (self.wide < WIDER * usual + 2) & (self.wide > NARROWER * usual - 1)
        return np.asarray(plain & alike & (self.peak > LEAST_SHARE * np.median(self.peak[plain])))


def usual_width(values: Grid, valid: Flags, row: Places, columns: Places, most: int) -> float:
    """Full width of the line at half its peak, samples: of the mean over columns laid upon each other."""
    index = np.clip(row[:, None] + np.arange(-most, most + 1), 0, len(values) - 1)
    laid = np.median(values[index, columns[:, None]][valid[row, columns]], axis=0)
    laid = cv2.morphologyEx(laid[None].astype(np.float32), cv2.MORPH_CLOSE, np.ones((1, most // 2 | 1), np.uint8))[0]
    ground = float(np.percentile(laid, 25))
    peak = float(laid[most - most // 3 : most + most // 3 + 1].max()) - ground
    return float(np.clip((laid - ground > peak / 2).sum(), 3, most))


def middles(values: Grid, row: Places, columns: Places, width: float, beside: int) -> Middle:
    """Middle of the line near each row.

    Parameters
    ----------
    values : (H, W) light
    row, columns : (N,) where the line is about
    width : full width at half of the peak, samples
    beside : samples to either side along the line that are averaged in
    """
    half = max(4, round(1.6 * width))
    place: Array = row.astype(np.float64)
    none = np.zeros(len(row), dtype=np.float64)
    shown = Middle(row=place, peak=none, wide=none, noise=none + 1)
    for turn in range(TURNS):
        profile = profiles(values, place, columns, half, beside)
        shown = _middle(profile, place, half, round(CORE * width) | 1)
        reach = width if turn < TURNS - 1 else np.inf
        place = np.where(np.abs(shown.row - place) <= reach, shown.row, place)
    return shown


def profiles(values: Grid, place: Array, columns: Places, half: int, beside: int) -> Grid:
    """Light across the line (N, 2 half + 1), averaged along it with neighbours laid upon each other."""
    slope = np.gradient(place, columns) if len(place) > 1 else np.zeros(len(place))
    slope = np.clip(slope, -2.0, 2.0)
    total = np.zeros((len(place), 2 * half + 1), dtype=np.float32)
    laid = np.linspace(-beside, beside, max(3, beside | 1))  # every second: samples are closer than pixels
    for off in laid:
        y = place[:, None] + slope[:, None] * off + np.arange(-half, half + 1)
        x = np.clip(columns + off, 0, values.shape[1] - 1)[:, None] + np.zeros_like(y)
        total += cv2.remap(
            values, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return np.asarray(total / len(laid), dtype=np.float32)


def _middle(profile: Grid, place: Array, half: int, core: int) -> Middle:
    """Middle, peak, width and noise of each profile; dips narrower than `core` in a strong line are filled."""
    flank = max(2, half // 3)
    left, right = profile[:, :flank], profile[:, -flank:]
    low, high = medians(left), medians(right)
    ramp = (np.arange(2 * half + 1) - flank / 2) / (2 * half - flank)
    over = profile - (low[:, None] + (high - low)[:, None] * ramp)
    noise = np.concatenate([left - low[:, None], right - high[:, None]], axis=1).std(axis=1) + 0.3
    filled = cv2.morphologyEx(over.astype(np.float32), cv2.MORPH_CLOSE, np.ones((1, core), np.uint8))
    over = filled.astype(np.float64) if np.median(over.max(axis=1) / noise) > FILL else over
    inner = over[:, flank:-flank]
    peak, top = inner.max(axis=1), np.argmax(inner, axis=1) + flank
    above = over > SHARE * peak[:, None]
    run = _run(above, top)
    weight = np.where(run, over - SHARE * peak[:, None], 0.0)
    mass = np.maximum(weight.sum(axis=1), 1e-6)
    middle = (weight * np.arange(2 * half + 1)).sum(axis=1) / mass - half
    middle = np.where(peak > 0, middle, 0.0)
    wide, told = np.asarray(run.sum(axis=1), dtype=np.float64), np.asarray(np.maximum(peak, 0), dtype=np.float64)
    return Middle(row=place + middle, peak=told, wide=wide, noise=np.asarray(noise, dtype=np.float64))


def _run(above: Flags, top: Places) -> Flags:
    """The run about each profile's top."""
    count = np.cumsum(~above, axis=1)
    return np.asarray(above & (count == count[np.arange(len(top)), top][:, None]))
