"""Marks known by their shading alone: a shallow groove has no shadow and hardly a lip, but two walls that face each
other.

Row by row such a groove is fainter than the face's own lines, and the search for lips passes it by. But a lamp from one
side makes one half of it as much brighter as it makes the other darker, and that changes slowly round the circle: the
difference of two halves of the same box is alike in neighbouring sectors, over much of the circle. Stains, rust and the
noise of the picture come and go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.evidence import ROWS, columns_per_cell
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import FULL_GAP, Ribbon
from wearvision.measure.unwrap import Strip

SECTOR = 8
"""Rows of a sector."""
LEAST_MM, WIDTH_RATIO = 0.8, 1.3
"""Narrowest box, and how many times as wide the next is."""
GAP_PX, BESIDE_PX, BESIDE = 1.5, 4.0, 0.35
"""The face beside begins so far from a box, photo px, and is looked at over so many, or this share of the width."""
SEEN = 0.6
"""Least share of a half that must be seen."""
MOST, USUAL = 4.0, 1.0
"""Highest difference that counts, in that usual in its sector; and what the product of two neighbours must pass."""
EVERY = 2
"""One cell in so many says what is usual."""
LEAST, LEAST_EACH, LEAST_DEG = 60.0, 3.5, 120.0
"""Least sum of these over the sectors of a mark, least mean, and least arc."""
FADE_DEG = 20.0
"""Standard uncertainty of where such a mark ends: its shading fades with the angle to the lamp, and ends before it."""
AWAY = 0.6
"""Marks whose middles are nearer than this share of the wider one's width are the same."""


def find_shaded(strip: Strip, gray: Grid, free: NDArray[np.bool_], *, max_width_mm: float, most: int) -> list[Ribbon]:
    """Ribbons whose halves differ alike in neighbouring sectors, the clearest first.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    free : (T, R) where they may lie
    most : how many at most
    """
    count, wide = len(gray) // SECTOR, columns_per_cell(strip)
    if count * SECTOR * strip.step_deg < LEAST_DEG:
        return []
    tone, seen = _sectors(gray, free, count, wide)
    cell_mm = strip.step_mm * wide
    per_px = strip.px_mm / cell_mm
    step = np.log(max_width_mm / LEAST_MM) / np.log(WIDTH_RATIO)
    widths = np.rint(LEAST_MM / cell_mm * WIDTH_RATIO ** np.arange(1 + max(0, int(step)))).astype(np.int64)
    beside = np.maximum(np.rint(BESIDE_PX * per_px), np.rint(BESIDE * widths)).astype(np.int64)
    runs = _runs(tone, seen, widths, beside, max(1, round(GAP_PX * per_px)), strip.closed)
    sectors = runs[2] - runs[1]
    long = sectors * SECTOR * strip.step_deg >= LEAST_DEG
    score = np.where(long & (runs[0] >= LEAST_EACH * sectors), runs[0], 0.0)
    out: list[Ribbon] = []
    while len(out) < most:
        k, c = np.unravel_index(int(np.argmax(score)), score.shape)
        if score[k, c] < LEAST:
            break
        out.append(_ribbon(int(c) * wide, int(widths[k]) * wide, runs[:, k, c], strip))
        _forget(score, runs, widths, int(k), int(c), count if strip.closed else 0)
    return out


def _ribbon(middle: int, width: int, run: Array, strip: Strip) -> Ribbon:
    """A box as a ribbon."""
    rows = np.arange(int(run[1]) * SECTOR, int(run[2]) * SECTOR)
    lap = len(strip.values)
    full = strip.closed and len(rows) + FULL_GAP * ROWS >= lap
    rows = rows[0] + np.arange(lap) if full else rows
    edge = np.full(len(rows), middle - width / 2)
    doubt = 0.0 if full else FADE_DEG / strip.step_deg
    return Ribbon(
        rows=rows, inner=edge, outer=edge + width, score=float(run[0]), full=bool(full), doubt_rows=(doubt, doubt)
    )


