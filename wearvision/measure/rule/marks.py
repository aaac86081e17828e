"""How long each numbered mark is: darkness along every mark against the metal half a period to either side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.lattice import Lattice
from wearvision.measure.rule.lean import Lean, find_lean
from wearvision.measure.rule.strip import Strip

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

PRESENT = 0.3
"""A mark is there when its contrast is this share of its neighbours'."""
COMMON = 0.35
"""Quantile over the marks by which rows are told where all marks are: half of a binary scale's are short."""
GAP_SHARE, GAP_PX = 0.12, 3.0
"""A mark ends where it is gone for this share of the shortest length, or for so many px."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Marks:
    """Marks of one scale, measured.

    Attributes
    ----------
    n : (N,) numbers
    t_px : (N,) places along the line
    length_px : (N,) from the common foot line to the tip, along s; nan when not there or cut off
    tip_px : (N,) s of the tips
    foot_px : (N,) s of the common foot line at each mark
    side : +1 when marks run towards +s, else -1
    contrast : (N,) grey levels
    lean : Lean
    zone_px : s of the rows, low and high, that all marks cross
    foot_sd_px : of the foot line at either end
    """

    n: Ints
    t_px: Array
    length_px: Array
    tip_px: Array
    foot_px: Array
    side: int
    contrast: Array
    lean: Lean
    zone_px: tuple[float, float]
    foot_sd_px: float


def darkness(strip: Strip, t: Array, period: Array, lean: Lean) -> Array:
    """How much darker marks at t are than the metal beside them, (N, S); nan outside the photo."""
    first, width = float(strip.t_px[0]), len(strip.t_px)
    at = t + lean.shift(t, strip.s_px[:, None]) - first
    rows = np.arange(len(strip.s_px))[:, None] * width
    flat = strip.values.ravel()

    def grey(column: Array) -> Array:
        column = np.clip(column, 0, width - 1.001)
        low = column.astype(np.int64)
        part = (column - low).astype(np.float32)
        low += rows
        return np.asarray(flat[low] * (1 - part) + flat[low + 1] * part)

    mark = (grey(at - 0.09 * period) + grey(at) + grey(at + 0.09 * period)) / 3
    beside = (grey(at - 0.5 * period) + grey(at + 0.5 * period)) / 2
    inside = strip.inside.ravel()[np.clip(np.rint(at), 0, width - 1).astype(np.int64) + rows]
    return np.where(inside & (at >= 0) & (at <= width - 1), beside - mark, np.nan).T.astype(np.float64)


def measure_marks(strip: Strip, lattice: Lattice) -> Marks | None:
    """Lengths of all marks of a lattice; None when there is no zone that all marks share."""
    n = np.arange(int(lattice.n[0]), int(lattice.n[-1]) + 1)
    t = lattice.place(n.astype(np.float64))
    period = lattice.period_px(t)
    lean = find_lean(strip, t, period)
    dark = darkness(strip, t, period, lean)
    zone = _zone(dark, strip)
    if zone is None:
        return None
    low, high = zone
    contrast = np.nan_to_num(dark[:, low:high]).mean(axis=1)
    least = 0.25 * float(np.median(contrast[contrast > 0])) if np.any(contrast > 0) else 1.0
    there = contrast > PRESENT * np.maximum(_running_median(contrast, 15), least)
    if there.sum() < 10:
        return None
    middle = (low + high) // 2
    told = dark / np.where(there, contrast, 1.0)[:, None]
    gap = max(GAP_PX / strip.step_px, GAP_SHARE * (high - low))
    ends = {side: _end(told, middle, side, gap) for side in (1, -1)}
    side = max((1, -1), key=lambda k: _spread(ends[k][there]))
    foot, foot_sd = _line(t[there], strip.s_px[0] + ends[-side][there] * strip.step_px, t)
    tip = strip.s_px[0] + ends[side] * strip.step_px
    length = np.where(there, side * (tip - foot), np.nan)
    return Marks(
        n=n, t_px=t, length_px=length, tip_px=tip, foot_px=foot, side=side, contrast=contrast, lean=lean,
        zone_px=(float(strip.s_px[low]), float(strip.s_px[high - 1])), foot_sd_px=foot_sd,
    )  # fmt: skip


def _zone(dark: Array, strip: Strip) -> tuple[int, int] | None:
    """Rows, low to high, in which nearly all marks are dark."""
    seen = np.where(np.isnan(dark), -1.0, dark)
    common = np.quantile(seen, COMMON, axis=0)
    common = np.convolve(common, np.ones(3) / 3, mode="same")
    start = strip.row(0.0)
    near = max(2, round(24 / strip.step_px))
    low, high = max(0, start - near), min(len(common), start + near + 1)
    peak = low + int(np.argmax(common[low:high]))
    if common[peak] <= 0:
        return None
    out = common < 0.5 * common[peak]
    below, above = np.flatnonzero(out[:peak]), np.flatnonzero(out[peak:])
    first = int(below[-1]) + 1 if len(below) else 0
    last = peak + int(above[0]) if len(above) else len(common)
    return (first, last) if last - first >= 2 else None


def _end(told: Array, middle: int, side: int, gap: float) -> Array:
    """Row, with its fraction, at which each mark ends on one side, (N,); nan when it runs out of the strip."""
    run = told[:, middle:] if side > 0 else told[:, : middle + 1][:, ::-1]
    seen = np.isfinite(run)
    gain = np.cumsum(np.where(seen, np.clip(run, -0.5, 1.5) - 0.5, -0.5), axis=1)
    top = np.maximum.accumulate(gain, axis=1)
    fallen = top - gain > 0.5 * gap
    stop = np.where(fallen.any(axis=1), fallen.argmax(axis=1), run.shape[1])
    usable = np.where(np.arange(run.shape[1]) < stop[:, None], gain, -np.inf)
    last = usable.argmax(axis=1)
    beyond = np.minimum(last + 2, run.shape[1] - 1)
    lost = (last >= run.shape[1] - 1) | ~seen[np.arange(len(run)), beyond]
    end = np.where(lost, np.nan, last + 0.5)
    return np.asarray(middle + side * end)


def _line(t: Array, s: Array, at: Array) -> tuple[Array, float]:
    """A straight line through (t, s), robustly, at other places, and its standard deviation at the ends."""
    good = np.isfinite(s)
    if good.sum() < 4:
        return np.full(len(at), np.nan), float("nan")
    t, s = t[good], s[good]
    base, weight = np.column_stack([np.ones(len(t)), (t - t.mean()) / (np.ptp(t) + 1)]), np.ones(len(t))
    fit: Array = np.zeros(2)
    off: Array = np.zeros(len(t))
    for _ in range(10):
        fit = np.asarray(np.linalg.lstsq(base * weight[:, None], s * weight, rcond=None)[0], dtype=np.float64)
        off = np.abs(s - base @ fit)
        weight = 1 / (1 + off / max(float(np.median(off)), 0.3))
    sd = max(1.4826 * float(np.median(off)), 0.5) * 2 / np.sqrt(len(t))
    return np.asarray(fit[0] + fit[1] * (at - t.mean()) / (np.ptp(t) + 1)), sd


def _spread(ends: Array) -> float:
    """Range of where marks end, without the last outliers; 0 when hardly any end is seen."""
    seen = ends[np.isfinite(ends)]
    return float(np.ptp(np.quantile(seen, [0.1, 0.97]))) if len(seen) > 8 else 0.0


def _running_median(values: Array, wide: int) -> Array:
    """Median over a window of an odd number of neighbours."""
    padded = np.pad(values, wide // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, wide), axis=1))
