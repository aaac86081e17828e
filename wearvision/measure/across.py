"""The grey across a groove, against the face beside it, and how dark it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SECTOR = 12
"""Rows over which darkness is judged at a time."""
INSIDE, BESIDE = 24, 8
"""Samples across the groove, and on either side of it."""
ACROSS, ASIDE = np.linspace(0.03, 0.97, INSIDE), np.linspace(0.0, 1.0, BESIDE)
"""Where they lie: shares of the way from lip to lip, and of the face beside."""


def profiles(strip: Strip, gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array) -> tuple[Array, Array]:
    """Log grey across a groove, (N, INSIDE), and on the face beside it, (N, 2 BESIDE); first the inner side."""
    per_px = strip.px_mm / strip.step_mm
    gap = 2.5 * per_px + ASIDE * max(4 * per_px, 0.35 * median(outer - inner))
    return _profiles(gray, rows % len(gray), inner, outer, ACROSS, gap)


@compiled
def _profiles(
    gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array, share: Array, gap: Array
) -> tuple[Array, Array]:
    """Values at shares of the way from one lip to the other, and at gaps from either, (N, S) and (N, 2 G)."""
    last, count, wide = float(gray.shape[1] - 1), len(share), len(gap)
    across, beside = np.empty((len(rows), count)), np.empty((len(rows), 2 * wide))
    at = np.empty(count + 2 * wide, np.int64)
    for n in range(len(rows)):
        row, low, width, high = gray[rows[n]], inner[n], outer[n] - inner[n], outer[n]
        for k in range(count):  # in two goes: the first is done many at a time
            at[k] = int(min(max(np.rint(low + share[k] * width), 0.0), last))
        for k in range(wide):
            at[count + k] = int(min(max(np.rint(low - gap[k]), 0.0), last))
            at[count + wide + k] = int(min(max(np.rint(high + gap[k]), 0.0), last))
        for k in range(count):
            across[n, k] = row[at[k]]
        for k in range(2 * wide):
            beside[n, k] = row[at[count + k]]
    return across, beside


def medians(values: NDArray[np.floating]) -> Array:
    """Medians over the last axis: of short rows sorting is the quickest way."""
    ordered, count = np.sort(values, axis=-1), values.shape[-1]
    return np.asarray((ordered[..., (count - 1) // 2] + ordered[..., count // 2]) / 2)


def darkness(strip: Strip, gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array) -> tuple[float, float]:
    """How dark a groove is and over which share of its sectors: `dark` and `dark_share` of a track."""
    across, beside = profiles(strip, gray, rows, inner, outer)
    dark, noise = _darkness(across, beside, max(1, len(rows) // SECTOR))
    return median(dark), np.count_nonzero(dark < -np.maximum(0.04, 2.5 * noise)) / len(dark)


@compiled
def _darkness(across: Array, beside: Array, count: int) -> tuple[Array, Array]:
    """Darkest place across a groove against the face beside it, in sectors of one length, (K,), and how uneven that
    face is; each place is the median over its sector."""
    tall, inside, room = len(across) // count, across.shape[1], np.empty(BESIDE)
    block, told = np.empty((tall, inside + 2 * BESIDE)), np.empty(inside + 2 * BESIDE)
    dark, noise = np.empty(count), np.zeros(count)
    for k in range(count):
        for n in range(tall):
            block[n, :inside], block[n, inside:] = across[k * tall + n], beside[k * tall + n]
        _find_middles(block, told)
        level = 0.0
        for first in (inside, inside + BESIDE):
            side = told[first : first + BESIDE]
            noise[k] += np.mean((side - np.mean(side)) ** 2)
            level += middle(side, room) / 2
        dark[k] = told[:inside].min() - level
    return dark, np.sqrt(noise)


@compiled
def _find_middles(block: Array, out: Array) -> None:
    """Fill in the median of each column of a few rows; neighbours are swapped, in all columns side by side, until the
    upper half is in order."""
    count, wide = block.shape
    for turn in range(count // 2 + 1):
        for k in range(count - 1 - turn):
            low, high = block[k], block[k + 1]
            for c in range(wide):
                one, other = low[c], high[c]
                low[c], high[c] = min(one, other), max(one, other)
    low, high = block[(count - 1) // 2], block[count // 2]
    for c in range(wide):
        out[c] = (low[c] + high[c]) / 2


@compiled
def middle(values: Array, room: Array) -> float:
    """Median of a few values, put in order one by one in `room`."""
    count = len(values)
    for n in range(count):
        value, k = values[n], n
        while k and room[k - 1] > value:
            room[k], k = room[k - 1], k - 1
        room[k] = value
    return float(room[(count - 1) // 2] + room[count // 2]) / 2
