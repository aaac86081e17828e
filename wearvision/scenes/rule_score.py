"""Hold readings of drawn rules against their truth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.find import find_rule
from wearvision.measure.rule.result import RuleScale
from wearvision.scenes.rule_marks import Rule
from wearvision.scenes.rules import Photo, View, draw_none, draw_rule
from wearvision.stated import Stated

Array = NDArray[np.float64]

HARMONIC = 0.05
"""A scale wrong by more is a graduation mistaken: the nearest two differ by 25 %."""
CLASS_II_MM = 0.5
"""Largest error of a class II rule up to a metre between any two marks: the drawn rules keep within it."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One drawn rule, read.

    Attributes
    ----------
    seed, unit : int, str
    reason : str
        Why it was not read; empty when it was.
    period_error, period_u : float
        Relative, of the period in the photo, engraved lengths taken as true.
    scale_error, scale_u : float
        Relative, of mm per px along the rule in the plane below it, errors of the rule and of its height drawn.
    length_error, length_u : float
        Relative, of a length in any direction beside the rule in that plane.
    """

    seed: int
    unit: str
    reason: str = ""
    period_error: float = 0.0
    period_u: float = 1.0
    scale_error: float = 0.0
    scale_u: float = 1.0
    length_error: float = 0.0
    length_u: float = 1.0

    @property
    def harmonic(self) -> bool:
        """Whether the graduation was mistaken."""
        return not self.reason and abs(self.period_error) > HARMONIC


def read_rule(seed: int, stated: Stated | None = None) -> Outcome:
    """Draw a rule and read it."""
    photo = draw_rule(seed)
    assert photo.rule is not None and photo.view is not None
    unit = photo.rule.scales[0].unit
    told = find_rule(photo.gray, stated or Stated(), focal35_mm=photo.focal35_mm)
    if not isinstance(told, RuleScale):
        return Outcome(seed=seed, unit=unit, reason=told.reason)
    return held(seed, photo, photo.rule, photo.view, told)


def held(seed: int, photo: Photo, rule: Rule, view: View, told: RuleScale) -> Outcome:
    """Errors of a reading."""
    ends = np.vstack([told.at_px - 2 * told.along, told.at_px + 2 * told.along])
    real = 1 + rule.stretch * CLASS_II_MM / rule.length_mm
    below = replace(view, shift=view.shift + view.rotation[:, 2] * photo.height_mm)
    period = told.period_mm / told.period_px()
    scale = told.mm_per_px()
    rng = np.random.default_rng([43, seed])
    turn, aside = rng.uniform(0, 2 * np.pi), rng.uniform(-1, 1, 2) * [60, 300]
    middle = told.at_px + aside[0] * told.along + aside[1] * np.array([-told.along[1], told.along[0]])
    segment = middle + 150 * np.outer([-1, 1], [np.cos(turn), np.sin(turn)])
    length = told.length(*segment)
    true = _long(below, segment) * real
    return Outcome(
        seed=seed, unit=rule.scales[0].unit, period_error=period / (_long(view, ends) / 4) - 1,
        period_u=told.period_u, scale_error=scale.value / (_long(below, ends) / 4 * real) - 1,
        scale_u=scale.u / scale.value, length_error=length.value / true - 1, length_u=length.u / length.value,
    )  # fmt: skip


def _long(view: View, ends: Array) -> float:
    return float(np.linalg.norm(np.diff(view.to_mm(ends), axis=0)))


def false_rule(seed: int) -> str:
    """What was taken for a rule in a photo without one; empty when nothing was."""
    photo = draw_none(seed)
    told = find_rule(photo.gray, Stated())
    return f"{photo.what} as {told.unit}" if isinstance(told, RuleScale) else ""


def table(outcomes: Iterable[Outcome], false: Iterable[str]) -> str:
    """The figures, in words."""
    all_ = list(outcomes)
    read = [o for o in all_ if not o.reason]
    right = [o for o in read if not o.harmonic]
    lines = [f"rules {len(all_)}, read {len(read)} ({100 * len(read) / max(1, len(all_)):.1f} %)"]
    wrong = [f"{o.seed} ({o.unit}, {100 * o.period_error:+.0f} %)" for o in read if o.harmonic]
    lines.append(f"graduation mistaken: {len(wrong)} {' '.join(wrong)}".rstrip())
    for unit in sorted({o.unit for o in all_}):
        mine = [o for o in all_ if o.unit == unit]
        lines.append(f"  {unit:8s} {sum(not o.reason for o in mine)} of {len(mine)}")
    for what in ("period", "scale", "length") if right else ():
        error = np.array([abs(getattr(o, f"{what}_error")) for o in right])
        u = np.array([getattr(o, f"{what}_u") for o in right])
        quantiles = 100 * np.quantile(error, [0.5, 0.95, 1.0])
        lines.append(
            f"{what}: error, median, 95 % and worst {quantiles[0]:.4f} {quantiles[1]:.4f} {quantiles[2]:.4f} %; "
            f"median U95 {196 * np.median(u):.3f} %; 95 % intervals cover {100 * np.mean(error < 1.96 * u):.1f} %"
        )
    reasons = Counter(o.reason for o in all_ if o.reason)
    lines += [f"not read, {n}: {reason}" for reason, n in reasons.most_common()]
    taken = list(false)
    if taken:
        lines.append(f"photos without a rule {len(taken)}, false {sum(map(bool, taken))}")
        lines += [f"  {what}" for what in taken if what]
    return "\n".join(lines)
