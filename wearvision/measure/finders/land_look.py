"""How little each place of a rolled-out gasket land looks like it, by how often such looks occur on it and beside it.

A place is told by how far its tone, its grain and its warmth are off the land's usual ones, each in spreads, sorted
into classes. How often tone and grain occur together on the land and beside it makes a likelihood ratio, and so does
how often each warmth occurs among what is of one tone: rust may be as bright as metal, and is warmer.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid

Classes = NDArray[np.uint8]
CLASSES, TONES, GRAINS, WARMTHS = 40, 4.5, 3.0, 3.0
"""Classes of a figure, and how far they reach, as inverse hyperbolic sines of half its spreads;"""
FINE = 32
"""told to one part in so many of a spread: the narrowest class takes nine."""
EVEN_CLASSES, RARE = 1.2, (0.3, 0.08)
"""Counts are evened out over so many classes; a share of them, beside the land and on it, is spread over all (a shadow
in a bite may look like neither)."""
CLEAR = 1.5
"""Logarithm of a likelihood ratio from which on a place is clearly of one or the other."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """One figure by place.

    Attributes
    ----------
    values : (N, C) float32
    usual : (N,) float32
        The land's, by row.
    spread : float
        Of the land's about it.
    """

    values: Grid
    usual: Grid
    spread: float


def unlike_of(
    tone: Figure, grain: Figure, warm: Figure | None, where: NDArray[np.int64], valid: NDArray[np.bool_]
) -> Grid:
    """-1 where a place is as the land is, 1 where it is as what lies beside it, or as neither; 0 where not valid.

    Parameters
    ----------
    where : (C,) int
        1 for columns of the land, 2 for those beside it, 0 elsewhere.
    valid : (N, C) bool
    """
    tones, grains = _classes_of(tone, TONES), _classes_of(grain, GRAINS)
    first = _logs(_counts(tones, grains, where, valid), given_first=False)
    if warm is None:
        return _told(first, np.zeros_like(first), tones, grains, grains, valid)
    warmths = _classes_of(warm, WARMTHS)
    second = _logs(_counts(tones, warmths, where, valid), given_first=True)
    return _told(first, second, tones, grains, warmths, valid)


def _classes_of(figure: Figure, reach: float) -> Classes:
    """Classes of a figure (N, C), evenly spaced in the inverse hyperbolic sine of half its spreads off the land's."""
    most = int(2 * np.sinh(reach) * FINE)
    at = (np.arcsinh(np.arange(-most, most + 1) / (2 * FINE)) + reach) * CLASSES / (2 * reach)
    table = np.clip(at, 0, CLASSES - 1).astype(np.uint8)
    return _classes(figure.values, figure.usual, np.float32(FINE / figure.spread), table)


@compiled
def _classes(values: Grid, usual: Grid, scale: np.float32, table: Classes) -> Classes:
    out, most = np.empty(values.shape, np.uint8), len(table) // 2
    for i in range(values.shape[0]):
        for j in range(values.shape[1]):
            step = min(max((values[i, j] - usual[i]) * scale, np.float32(-most)), np.float32(most))
            out[i, j] = table[int(step) + most]
    return out


@compiled
def _counts(first: Classes, second: Classes, where: NDArray[np.int64], valid: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many places are in each pair of classes elsewhere, on the land and beside it (3, K, K), by column."""
    counts = np.zeros((3, CLASSES, CLASSES), np.int64)
    for i in range(first.shape[0]):
        for j in range(first.shape[1]):
            counts[where[j], first[i, j], second[i, j]] += valid[i, j]
    return counts


def _logs(counts: NDArray[np.int64], *, given_first: bool) -> Grid:
    """Logarithm of how much likelier a pair is beside than on the land, (K, K); or its second, its first once given."""
    shares = []
    for count, rare in zip((counts[2], counts[1]), RARE, strict=True):
        even = cv2.GaussianBlur(count.astype(np.float32), (0, 0), EVEN_CLASSES)
        share = even / max(1.0, float(even.sum())) + rare / CLASSES**2
        shares.append(share / share.sum(axis=1, keepdims=True) if given_first else share)
    return np.asarray(np.log(shares[0] / shares[1]), dtype=np.float32)


@compiled
def _told(
    first: Grid, second: Grid, tones: Classes, grains: Classes, warmths: Classes, valid: NDArray[np.bool_]
) -> Grid:
    out, one = np.zeros(tones.shape, np.float32), np.float32(1)
    for i in range(tones.shape[0]):
        for j in range(tones.shape[1]):
            if valid[i, j]:
                both = first[tones[i, j], grains[i, j]] + second[tones[i, j], warmths[i, j]]
                out[i, j] = min(max(both / np.float32(CLEAR), -one), one)
    return out
