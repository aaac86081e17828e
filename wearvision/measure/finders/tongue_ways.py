"""Ways a rim may take through a band: along a straight line, behind it in bays, each as probable as the picture says.

A chain of places, one a run: its worth is the logarithm of odds, moving aside and staying behind the line cost, lying
before the line costs so much that it hardly happens. Sums over all ways (the forward pass of a hidden Markov model)
weigh several straight lines against each other; ways drawn at random from it show what the picture leaves open.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.tongue_signs import ABOVE_MM, RUN, STEP_MM
from wearvision.measure.plane import Array

OUT_MM, IN_MM = 2.0, 3.0
"""The line lies at most so far on either side of the lead's."""
STEEPEST = 0.02
TILTS, LINES, CAP = 10, 10, 2.5
BEHIND = np.arange(-4, 86)
"""Rows that a place may lie behind its line."""
LEVEL_MM, AHEAD = 0.15, 20.0
"""Within so much of the line a place is on it; cost of a mm further before it."""
ASIDE, AWAY = 5.7, 0.30
"""Cost of a mm aside, and of a run behind the line: set with the worth of the signs."""
DRAWN = 64


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """All ways through a band, summed.

    Attributes
    ----------
    lines : (K, C) array
        Rows of the straight lines.
    reached : (K, C, N) array
        Probability of each place behind its line, given what comes before it along the lip.
    total : (K,) array
        Logarithm of the odds of all ways along each line.
    """

    lines: NDArray[np.int64]
    reached: Array
    total: Array

    @property
    def evidence(self) -> float:
        """Logarithm of the odds per run that an edge is there."""
        return float(self.total.max() / self.lines.shape[1])

    def drawn(self, count: int = DRAWN) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Ways drawn as often as they are probable, the same every time: rows of the line and behind it, (M, C)."""
        rng = np.random.default_rng(0)
        share = np.exp(self.total - self.total.max())
        line = rng.choice(len(share), size=count, p=share / share.sum())
        aside = _aside().T
        out = np.empty((count, self.reached.shape[1]), dtype=np.int64)
        weight = self.reached[line, -1]
        for k in range(self.reached.shape[1] - 1, -1, -1):
            if k < self.reached.shape[1] - 1:
                weight = self.reached[line, k] * aside[out[:, k + 1]]
            sums = np.cumsum(weight, axis=1)
            out[:, k] = (sums < rng.random((count, 1)) * sums[:, -1:]).sum(axis=1)
        return self.lines[line], BEHIND[np.minimum(out, len(BEHIND) - 1)]


def chain_of(worth: Array) -> Chain:
    """All ways through a band of worths (R, C)."""
    lines = _lines(worth)
    rows = np.clip(lines[:, :, None] + BEHIND, 0, len(worth) - 1)
    off = BEHIND * STEP_MM
    cost = np.where(off > LEVEL_MM, AWAY, 0.0) + AHEAD * np.clip(-LEVEL_MM - off, 0, None)
    reached, total = _forward(worth[rows, np.arange(worth.shape[1])[None, :, None]] - cost, _aside())
    return Chain(lines=lines, reached=reached, total=total)


def _aside() -> Array:
    """Probability (N, N) of going from one place to another in the next run."""
    odds = np.exp(-ASIDE * STEP_MM * np.abs(BEHIND[:, None] - BEHIND))
    return np.asarray(odds / odds.sum(axis=1).mean())


def _lines(worth: Array) -> NDArray[np.int64]:
    """Rows (K, C) of the straight lines with most worth on them, each place's worth capped."""
    height, count = worth.shape
    over = np.clip(worth - np.median(worth, axis=0), None, CAP).astype(np.float32)
    near = np.asarray(cv2.dilate(over, np.ones((3, 1), np.uint8)))[:, ::2]
    rows = np.arange(int((ABOVE_MM - OUT_MM) / STEP_MM), int((ABOVE_MM + IN_MM) / STEP_MM))
    falls = np.linspace(-1, 1, 2 * TILTS + 1) * STEEPEST * count * RUN
    shape = np.rint(np.linspace(-0.5, 0.5, count) * falls[:, None]).astype(int)
    columns = np.arange(near.shape[1])
    at = [np.clip(rows[:, None] + one[::2], 0, height - 1) for one in shape]
    score = np.stack([near[one, columns].mean(axis=1) for one in at])
    out = []
    for _ in range(LINES):
        k, best = np.unravel_index(int(np.argmax(score)), score.shape)
        out.append(rows[best] + shape[k])
        score[np.abs(falls - falls[k])[:, None] / 2 + np.abs(rows - rows[best]) < 3] = -np.inf
    return np.stack(out)


def _forward(here: Array, aside: Array) -> tuple[Array, Array]:
    """Probability (K, C, N) of each place given what is before it, and the logarithm of all ways' odds (K,)."""
    top = here.max(axis=2, keepdims=True)
    odds = np.exp(here - top)
    reached = np.empty_like(odds)
    total = top.sum(axis=(1, 2))
    now = odds[:, 0] / odds.shape[2]
    for k in range(odds.shape[1]):
        if k:
            now = (now @ aside) * odds[:, k]
        size = now.sum(axis=1, keepdims=True)
        now /= size
        total += np.log(size[:, 0])
        reached[:, k] = now
    return reached, total
