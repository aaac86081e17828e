"""A steel rule's face as a bitmap: engraved marks, digits, brushed metal, wear.

Its own table of graduations, so that the finder is held against something it does not share. Lengths of marks
are from memory of workshop rules; they and their steps are varied at random.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Array = NDArray[np.float64]

GRADUATIONS: dict[str, tuple[float, tuple[int, ...], tuple[float, ...]]] = {
    "mm": (1.0, (1, 5, 10), (2.9, 4.1, 5.6)),
    "half-mm": (0.5, (1, 2, 10, 20), (2.1, 2.9, 4.2, 5.7)),
    "in8": (25.4 / 8, (1, 2, 4, 8), (2.7, 4.1, 5.6, 7.2)),
    "in16": (25.4 / 16, (1, 2, 4, 8, 16), (2.0, 2.9, 4.1, 5.5, 7.0)),
    "in32": (25.4 / 32, (1, 2, 4, 8, 16, 32), (1.6, 2.3, 3.2, 4.3, 5.6, 7.0)),
    "in64": (25.4 / 64, (1, 2, 4, 8, 16, 32, 64), (1.25, 1.75, 2.4, 3.2, 4.2, 5.4, 6.8)),
    "in10": (2.54, (1, 5, 10), (2.6, 4.0, 5.6)),
    "in50": (0.508, (1, 5, 25, 50), (1.6, 2.6, 4.0, 5.6)),
    "comb": (1.3, (1,), (4.0,)),
}
"""Period in mm; every how many marks a longer one comes, finest first; lengths in mm. The last three are not to
be read: decimal inches, and marks all alike."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Marks along one edge.

    Attributes
    ----------
    unit : a name of `GRADUATIONS`
    lengths_mm : lengths of the classes of marks, finest first; two alike when the rule does not tell them apart
    width_mm : of a mark
    from_far_end : counts from the other end of the rule
    numbered : every how many marks a number stands; 0 for none
    halved_mm : up to there marks lie half a period apart
    """

    unit: str
    lengths_mm: tuple[float, ...]
    width_mm: float
    from_far_end: bool = False
    numbered: int = 0
    halved_mm: float = 0.0

    @property
    def period_mm(self) -> float:
        """Distance of neighbouring marks as engraved, mm."""
        return GRADUATIONS[self.unit][0]

    def length_mm(self, number: int) -> float:
        """Length of mark `number`, mm."""
        every = GRADUATIONS[self.unit][1]
        return self.lengths_mm[max(k for k, n in enumerate(every) if number % n == 0)]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A rule: x along it from its end, y across it from the edge of its first scale, mm.

    Attributes
    ----------
    scales : one or two; the first along y = 0, the second along y = width_mm
    metal, ink : grey of face and marks, 0 to 1
    wear : how much of the marks is worn away, 0 to 1
    jitter_mm : scatter of the marks' places
    stretch : real mm per engraved mm, minus 1
    """

    scales: tuple[Scale, ...]
    length_mm: float
    width_mm: float
    metal: float
    ink: float
    wear: float
    jitter_mm: float
    stretch: float
    seed: int


def face_bitmap(rule: Rule, px_per_mm: float, margin_mm: float = 2.0) -> tuple[Floats, Floats]:
    """Grey (0 to 1) of the face with a margin round it, and the share of each pixel that is rule.

    A point (x, y) mm lies at ((x + margin) px_per_mm - 0.5, (y + margin) px_per_mm - 0.5).
    """
    rng = np.random.default_rng([31, rule.seed])
    size = [int(np.ceil((n + 2 * margin_mm) * px_per_mm)) for n in (rule.width_mm, rule.length_mm)]
    ink = np.zeros(size, dtype=np.float32)
    for k, scale in enumerate(rule.scales):
        _engrave(ink, rng, rule, scale, px_per_mm, margin_mm, far=k == 1)
        _number(ink, rule, scale, px_per_mm, margin_mm, far=k == 1)
    ink *= _worn(rng, ink.shape, rule.wear)
    metal = rule.metal * (1 + _brushed(rng, ink.shape))
    sides = zip(size, (rule.width_mm, rule.length_mm), strict=True)
    ends = (np.clip((np.arange(n) + 1) / px_per_mm - margin_mm, 0, most) for n, most in sides)
    cover = np.outer(*(np.diff(end, prepend=0.0) * px_per_mm for end in ends))
    return np.asarray(metal * (1 - ink) + rule.ink * ink, dtype=np.float32), cover.astype(np.float32)


