"""The rough period along a row of marks: short spectra, added up along every steady change of scale.

Perspective makes the period grow along the rule. On a logarithmic axis of frequencies a steady growth is a steady
shift, so the spectra of windows along the row are shifted against each other by each of some slopes and added;
the right slope and period stand out even where no single window would tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float32]
Array = NDArray[np.float64]

WINDOW_PX = 256
BINS_PER_OCTAVE = 24
PERIODS_PX = (3.2, 52.0)
"""Periods told in windows of 256 px; longer ones on the row shrunk by four."""
SLOPES = np.linspace(-0.45, 0.45, 13)
"""Change of ln period over 1000 px."""


@dataclass(frozen=True, kw_only=True)
class Pitch:
    """Rough period: at t it is `period_px * exp(slope * t)`; `clear` is how far it stands out."""

    period_px: float
    slope: float
    clear: float

    def at(self, t: Array) -> Array:
        """Period at places along the row, px."""
        return np.asarray(self.period_px * np.exp(self.slope * t))


def rough_pitch(profiles: Grid, inside: NDArray[np.bool_], t_px: Array) -> list[Pitch]:
    """The best period of each of several rows (K, T)."""
    fine = _best(profiles, inside, t_px)
    width = profiles.shape[1] // 4 * 4
    if width < 2 * WINDOW_PX:
        return fine
    shrunk = profiles[:, :width].reshape(len(profiles), -1, 4).mean(axis=2)
    seen = np.asarray(inside[:, :width].reshape(len(profiles), -1, 4).all(axis=2), dtype=np.bool_)
    wide = _best(shrunk, seen, t_px[:width].reshape(-1, 4).mean(axis=1))
    return [max(pair, key=lambda p: p.clear) for pair in zip(fine, wide, strict=True)]


def _best(profiles: Grid, inside: NDArray[np.bool_], t_px: Array) -> list[Pitch]:
    step = float(t_px[1] - t_px[0])
    window = min(WINDOW_PX, profiles.shape[1] // 2 * 2)
    starts = np.arange(0, profiles.shape[1] - window + 1, window // 2)
    if window < 48:
        return [Pitch(period_px=1.0, slope=0.0, clear=0.0)] * len(profiles)
    cut = starts[:, None] + np.arange(window)
    pieces, seen = profiles[:, cut], inside[:, cut].mean(axis=2)
    pieces = (pieces - pieces.mean(axis=2, keepdims=True)) * np.hanning(window).astype(np.float32)
    power = np.abs(np.fft.rfft(pieces, axis=2)) ** 2
    least = max(PERIODS_PX[0], 3.2)
    octaves = np.log2(PERIODS_PX[1] / least)
    freq = 1 / (PERIODS_PX[1] / 2 ** np.linspace(0, octaves, int(octaves * BINS_PER_OCTAVE) + 1))
    share = _on_log_axis(power, freq * window) * (seen > 0.6)[..., None]
    at = t_px[starts + window // 2]
    best = _sum_along(share, at, np.log(freq))
    return [
        Pitch(period_px=step / float(np.exp(log_f)), slope=slope / 1000, clear=clear) for log_f, slope, clear in best
    ]


def _on_log_axis(power: Array, places: Array) -> Array:
    """Share of each window's power at frequencies (in bins), (K, W, F); the mean share is taken off."""
    power = power * np.arange(power.shape[2])
    power[:, :, :3] = 0
    total = power.sum(axis=2, keepdims=True) + 1e-9
    low = np.minimum(places.astype(int), power.shape[2] - 2)
    part = places - low
    value = power[..., low] * (1 - part) + power[..., low + 1] * part
    weight = np.minimum(total / np.median(total, axis=1, keepdims=True), 1.0)
    return np.asarray(value / total * weight)


def _sum_along(share: Array, at: Array, log_f: Array) -> list[tuple[float, float, float]]:
    """For each row: ln frequency at t = 0, slope of ln period per 1000 px, and mean share there."""
    bins, step = len(log_f), float(log_f[1] - log_f[0])
    padded = np.pad(share, ((0, 0), (0, 0), (bins, bins)))
    count = np.maximum((share.sum(axis=2) > 0).sum(axis=1), 1)
    best = [(float(log_f[0]), 0.0, 0.0)] * len(share)
    index = np.arange(bins)
    for slope in SLOPES:
        shift = np.rint(-slope * at / 1000 / step).astype(int)
        shift = np.clip(shift, -bins, bins)
        moved = padded[:, np.arange(len(at))[:, None], bins + index + shift[:, None]].sum(axis=1)
        peak = moved.argmax(axis=1)
        for row, k in enumerate(peak):
            clear = float(moved[row, k] / count[row])
            if clear > best[row][2]:
                best[row] = (float(log_f[k]), float(slope), clear)
    return best
