"""Whether numbers stand beside the longest marks: that they stand there, not what they say.

An inch scale whose half-inch marks are as long as its inch marks looks like one of half as many parts. Numbers
tell: they stand at the inches.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.hierarchy import Pattern, growth
from wearvision.measure.rule.marks import Marks
from wearvision.measure.rule.strip import Strip

Array = NDArray[np.float64]
LEAST_INK, BURNT = 0.3, 245.0
"""Least contrast of a number, of that of the longest marks, over `MORE`; grey from which on a patch is washed out."""
MORE = 1.8
"""Ink at a number over ink half way between two."""
BEYOND, WIDE = (1.12, 1.45), 0.22
"""Where numbers stand, in lengths of the longest marks: from the foot line, and to either side."""
NEXT = 1.35
"""A longest mark is at most so much longer than the next class: what is beyond is a number grown to its tip."""
BESIDE_PX = 2.0
"""The mark itself is left out to so far from its middle."""
SAME = 0.4
"""Least ink at the poorer half of the longest marks, of that at the richer."""


def numbered(strip: Strip, marks: Marks, pattern: Pattern) -> int:
    """1 when every longest mark has a number beyond its tip, 2 when every second has, and no place between.

    0 also when there is nothing to be seen: then nothing is confirmed.
    """
    every = int(np.prod(pattern.splits))
    top = np.flatnonzero(((marks.n - pattern.zero) % every == 0) & np.isfinite(marks.length_px))
    if len(top) < 2:
        return 0
    half = np.interp(marks.n[top] + every / 2, marks.n, marks.t_px)
    grown = growth(marks.t_px, marks.length_px)
    length = marks.length_px / grown
    below = ((marks.n - pattern.zero) % (every // pattern.splits[-1]) == 0) & ((marks.n - pattern.zero) % every != 0)
    lower = float(np.nanmedian(length[below])) if np.isfinite(length[below]).any() else np.inf
    tip = min(float(np.quantile(length[top], 0.25)), NEXT * lower)
    at, between = (_ink(strip, marks, t, tip * np.interp(t, marks.t_px, grown)) for t in (marks.t_px[top], half))
    between = between[(marks.n[top] + every / 2 <= marks.n[-1]) & np.isfinite(between)]
    phase = ((marks.n[top] - pattern.zero) // every) % 2
    parts = [at[(phase == k) & np.isfinite(at)] for k in (0, 1)]
    if not (len(between) and all(len(p) for p in parts)):
        return 0
    low, high = sorted(float(np.median(p)) for p in parts)
    none = max(float(np.median(between)), LEAST_INK * float(np.median(marks.contrast[top])))
    if low > MORE * none and low > SAME * high:
        return 1
    return 2 if high > 3 * MORE * none and low < MORE * none and min(map(len, parts)) > 1 else 0


def _ink(strip: Strip, marks: Marks, t: Array, tips: Array) -> Array:
    """Contrast of the patch beyond the tip (px from the foot) at each place, grey levels; nan outside the photo."""
    out = np.full(len(t), np.nan)
    foot = np.interp(t, marks.t_px, marks.foot_px)
    for k, (place, tip) in enumerate(zip(t, tips, strict=True)):
        ends = [foot[k] + marks.side * share * tip for share in BEYOND]
        rows = sorted(strip.row(s) for s in ends)
        middle = place + float(marks.lean.shift(np.array(place), ends[0])) - strip.t_px[0]
        column = np.arange(max(0, int(middle - WIDE * tip)), min(len(strip.t_px), int(middle + WIDE * tip) + 1))
        column = column[np.abs(column - middle) > BESIDE_PX]
        patch = strip.values[rows[0] : rows[1] + 1, column]
        seen = patch.size > 12 and strip.inside[rows[0] : rows[1] + 1, column].all()
        if seen and np.mean(patch) < BURNT:
            out[k] = float(np.quantile(patch, 0.9) - np.quantile(patch, 0.1))
    return out
