"""What a rule in the frame says."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Plane
from wearvision.quantity import Measured
from wearvision.stated import RuleUnit

Array = NDArray[np.float64]
ACROSS = "foreshortening"
"""Budget part of what a single rule cannot tell: how much lengths across it are shortened."""


@dataclass(frozen=True, kw_only=True, eq=False)
class RuleScale:
    """Scale along a steel rule.

    Its scale holds along the rule. Lengths across it lean on what the marks' directions and the perspective tell of
    the tilt, and carry the rest as uncertainty.

    Attributes
    ----------
    unit : RuleUnit
        Graduation of the scale that was read.
    period_mm : float
    marks_used : int
    residual_px : float
        Robust standard deviation of the marks about their fitted places.
    ends_px : (2, 2) array
        First and last mark used, photo px.
    band_px : (4, 2) array
        Outline of the marks, photo px.
    at_px : (2,) array
        Middle of the marks used.
    plane : Plane
        x along the rule with 0 at a mark near its middle, y across it with 0 on the marks' foot line; its sources are
        `edge` (the marks' places), `rule` (accuracy class), `height` (of the rule's face), `lens`, `tilt` and
        `foreshortening`.
    partner : RuleUnit or None
        Graduation of the second scale that was used to check the first.
    stated : bool
        Whether a person stated the graduation and the marks alone did not settle it.
    """

    unit: RuleUnit
    period_mm: float
    marks_used: int
    residual_px: float
    ends_px: Array
    band_px: Array
    at_px: Array
    plane: Plane
    partner: RuleUnit | None
    stated: bool

    def __post_init__(self) -> None:
        for name in ("ends_px", "band_px", "at_px"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def along(self) -> Array:
        """Unit vector along the rule in the photo, at its middle."""
        way = self.ends_px[1] - self.ends_px[0]
        return np.asarray(way / np.linalg.norm(way))

    def mm_per_px(self, at_px: Array | None = None) -> Measured:
        """Scale along the rule at a point of it, mm per px in the measured plane."""
        at = (self.at_px if at_px is None else np.asarray(at_px, dtype=np.float64)).reshape(1, 2)
        ends = np.vstack([at - 2 * self.along, at + 2 * self.along])
        return self._length(ends, 4.0, how="scale along the rule")

    def period_px(self, at_px: Array | None = None) -> float:
        """Distance of neighbouring marks at a point of the rule, px."""
        return self.period_mm / self._face.mm_per_px(at_px).value

    @property
    def period_u(self) -> float:
        """Relative standard uncertainty of the period in the photo, the rule itself taken as true."""
        scale = self._face.mm_per_px()
        return scale.u / scale.value

    @property
    def _face(self) -> RuleScale:
        """The same with the rule's own face as the plane, its marks taken as true."""
        theta = self.plane.theta.copy()
        theta[10:12] = 0.0
        own = {k: v for k, v in self.plane.sources.items() if k in ("edge", "lens", "tilt")}
        return replace(self, plane=replace(self.plane, theta=theta, sources=own))

    def length(self, a_px: Array, b_px: Array) -> Measured:
        """Length between two points of the photo, mm; across the rule with the foreshortening in doubt."""
        return self._length(np.array([a_px, b_px], dtype=np.float64), 1.0, how="against the rule", across=True)

    def _length(self, ends: Array, per: float, *, how: str, across: bool = False) -> Measured:
        def figure(plane: Plane) -> Array:
            return np.array([np.linalg.norm(np.diff(plane.to_mm(ends), axis=0)) / per])

        value, parts = self.plane.propagate(figure)
        kept = {k: float(u[0]) for k, u in parts.items() if across or k != ACROSS}
        return Measured.of(float(value[0]), "mm", how=how, **kept)
