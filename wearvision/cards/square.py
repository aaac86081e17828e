"""A QR square of version 2 in a patch that shows little else: slid to where its fixed modules fit, read and redrawn."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.cards.layout import QR_MODULES

PER_MODULE = 5
"""Samples of a patch across a module."""
_DRAWN, _BORDER = 3, 16
"""Pixels of a module and of the white about all when a square is redrawn for the decoder: more gain nothing."""
_LEAST_FIT = 0.4
"""Correlation with the fixed modules below which there is no label."""


def _fixed_modules() -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Modules that are the same in every version 2 square: dark (1) or light (0), and which they are.

    ISO/IEC 18004: three finders with their separators, timing lines, one alignment pattern (from memory; the
    tests hold it against the squares that segno writes).
    """
    dark = np.zeros((QR_MODULES, QR_MODULES), np.uint8)
    known = np.zeros_like(dark, dtype=bool)
    known[6, :] = known[:, 6] = True
    dark[6, ::2] = dark[::2, 6] = 1
    finder = np.zeros((9, 9), np.uint8)
    finder[1:8, 1:8] = 1
    finder[2:7, 2:7] = 0
    finder[3:6, 3:6] = 1
    for rows, cols, part in (
        (slice(0, 8), slice(0, 8), finder[1:, 1:]),
        (slice(0, 8), slice(-8, None), finder[1:, :-1]),
        (slice(-8, None), slice(0, 8), finder[:-1, 1:]),
    ):
        dark[rows, cols], known[rows, cols] = part, True
    known[16:21, 16:21] = True
    dark[16:21, 16:21] = 1
    dark[17:20, 17:20] = 0
    dark[18, 18] = 1
    return dark, known


DARK, KNOWN = _fixed_modules()


@cache
def _steps(tones: bytes) -> list[tuple[int, int, float]]:
    """Row, column and size of each corner of a square whose modules (float64) have these tones: what a sum over it is
    of the sums of all that lies above and to the left of its corners."""
    padded = np.pad(np.frombuffer(tones).reshape(QR_MODULES, QR_MODULES), 1)
    corners = np.diff(np.diff(padded, axis=0), axis=1)
    return [(int(i), int(j), float(corners[i, j])) for i, j in np.argwhere(corners)]


def _summed(tones: NDArray[np.float64], total: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum over a square of modules, weighed by their tones, at each place it may slide to, of an integral image."""
    places = total.shape[0] - QR_MODULES * PER_MODULE
    out = np.zeros((places, places))
    for i, j, size in _steps(tones.tobytes()):
        row, column = i * PER_MODULE, j * PER_MODULE
        out += size * total[row : row + places, column : column + places]
    return out


def _fits(patch: NDArray[np.float32]) -> NDArray[np.float64]:
    """Correlation of a patch with the fixed modules, at each place to which the square may slide."""
    known, light = KNOWN.astype(np.float64), 1.0 - DARK
    count = float(known.sum())
    tones = known * (light - float((known * light).sum()) / count)
    total, squares = (np.asarray(of, np.float64) for of in cv2.integral2(patch, sdepth=cv2.CV_64F, sqdepth=cv2.CV_64F))
    mean = _summed(known, total) / (count * PER_MODULE**2)
    spread = _summed(known, squares) - count * PER_MODULE**2 * mean**2
    scale = np.sqrt(np.maximum(spread, 1e-9) * float((tones**2).sum()) * PER_MODULE**2)
    return np.asarray(_summed(tones, total) / scale)


def module_levels(patch: NDArray[np.float32]) -> NDArray[np.float64] | None:
    """Gray level of each module, the square slid to where its fixed modules fit best; `None` when none do."""
    fit = _fits(patch)
    row, col = np.unravel_index(int(np.argmax(fit)), fit.shape)
    if fit[row, col] < _LEAST_FIT:
        return None
    side = QR_MODULES * PER_MODULE
    square = patch[row : row + side, col : col + side].reshape(QR_MODULES, PER_MODULE, QR_MODULES, PER_MODULE)
    return np.asarray(square[:, 1:-1, :, 1:-1].mean(axis=(1, 3)))


def bits(levels: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Dark modules: below the middle between the fixed dark and fixed light ones, each fitted with a tilt."""
    rows, cols = np.mgrid[:QR_MODULES, :QR_MODULES]
    basis = np.stack([np.ones_like(rows), rows, cols], axis=2).astype(float)
    halves = []
    for tone in (0, 1):
        at = KNOWN & (tone == DARK)
        plane = np.linalg.lstsq(basis[at], levels[at], rcond=None)[0]
        halves.append(basis @ plane)
    return np.asarray(levels < (halves[0] + halves[1]) / 2, np.uint8)


def decode(bits: NDArray[np.uint8]) -> str:
    """Words of a square whose modules are known, redrawn without a flaw; empty when it cannot be."""
    bits = np.where(KNOWN, DARK, bits)
    block = np.full((_DRAWN, _DRAWN), 255, np.uint8)
    clean = np.pad(np.kron(1 - bits, block), _BORDER, constant_values=255).astype(np.uint8)
    low, high = float(_BORDER), float(_BORDER + _DRAWN * QR_MODULES - 1)
    quad = np.array([[[low, low], [high, low], [high, high], [low, high]]], np.float32)
    try:
        return str(cv2.QRCodeDetector().decode(clean, quad)[0])
    except (cv2.error, UnicodeDecodeError):
        return ""