@compiled
def _sectors(gray: Grid, free: NDArray[np.bool_], count: int, wide: int) -> tuple[Array, Array]:
    """Median grey of each cell, so many columns wide, in each sector, and whether all of it is seen, (S, C)."""
    cells = gray.shape[1] // wide
    tone, seen = np.zeros((count, cells)), np.ones((count, cells))
    block = np.empty((SECTOR, cells))
    for s in range(count):
        block[:] = 0.0
        for n in range(SECTOR):
            row, mask, here = gray[s * SECTOR + n], free[s * SECTOR + n], block[n]
            for c in range(cells):
                for i in range(c * wide, c * wide + wide):
                    here[c] += row[i]
                    seen[s, c] *= mask[i]
        for turn in range(SECTOR // 2 + 1):  # neighbours are swapped until the upper half is in order
            for n in range(SECTOR - 1 - turn):
                low, high = block[n], block[n + 1]
                for c in range(cells):
                    one, other = low[c], high[c]
                    low[c], high[c] = min(one, other), max(one, other)
        low, high = block[SECTOR // 2 - 1], block[SECTOR // 2]
        for c in range(cells):
            tone[s, c] = seen[s, c] * (low[c] + high[c]) / (2 * wide)
    return tone, seen


@compiled
def _runs(
    tone: Array, seen: Array, widths: NDArray[np.int64], beside: NDArray[np.int64], gap: int, closed: bool
) -> Array:
    """Score of the best run of sectors of a box of each width about each cell, its first sector and one past its
    last, (3, W, R)."""
    count, columns = tone.shape
    sums, seens = np.zeros((count, columns + 1)), np.zeros((count, columns + 1))
    for s in range(count):
        for c in range(columns):
            sums[s, c + 1], seens[s, c + 1] = sums[s, c] + tone[s, c], seens[s, c] + seen[s, c]
    apart, out = np.zeros((count, columns)), np.zeros((3, len(widths), columns))
    for k in range(len(widths)):
        half, wide = widths[k] // 2, beside[k]
        first, stop = half + gap, columns - half - gap
        share = widths[k] / 2 / (widths[k] + 2 * gap + wide)
        for s in range(count):
            _set_apart(apart[s], sums[s], seens[s], first, stop, half, gap, wide, share)
        _scale(apart, first, stop)
        for c in range(first, stop):
            out[0, k, c], out[1, k, c], out[2, k, c] = _best_run(apart, c, closed)
    return out


@compiled
def _set_apart(
    out: Array, sums: Array, seens: Array, first: int, stop: int, half: int, gap: int, wide: int, share: float
) -> None:  # fmt: skip
    """How much brighter the outer half of a box about each column is than the inner one, but for what a slope of the
    face beside it makes of that; 0 where too little is seen."""
    columns = len(out)
    for c in range(first, stop):
        out[c] = 0.0
        inner, outer = seens[c] - seens[c - half], seens[c + half] - seens[c]
        if min(inner, outer) >= SEEN * half:
            a, b, d = max(0, c - half - gap - wide), c - half - gap, c + half + gap
            e = min(columns, d + wide)
            low, high = seens[b] - seens[a], seens[e] - seens[d]
            if low >= SEEN * (b - a) and high >= SEEN * (e - d) and low > 0 and high > 0:
                slope = (sums[e] - sums[d]) / high - (sums[b] - sums[a]) / low
            else:
                slope = 0.0
            out[c] = (sums[c + half] - sums[c]) / outer - (sums[c] - sums[c - half]) / inner - share * slope


@compiled
def _scale(apart: Array, first: int, stop: int) -> None:
    """Differences over the usual one of their sector, clipped."""
    usual, room = np.zeros(len(apart)), np.empty(apart.shape[1])
    for s in range(len(apart)):
        n = 0
        for c in range(first, stop, EVERY):
            if apart[s, c] != 0.0:
                room[n] = abs(apart[s, c])
                n += 1
        usual[s] = 1.4826 * np.median(room[:n]) if n else 0.0
    floor = np.median(usual) / 2 + 1e-4
    for s in range(len(apart)):
        scale = 1 / max(usual[s], floor)
        for c in range(first, stop):
            apart[s, c] = min(max(apart[s, c] * scale, -MOST), MOST)


@compiled
def _best_run(apart: Array, c: int, closed: bool) -> tuple[float, int, int]:
    """Of a column the run of sectors, round the lap, over which the products of neighbours come to most."""
    count, total, start, k = len(apart), 0.0, 0, 0
    best, first, last, one = 0.0, 0, 0, apart[0, c]
    for i in range(2 * count if closed else count - 1):
        if total <= 0.0 or i - start >= count:
            total, start = 0.0, i
        k = k + 1 if k + 1 < count else 0
        other = apart[k, c]
        total += one * other - USUAL
        one = other
        if total > best:
            best, first, last = total, start, i + 2
    return best, first, min(last, first + count)


def _forget(score: Array, runs: Array, widths: NDArray[np.int64], k: int, c: int, lap: int) -> None:
    """Boxes on one that was taken, in any of its sectors, are not looked at again."""
    near = np.abs(np.arange(score.shape[1]) - c) < AWAY * np.maximum(widths, widths[k])[:, None]
    start, stop = runs[1, k, c], runs[2, k, c]
    shared = [(np.minimum(runs[2] + by, stop) > np.maximum(runs[1] + by, start)) for by in {-lap, 0, lap}]
    score[near & np.logical_or.reduce(shared)] = 0.0
