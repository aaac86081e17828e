"""Marks of one row numbered: which dark peaks follow each other by one period, and the 1-D projective law of them.

Along a straight rule seen in perspective mark n lies at t with n = (e t + h) / (1 + g t): the line's own projective
map. A term q t^3 takes up what the lens bends.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import median, peak_offset
from wearvision.measure.rule.pitch import Pitch

Grid = NDArray[np.float32]
Array = NDArray[np.float64]
Ints = NDArray[np.int64]

STEPS, NEAR = np.array([[1.0], [2.0], [3.0]]), np.array([[0.2], [0.25], [0.28]])
"""How far, in periods, a peak may lie from one, two, three periods after the last."""
STRONG = 0.35
"""Least strength of a peak, of that of a good one (the upper quartile)."""
MULTIPLES = (1, 2, 3, 4)
"""Sparse marks have overtones as strong as their period: their multiples are tried too."""
MATCH = 0.22
"""How far from its expected place, in periods, a mark may be found."""
REACH = 0.3
"""How far beyond the marks known so far others are looked for, as a share of their length."""
LEAST_MARKS = 14
WEAK = 0.3
"""Least strength of a peak taken in, of the middle one of the first chain."""
FILL, FILL_MARKS = 0.7, 9
"""Share of so many neighbouring numbers that must be there at the ends."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """Numbered marks along a row.

    Attributes
    ----------
    law : (8,) array
        (e, h, g, q, t0, l, n0, m): with u = (t - t0) / l, (n - n0) / m = (e u + h + q u^3) / (1 + g u).
    n, t_px : (N,)
        Numbers and places of the marks found.
    scatter : float
        Robust standard deviation of the marks about the law, in periods.
    strength : float
        How dark the marks of the first chain are, grey levels.
    """

    law: Array
    n: Ints
    t_px: Array
    scatter: float
    strength: float = 0.0

    def number(self, t_px: Array) -> Array:
        """Number, with its fraction, at places along the row."""
        return _number(self.law, np.asarray(t_px, dtype=np.float64))

    def place(self, n: Array) -> Array:
        """Place of numbers along the row, px, by interpolation in a fine table (right to 1e-3 px)."""
        low, high = float(self.t_px.min()), float(self.t_px.max())
        pad = 0.35 * (high - low)
        table = np.linspace(low - pad, high + pad, 4000)
        told = self.number(table)
        rising = np.maximum.accumulate(told)
        return np.interp(n, rising, table)

    def period_px(self, t_px: Array | float) -> Array:
        """Period at places along the row, px."""
        t = np.asarray(t_px, dtype=np.float64)
        return 1.0 / np.maximum(self.number(t + 0.5) - self.number(t - 0.5), 1e-9)


def _number(law: Array, t_px: Array) -> Array:
    u = (t_px - law[4]) / law[5]
    return np.asarray(law[6] + law[7] * (law[0] * u + law[1] + law[3] * u**3) / (1 + law[2] * u))


def peaks_of(profile: Grid, t_px: Array, sigma: float) -> tuple[Array, Array]:
    """Places (px) and strengths of the dark peaks of a row."""
    fine = cv2.GaussianBlur(profile.reshape(1, -1), (0, 0), sigmaX=sigma, sigmaY=1e-3).ravel()
    wide = cv2.GaussianBlur(profile.reshape(1, -1), (0, 0), sigmaX=4 * sigma, sigmaY=1e-3).ravel()
    dark = (wide - fine).astype(np.float64)
    k = np.flatnonzero((dark[1:-1] >= dark[:-2]) & (dark[1:-1] > dark[2:]) & (dark[1:-1] > 0)) + 1
    return t_px[k] + peak_offset(dark[k - 1], dark[k], dark[k + 1]) * (t_px[1] - t_px[0]), dark[k]


def sigma_of(period_px: float) -> float:
    """Smoothing of a row before peaks are taken, px."""
    return float(np.clip(0.16 * period_px, 0.6, 2.0))


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Peaks of one row that follow each other by one period: numbers, places, all peaks of the row, worth."""

    n: Ints
    t_px: Array
    peaks: tuple[Array, Array]
    worth: float


def find_chain(profile: Grid, t_px: Array, pitch: Pitch) -> Chain | None:
    """The best chain of a row's dark peaks about a rough period."""
    best: Chain | None = None
    last, peaks = 0.0, (np.zeros(0), np.zeros(0))
    for multiple in MULTIPLES:
        period = multiple * pitch.period_px
        if sigma_of(period) != last:
            last = sigma_of(period)
            peaks = peaks_of(profile, t_px, last)
        if len(peaks[0]) < LEAST_MARKS:
            continue
        quarter = 3 * len(peaks[1]) // 4
        strong = peaks[1] > STRONG * float(np.partition(peaks[1], quarter)[quarter])
        place, strength = peaks[0][strong], peaks[1][strong]
        n, chain = longest_chain(place, period * np.exp(pitch.slope * place))
        if len(chain) < LEAST_MARKS // 2:
            continue
        worth = len(n) * (len(n) / (n[-1] - n[0] + 1)) ** 2 * median(strength[chain])
        if best is None or worth > best.worth:
            best = Chain(n=n, t_px=place[chain], peaks=peaks, worth=worth)
    return best


