"""Which graduation the lengths of marks show, if any.

A class of marks is split by two or by five: every second, or every fifth, of it must be longer and the rest alike.
Metric scales split by (5, 2) or (2, 5, 2); inch scales by 2 as often as the inch is halved. What cannot be told
apart clean is no answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST_STEP = 0.07
"""Least step of ln length from a class to the next."""
CLEAN = 0.75
"""Share of marks of either class that must lie on their side of the middle."""
SURE = 5.0
"""Least step over its standard error."""
WINDOW = 8


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """How the longer marks follow each other.

    Attributes
    ----------
    splits : tuple of int
        Factors found, finest first; empty when all marks look alike or nothing fits.
    steps : tuple of float
        Steps of ln length at each split.
    zero : int
        Number of a mark of the longest class.
    closed : bool
        Whether at least two neighbours of the longest class were seen and are alike: nothing longer follows.
    short_px : float
        Length of the shortest marks, at the middle of the marks.
    seen : int
        Marks seen of the longest class or of the next, whichever are fewer.
    """

    splits: tuple[int, ...]
    steps: tuple[float, ...]
    zero: int
    closed: bool
    short_px: float
    seen: int


def find_pattern(n: Ints, t_px: Array, length_px: Array) -> Pattern:
    """The pattern of lengths of numbered marks; marks with nan are passed over."""
    good = np.isfinite(length_px) & (length_px > 1.0)
    number = n[good]
    if len(number) < 10:
        return Pattern(splits=(), steps=(), zero=0, closed=False, short_px=float("nan"), seen=0)
    y = np.log(length_px[good] / growth(t_px, length_px)[good])
    options = [_follow(number, y, order) for order in ((5, 2), (2, 5, 2), (2,) * 7)]
    splits, steps, zero, closed, seen = max(options, key=lambda o: (len(o[0]) > 1, _explained(number, y, o)))
    short = y if not splits else y[(number - zero) % splits[0] != 0]
    return Pattern(
        splits=splits, steps=steps, zero=zero, closed=closed, seen=seen, short_px=float(np.exp(np.median(short)))
    )


def growth(t_px: Array, length_px: Array) -> Array:
    """How many times as long a mark looks at each place as half way between the first and the last; nan lengths are
    passed over."""
    good = np.isfinite(length_px) & (length_px > 1.0)
    t = t_px[good]
    if len(t) < 2 * WINDOW:
        return np.ones(len(t_px))
    u = (t_px - t.mean()) / (np.ptp(t) / 2)
    return np.asarray(np.exp(_common_slope(u[good], np.log(length_px[good])) * u))


def _common_slope(u: Array, y: Array) -> float:
    """Slope of ln length along the rule, from the short marks: the lower quarter of each few neighbours."""
    view = np.lib.stride_tricks.sliding_window_view
    low, at = np.quantile(view(y, WINDOW), 0.25, axis=1), view(u, WINDOW).mean(axis=1)
    base, weight, fit = np.column_stack([np.ones(len(at)), at]), np.ones(len(at)), np.zeros(2)
    for _ in range(8):
        part = base * weight[:, None]
        fit = np.linalg.solve(part.T @ base + np.diag([1e-9, 1e-3]), part.T @ low)
        off = np.abs(low - base @ fit)
        weight = 1 / (0.02 + off)
    return float(np.clip(fit[1], -0.45, 0.45))


_Found = tuple[tuple[int, ...], tuple[float, ...], int, bool, int]


def _follow(number: Ints, y: Array, order: tuple[int, ...]) -> _Found:
    """Split by the given factors as long as that is clean."""
    splits: list[int] = []
    steps: list[float] = []
    zero, every, seen, closed = 0, 1, 0, False
    for factor in order:
        mine = (number - zero) % every == 0
        got = _split(number[mine], y[mine], zero, every, factor)
        if got is None:
            closed = _alike(number[mine], y[mine], zero, every, steps[-1]) if steps else False
            break
        zero, step, seen = got
        splits.append(factor)
        steps.append(step)
        every *= factor
    else:
        mine = (number - zero) % every == 0
        closed = _alike(number[mine], y[mine], zero, every, steps[-1])
    return tuple(splits), tuple(steps), zero, closed, seen


def _split(number: Ints, y: Array, zero: int, every: int, factor: int) -> tuple[int, float, int] | None:
    """Phase, step and marks of the rarer kind when every `factor`-th of a class is longer; None when it is not so."""
    phase = ((number - zero) // every) % factor
    best: tuple[int, float, int] | None = None
    for k in range(factor):
        longer, rest = y[phase == k], y[phase != k]
        if not (len(longer) and len(rest)):
            continue
        step = float(np.quantile(longer, 0.25) - np.median(rest))
        middle = float(np.median(rest)) + step / 2
        share = min(float(np.mean(longer > middle)), float(np.mean(rest < middle)))
        error = _spread(rest) * np.sqrt(1 / len(rest) + 1 / len(longer))
        if step > max(LEAST_STEP, SURE * error) and share >= CLEAN and (best is None or step > best[1]):
            best = (zero + k * every, step, min(len(longer), len(rest)))
    return best


def _spread(y: Array) -> float:
    """Robust standard deviation of ln lengths, at least what a length in whole rows allows."""
    return max(1.4826 * float(np.median(np.abs(y - np.median(y)))), 0.02)


def _alike(number: Ints, y: Array, zero: int, every: int, step: float) -> bool:
    """Whether the longest class is seen twice in neighbours, and the two halves of it do not differ."""
    phase = ((number - zero) // every) % 2
    even, odd = y[phase == 0], y[phase == 1]
    return bool(len(even) and len(odd) and abs(float(np.median(even) - np.median(odd))) < 0.4 * step)


def _explained(number: Ints, y: Array, found: _Found) -> float:
    """Share of the scatter of the lengths that the classes take up."""
    splits, _, zero, _, _ = found
    level = np.zeros(len(number), dtype=int)
    every = 1
    for k, factor in enumerate(splits, 1):
        every *= factor
        level[(number - zero) % every == 0] = k
    off = y.copy()
    for k in range(level.max() + 1):
        if np.any(level == k):
            off[level == k] -= np.median(y[level == k])
    total = float(np.mean(np.abs(y - np.median(y)))) + 1e-9
    return 1 - float(np.mean(np.abs(off))) / total
