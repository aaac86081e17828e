"""Which way each vane runs: many bends of the siblings' common line tried, and how much of both edges lies along each.

A vane stands at its root, so that it can leave its siblings' line only from some place outwards and ever further. A
shadow that runs beside a vane all the way, or a rust stain, is no bend: along no such line does it show two edges a
vane's thickness apart. All of the line counts, not only the tip.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import CAP, QUIET, Strips, edges_across

STARTS, POWERS = (0.15, 0.3, 0.45, 0.6, 0.75), (1.3, 2.2)
"""Where a bend begins, shares of the line up to the tip; power by which it grows."""
TIPS_MM = np.concatenate([np.arange(0.5, 3.0, 0.25), np.arange(3.0, 14.1, 0.5)])
"""Shifts at the tip that are tried, either way."""
STRETCH = 4
"""Stations over which light is averaged along a bend."""
SIGMA_MM, SMOOTH_MM = 0.4, 1.5
BENT_COST, FREE_MM, FAR_MM = 4.0, 0.5, 2.0
"""What a bend must be better by than none, in edges over what is usual, for one of many fits some rust: nothing up to
the second, which is within reach of the tracing anyway, all of it from the third on."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tried:
    """Shift (H, S) of each bend along the line, and how much wider the vane is there across it, as a factor."""

    shift_mm: Array
    wider: Array


@lru_cache(maxsize=4)
def _tried(stations: int, step_mm: float, tip: int) -> _Tried:
    share = np.arange(stations) / tip
    tips = np.concatenate([-TIPS_MM[::-1], TIPS_MM])
    rows = [np.zeros((1, stations))]
    for start in STARTS:
        for power in POWERS:
            rows.append(tips[:, None] * np.clip((share - start) / (1 - start), 0, None)[None] ** power)
    shift = np.concatenate(rows)
    slope = np.gradient(shift, step_mm, axis=1)
    return _Tried(shift_mm=shift, wider=np.sqrt(1 + slope**2))


def likeliest(strips: Strips, along_step_mm: float, pair_mm: Array, tip: int) -> tuple[Array, Array]:
    """Shift (N, S) of each vane from the common pair `pair_mm` (S, 2), and how much better than none it is (N,).

    `tip` is the station where vanes usually end; what lies beyond plays no part.
    """
    few = slice(0, tip, 2)
    signed = edges_across(strips, along_step_mm, SIGMA_MM, SMOOTH_MM)[0][:, few]
    rows = signed.shape[1] // STRETCH * STRETCH
    signed, pair = signed[:, :rows], pair_mm[few][:rows]
    tried = _tried(len(pair_mm), along_step_mm, tip)
    shift, wider = tried.shift_mm[:, few][:, :rows], tried.wider[:, few][:, :rows]
    middle, half = pair.mean(axis=1), (pair[:, 1] - pair[:, 0]) / 2
    column = [
        np.clip(np.rint((middle + shift + side * half * wider - strips.across_mm[0]) / strips.step_mm), 0, None)
        for side in (-1, 1)
    ]
    flat = [
        np.minimum(c, signed.shape[2] - 1).astype(np.intp) + np.arange(rows) * signed.shape[2] for c in column
    ]
    score = np.stack([_worth(one, flat) for one in signed])
    reach = np.abs(tried.shift_mm).max(axis=1, where=np.arange(len(pair_mm)) < tip, initial=0.0)
    score -= BENT_COST * np.clip((reach - FREE_MM) / (FAR_MM - FREE_MM), 0, 1)
    best = np.argmax(score, axis=1)
    return tried.shift_mm[best], score[np.arange(len(best)), best] - score[:, 0]


def _worth(signed: Grid, flat: list[NDArray[np.intp]]) -> Array:
    """Edge along each bend on both sides, over what is usual on this strip, (H,)."""
    rows, width = signed.shape
    parts = rows // STRETCH
    usual = np.abs(signed.reshape(parts, STRETCH, width).mean(axis=1)).mean(axis=1)
    usual = np.maximum(usual, QUIET * float(np.median(usual))) + 0.004
    total = np.zeros(len(flat[0]))
    for place in flat:
        along = np.take(signed, place).reshape(len(place), parts, STRETCH).mean(axis=2)
        total += (np.minimum(np.abs(along) / usual, CAP) - 1.0).sum(axis=1)
    return total