def longest_chain(place: Array, period: Array) -> tuple[Ints, Ints]:
    """Numbers and indices of the longest row of peaks, each one to three periods after the last."""
    count = len(place)
    index = np.arange(count)
    aim = place + STEPS * period
    j = np.minimum(np.maximum(np.searchsorted(place, aim), 1), count - 1)
    j -= aim - place[j - 1] < place[j] - aim
    good = (np.abs(place[j] - aim) < NEAR * period) & (j > index)
    first = np.argmax(good, axis=0)
    follow = np.append(np.where(good[first, index], j[first, index], count), count)
    length = (follow < count).astype(np.int64)
    jump = follow
    while (jump < count).any():
        length = length + length[jump]
        jump = jump[jump]
    chain = [int(np.argmax(length[:-1]))]
    n, ahead, step = [0], follow.tolist(), (first + 1).tolist()
    while ahead[chain[-1]] < count:
        n.append(n[-1] + step[chain[-1]])
        chain.append(ahead[chain[-1]])
    return np.array(n), np.array(chain)


def fit_law(n: Ints, t_px: Array) -> tuple[Array, float]:
    """The law through numbered marks by reweighting, and the marks' robust scatter in periods."""
    middle, half = float(t_px.mean()), max(float(np.ptp(t_px)) / 2, 1e-6)
    centre, size = float(n.mean()), max(float(np.ptp(n)) / 2, 1.0)
    u, m = (t_px - middle) / half, (n - centre) / size
    base = np.column_stack([u, np.ones(len(u)), -m * u, u**3])
    ridge = np.diag([1e-9, 1e-9, 1e-4, 1e-2 if len(n) > 40 else 1e3])
    weight: Array = np.ones(len(n))
    fit: Array = np.zeros(4)
    spread = 0.0
    for _ in range(5):
        part = base * weight[:, None]
        fit = np.asarray(np.linalg.solve(part.T @ base + ridge, part.T @ m), dtype=np.float64)
        off = m - (fit[0] * u + fit[1] + fit[3] * u**3) / (1 + fit[2] * u)
        spread = max(1.4826 * median(np.abs(off)), 1e-6)
        weight = np.clip(1 - (off / (4 * spread)) ** 2, 0, None) ** 2
    return np.concatenate([fit, [middle, half, centre, size]]), spread * size


def grow(chain: Chain) -> Lattice | None:
    """Take in further peaks that follow the law of those known, until there are no more."""
    known = -1
    (place, strength), n, t_px = chain.peaks, chain.n, chain.t_px
    law, scatter = fit_law(n, t_px)
    least = WEAK * median(strength[np.isin(place, t_px)])
    place, strength = place[strength > least], strength[strength > least]
    for _ in range(12):
        if len(n) < LEAST_MARKS // 2 or scatter > 0.12:
            return None
        told = _number(law, place)
        whole = np.rint(told)
        span = int(n[-1] - n[0])
        near = (whole >= n[0] - max(4, REACH * span)) & (whole <= n[-1] + max(4, REACH * span))
        take = near & (np.abs(told - whole) < np.clip(5 * scatter, 0.1, MATCH))
        n, t_px = _one_each(whole[take], place[take], strength[take])
        n, t_px = _trimmed(n, t_px)
        if len(n) < LEAST_MARKS:
            return None
        law, scatter = fit_law(n, t_px)
        if len(n) == known:
            break
        known = len(n)
    return Lattice(law=law, n=n, t_px=t_px, scatter=scatter, strength=least / WEAK)


def _one_each(whole: Array, place: Array, strength: Array) -> tuple[Ints, Array]:
    """The strongest peak of each number, in order."""
    order = np.lexsort((strength, whole))
    number = whole[order]
    last = np.append(number[1:] != number[:-1], True) if len(number) else np.zeros(0, dtype=bool)
    return number[last].astype(np.int64), place[order][last]


def _trimmed(n: Ints, t_px: Array) -> tuple[Ints, Array]:
    """Cut off ends where few of the numbers are there: chance peaks beyond the end of the rule."""
    if len(n) < LEAST_MARKS:
        return n, t_px
    there = np.zeros(int(n[-1] - n[0]) + 1)
    there[n - n[0]] = 1
    share = np.convolve(there, np.ones(FILL_MARKS) / FILL_MARKS, mode="same")
    solid = np.flatnonzero((share >= FILL) & (there > 0))
    if not len(solid):
        return n[:0], t_px[:0]
    keep = (n - n[0] >= solid[0] - FILL_MARKS // 2) & (n - n[0] <= solid[-1] + FILL_MARKS // 2)
    return n[keep], t_px[keep]
