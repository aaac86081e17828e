"""Evidence drawn at random, for what reads it row by row."""

from __future__ import annotations

import numpy as np

from wearvision.measure.evidence import Evidence


def drawn(seed: int, rows: int, columns: int) -> Evidence:
    """Strengths of which one in twenty is not seen, unlikeness of 0 to 4."""
    rng = np.random.default_rng(seed)
    z = np.maximum(rng.normal(1.0, 1.5, (rows, columns)), 0.01).astype(np.float32)
    z[rng.random(z.shape) < 0.05] = 0
    off = rng.uniform(0.0, 4.0, z.shape).astype(np.float32)
    return Evidence(gray=z, plain=z, usual=np.ones(rows), z=z, off=off)
