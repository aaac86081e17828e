"""How rough a picture looks: how far its log grey strays from what is about it. Worn tops are smooth, castings not."""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.edges import Grid

LEAST_STRAY, MOST_STRAY = 0.004, 0.3
"""Strays, log grey, that hardly count, and that count no more: a lamp's glint, an edge."""

Reach = tuple[float, float]
"""Standard deviations of a Gaussian across and down, samples."""


def strays(tone: Grid, near: Reach, over: Reach, most: float = np.inf) -> Grid:
    """How far log grey (H, W) strays from its mean near it: the size of that, at most so much, in the mean about it."""
    off = cv2.absdiff(tone, cv2.GaussianBlur(tone, (0, 0), sigmaX=near[0], sigmaY=near[1]))
    mean = cv2.GaussianBlur(np.minimum(off, np.float32(most)), (0, 0), sigmaX=over[0], sigmaY=over[1])
    return np.asarray(mean, dtype=np.float32)


def roughness(tone: Grid, near: Reach, over: Reach) -> Grid:
    """Logarithm of such strays over the least that counts, 0 or more, of log grey (H, W)."""
    return np.asarray(np.log1p(strays(tone, near, over, MOST_STRAY) / np.float32(LEAST_STRAY)), dtype=np.float32)
