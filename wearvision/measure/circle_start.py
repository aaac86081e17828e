"""Which ring of a face is the one whose diameter is known: planes in millimetres to begin a fit from."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.circle_seek import Family, Ring
from wearvision.measure.plane import Plane

CALIPER_SD_MM = 0.03
"""Of a diameter read with a caliper: limit of error 0.03 mm and a little ovality. Common practice, no source."""
RATIO_SD = 0.005
"""Of the logarithm of the ratio of two rings on the first look."""
HYPOTHESES = 6
SAME_SCALE, SAME_TILT = 0.006, 0.12
CLEAR, APART = 0.15, 0.15
"""Strength of a ring against the strongest, from which on it may be the one meant; and how far apart two of them must
be, in the logarithm of their radii, not to be two edges of one rim."""


@dataclass(frozen=True, kw_only=True)
class KnownCircle:
    """What is said of the face: which circle was measured, its diameter, and the other one's from the drawing."""

    which: str
    diameter_mm: float
    sd_mm: float = CALIPER_SD_MM
    other_mm: float | None = None

    @property
    def ratio(self) -> float | None:
        """Radius of the other ring over that of the known one."""
        return None if self.other_mm is None else self.other_mm / self.diameter_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Start:
    """A plane in millimetres to begin from, and the radii of its rings, the known one first."""

    plane: Plane
    radii_mm: tuple[float, ...]
    worth: float


def starts_of(families: Sequence[Family], stated: KnownCircle) -> Iterator[Start]:
    """Which ring is the known one, best guess first."""
    found: list[Start] = []
    for family in families:
        found += _by_ratio(family, stated) if stated.ratio else _by_look(family, stated)
    kept: list[Start] = []
    for start in sorted(found, key=lambda s: -s.worth):
        if all(_unlike(start, other) for other in kept):
            kept.append(start)
    yield from kept[:HYPOTHESES]


def _unlike(one: Start, other: Start) -> bool:
    """Whether two starts differ in scale or in tilt by more than a fit walks."""
    a, b = one.plane.theta, other.plane.theta
    return bool(abs(math.log(a[5] / b[5])) > SAME_SCALE or np.hypot(*(a[:2] - b[:2])) > SAME_TILT)


def _by_ratio(family: Family, stated: KnownCircle) -> Iterator[Start]:
    """Each ring as either circle; it counts more when the other one is seen where it should be."""
    assert stated.ratio is not None and stated.other_mm is not None
    for one in family.rings:
        for ratio, scale in ((stated.ratio, 1.0), (1 / stated.ratio, stated.ratio)):
            told = [r.strength * math.exp(-0.5 * (math.log(r.radius / one.radius / ratio) / RATIO_SD) ** 2)
                    for r in family.rings if r is not one]  # fmt: skip
            worth = family.worth / 8 + min(one.strength, 2.0) + 2 * max(told, default=0.0)
            yield _scaled(family, one, stated, (stated.other_mm / 2,), worth, stated.diameter_mm / 2 * scale)


def _by_look(family: Family, stated: KnownCircle) -> Iterator[Start]:
    """Of one clear ring, or two, the bore is the inner and the rim the outer; of more, any may be meant."""
    top = max(r.strength for r in family.rings)
    clear = [r for r in family.rings if r.strength >= CLEAR * top]
    if len(clear) > 2 or (len(clear) == 2 and math.log(clear[1].radius / clear[0].radius) < APART):
        return
    one = clear[0] if stated.which == "bore" else clear[-1]
    scale = stated.diameter_mm / 2 / one.radius
    second = tuple(r.radius * scale for r in clear if r is not one)
    yield _scaled(family, one, stated, second, one.strength, stated.diameter_mm / 2)


def _scaled(
    family: Family, one: Ring, stated: KnownCircle, others_mm: tuple[float, ...], worth: float, radius_mm: float
) -> Start:
    """A start at the scale at which a ring has a radius."""
    theta = family.plane.theta.copy()
    theta[3:6] *= radius_mm / one.radius
    radii = (stated.diameter_mm / 2, *others_mm)
    return Start(plane=replace(family.plane, theta=theta), radii_mm=radii, worth=worth)