def _engrave(
    ink: Floats, rng: np.random.Generator, rule: Rule, scale: Scale, per_mm: float, margin: float, *, far: bool
) -> None:
    step = 0.5 if scale.halved_mm else 1.0
    for number in np.arange(step, rule.length_mm / scale.period_mm - 0.2, step):
        whole = float(number).is_integer()
        if not whole and number * scale.period_mm > scale.halved_mm:
            continue
        length = scale.length_mm(int(number)) if whole else 0.78 * scale.lengths_mm[0]
        x = number * scale.period_mm + rng.normal(0, rule.jitter_mm)
        x = rule.length_mm - x if scale.from_far_end else x
        width = scale.width_mm * rng.uniform(0.85, 1.15)
        low, high = -0.1, length + rng.normal(0, 0.03)
        if far:
            low, high = rule.width_mm - high, rule.width_mm + 0.1
        box = [(margin + v) * per_mm for v in (x - width / 2, x + width / 2, low, high)]
        _fill(ink, *box)


def _fill(ink: Floats, left: float, right: float, top: float, bottom: float) -> None:
    """Darken a box given by its sides; a pixel k spans k to k + 1."""
    parts, places = [], []
    for low, high in ((top, bottom), (left, right)):
        first, last = int(np.floor(low)), int(np.ceil(high))
        k = np.arange(first, last)
        parts.append(np.minimum(k + 1, high) - np.maximum(k, low))
        places.append(slice(first, last))
    spot = ink[places[0], places[1]]
    np.maximum(spot, np.outer(*parts)[: spot.shape[0], : spot.shape[1]], out=spot)


def _number(ink: Floats, rule: Rule, scale: Scale, per_mm: float, margin: float, *, far: bool) -> None:
    if not scale.numbered:
        return
    each = scale.numbered * scale.period_mm
    size = min(2.6, 0.45 * each)
    base = max(scale.lengths_mm) + 0.4
    tall = size * per_mm
    y = rule.width_mm - base if far else base + size
    face = np.zeros(ink.shape, dtype=np.uint8)
    for k in range(1, int(rule.length_mm / each) + 1):
        x = rule.length_mm - k * each if scale.from_far_end else k * each
        at = (round((margin + x) * per_mm - 0.45 * tall * len(str(k))), round((margin + y) * per_mm))
        thick = max(1, round(0.16 * tall))
        cv2.putText(face, str(k), at, cv2.FONT_HERSHEY_SIMPLEX, tall / 22.0, 255, thick, cv2.LINE_AA)
    np.maximum(ink, face / np.float32(255), out=ink)


def _worn(rng: np.random.Generator, shape: tuple[int, ...], wear: float) -> Floats:
    """What is left of the ink, 0 to 1: smooth patches and grains."""
    left = np.ones(shape, dtype=np.float32)
    for cells, share in ((6, 0.7), (40, 0.5)):
        coarse = rng.random((max(3, cells // 3), 3 * cells)).astype(np.float32)
        patch = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
        left *= 1 - share * wear * np.clip(2.2 * patch - 0.8, 0, 1)
    return left


def _brushed(rng: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    """Fine lines along the rule, relative."""
    lines = rng.standard_normal((shape[0], max(8, shape[1] // 60))).astype(np.float32)
    long = cv2.resize(lines, shape[::-1], interpolation=cv2.INTER_LINEAR)
    small = rng.standard_normal((shape[0] // 2 + 1, shape[1] // 2 + 1)).astype(np.float32)
    grain = cv2.resize(small, shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(0.05 * long + 0.03 * grain, dtype=np.float32)
