"""Whether numbers stand beside the longest marks: that they stand there, not what they say.

An inch scale whose half-inch marks are as long as its inch marks looks like one of half as many parts. Numbers
tell: they stand at the inches.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.hierarchy import Pattern
from wearvision.measure.rule.marks import Marks
from wearvision.measure.rule.strip import Strip

Array = NDArray[np.float64]
MORE = 1.8
"""Ink at a number over ink half way between two."""
SAME = 0.55
"""Least ink at the poorer half of the longest marks, of that at the richer."""


def numbered(strip: Strip, marks: Marks, pattern: Pattern) -> bool:
    """Whether each longest mark has ink beyond its tip and the places between have none.

    False also when there is nothing to be seen: then nothing is confirmed.
    """
    every = int(np.prod(pattern.splits))
    top = np.flatnonzero(((marks.n - pattern.zero) % every == 0) & np.isfinite(marks.length_px))
    if len(top) < 2:
        return False
    half = np.interp(marks.n[top] + every / 2, marks.n, marks.t_px)
    tip = np.interp(marks.t_px, marks.t_px[top], marks.tip_px[top])
    at, between = (_ink(strip, marks, t, tip) for t in (marks.t_px[top], half))
    between = between[(marks.n[top] + every / 2 <= marks.n[-1]) & np.isfinite(between)]
    phase = ((marks.n[top] - pattern.zero) // every) % 2
    parts = [at[(phase == k) & np.isfinite(at)] for k in (0, 1)]
    if not (len(between) and all(len(p) for p in parts)):
        return False
    low, high = sorted(float(np.median(p)) for p in parts)
    return low > MORE * float(np.median(between)) and low > SAME * high


def _ink(strip: Strip, marks: Marks, t: Array, tip: Array) -> Array:
    """Contrast of the patch beyond the tips at each place, grey levels; nan outside the photo."""
    long = float(np.nanmax(marks.length_px))
    wide = 0.22 * long
    out = np.full(len(t), np.nan)
    for k, place in enumerate(t):
        s0 = float(np.interp(place, marks.t_px, tip)) + marks.side * 0.1 * long
        rows = sorted((strip.row(s0), strip.row(s0 + marks.side * 0.3 * long)))
        middle = place + float(marks.lean.shift(np.array(place), s0)) - strip.t_px[0]
        columns = slice(max(0, int(middle - wide)), max(0, int(middle + wide) + 1))
        patch = strip.values[rows[0] : rows[1] + 1, columns]
        if patch.size > 12 and strip.inside[rows[0] : rows[1] + 1, columns].all():
            out[k] = float(np.quantile(patch, 0.9) - np.quantile(patch, 0.1))
    return out
