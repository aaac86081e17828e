"""Wear rate from figures at two or more inspections, and the time left to a limit.

The figures w, each normal with its own standard uncertainty u, are taken to lie on a straight line over the time
t that the part has run: for two, r = (w2 - w1) / (t2 - t1); for more, the line of least squares weighted by
1 / u^2 (JCGM 100:2008, H.3, gives the unweighted form). Where more than two scatter about the line by more than
their uncertainties, these are widened by the Birge ratio, sqrt(chi^2 / (n - 2)), never narrowed (R. T. Birge,
1932, from memory). Errors of different inspections are taken as independent; the same gauge each time shares some
of them, which makes the uncertainty of a rate rather too large than too small.

Time left is T = (limit - w) / r, counted from the last inspection, w and r those of the line; the same form as the
remaining life by thickness readings of API 510 and 570 (from memory). Its standard uncertainty is of first order;
its 95 % interval is Fieller's (E. C. Fieller, 1954, from memory): every T at which the line lies within 1.96
standard uncertainties of the limit. The interval is lopsided, later more than sooner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from wearvision.errors import BadInput
from wearvision.quantity import K95, Unmeasured
from wearvision.rules.decision import Limit

Clock = Literal["running hours", "days"]
FASTEST = 2.0
"""A rate counts when it is larger than this many of its standard uncertainties."""
OPTIMISTIC = "A straight line is optimistic: erosion speeds up as gaps open."
SPEED_EXPONENTS = (2.5, 3.0)
"""Wear by slurry goes with the flow's velocity to this power; surveys of slurry erosion, from memory."""


@dataclass(frozen=True, kw_only=True)
class Inspected:
    """The figure of one criterion at one inspection.

    Attributes
    ----------
    time : float
        Time the part had run, in the unit of the clock; finite.
    value_mm, u_mm : float
        Figure and standard uncertainty, mm; u above 0.
    """

    time: float
    value_mm: float
    u_mm: float

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.time, self.value_mm, self.u_mm))):
            raise BadInput("a wear rate needs finite figures", got=(self.time, self.value_mm, self.u_mm))
        if self.u_mm <= 0:
            raise BadInput("a figure needs a standard uncertainty above 0 mm", got=self.u_mm)


@dataclass(frozen=True, kw_only=True)
class TimeLeft:
    """Time from the last inspection to the limit, in the unit of the clock.

    Attributes
    ----------
    value, u : float
        Time and standard uncertainty, both above 0.
    low, high : float
        95 % interval; `low` is below 0 when the figure may be at its limit already.
    """

    value: float
    u: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class WearRate:
    """A straight line through the figures of two or more inspections.

    Attributes
    ----------
    count : int
        Inspections it rests on, 2 or more.
    rate, u : float
        Wear per unit of the clock towards the limit, mm, and its standard uncertainty.
    last_time : float
    last_mm : float
        The line at the last inspection.
    widened : float
        Factor, 1 or more, by which the uncertainties were widened for scatter.
    left : TimeLeft or Unmeasured
    """

    count: int
    rate: float
    u: float
    last_time: float
    last_mm: float
    widened: float
    left: TimeLeft | Unmeasured


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A line w + r (t - last time) with variances and covariance of w and r."""

    w: float
    r: float
    var_w: float
    var_r: float
    cov: float
    widened: float


def wear_rate(figures: Sequence[Inspected], limit: Limit) -> WearRate | Unmeasured:
    """Rate and time left.

    Parameters
    ----------
    figures : sequence of Inspected
        Of one criterion and one quantity, in order, under like duty.
    limit : Limit
        Wear goes up to its upper value, or down to the lower where there is no upper.

    Returns
    -------
    WearRate or Unmeasured
        No rate with fewer than two inspections, with time that does not advance, or while the rate is not
        larger than twice its standard uncertainty.
    """
    if len(figures) < 2:
        return Unmeasured(
            reason="no rate yet: it needs two or more inspections under like duty", hint="inspect it again"
        )
    times = [f.time for f in figures]
    if any(b <= a for a, b in pairwise(times)):
        return Unmeasured(
            reason="no rate: time does not advance from one inspection to the next", hint="check hours and dates"
        )
    sign = 1.0 if limit.upper_mm is not None else -1.0
    line = _fit(figures, sign)
    u = math.sqrt(line.var_r)
    if line.r <= FASTEST * u:
        return Unmeasured(
            reason="no rate yet: the change is not larger than twice its standard uncertainty",
            hint="inspect it again after more running time, or with a finer gauge",
        )
    end = limit.upper_mm if limit.upper_mm is not None else limit.lower_mm
    assert end is not None
    latest = max(line.w, sign * figures[-1].value_mm)
    return WearRate(
        count=len(figures), rate=line.r, u=u, last_time=times[-1], last_mm=sign * line.w, widened=line.widened,
        left=_left(line, sign * end, latest),
    )  # fmt: skip


def stepped_back(before: Inspected, after: Inspected, limit: Limit) -> bool:
    """Whether a figure went back from its limit by more than twice their joint standard uncertainty.

    Wear does not heal: then the part was machined, built up or exchanged in between.
    """
    sign = 1.0 if limit.upper_mm is not None else -1.0
    return sign * (before.value_mm - after.value_mm) > FASTEST * math.hypot(before.u_mm, after.u_mm)


def speed_factor(now_rpm: float, next_rpm: float) -> tuple[float, float]:
    """How many times as fast wear by slurry goes at another speed: between the two powers of `SPEED_EXPONENTS`."""
    if not (math.isfinite(now_rpm) and math.isfinite(next_rpm) and now_rpm > 0 and next_rpm > 0):
        raise BadInput("a speed is above 0 rpm", got=(now_rpm, next_rpm), do="give both speeds in rpm")
    low, high = sorted((next_rpm / now_rpm) ** m for m in SPEED_EXPONENTS)
    return low, high


def _fit(figures: Sequence[Inspected], sign: float) -> _Line:
    """Weighted least squares, time counted from the last inspection in spans of the whole."""
    last, span = figures[-1].time, figures[-1].time - figures[0].time
    weights = [1.0 / f.u_mm**2 for f in figures]
    x = [(f.time - last) / span for f in figures]
    y = [sign * f.value_mm for f in figures]
    total = math.fsum(weights)
    x_mean = math.fsum(w * a for w, a in zip(weights, x, strict=True)) / total
    y_mean = math.fsum(w * b for w, b in zip(weights, y, strict=True)) / total
    spread = math.fsum(w * (a - x_mean) ** 2 for w, a in zip(weights, x, strict=True))
    slope = math.fsum(w * (a - x_mean) * (b - y_mean) for w, a, b in zip(weights, x, y, strict=True)) / spread
    value = y_mean - slope * x_mean
    free = len(figures) - 2
    chi2 = math.fsum(w * (b - value - slope * a) ** 2 for w, a, b in zip(weights, x, y, strict=True))
    widened = max(1.0, math.sqrt(chi2 / free)) if free else 1.0
    k = widened**2
    return _Line(
        w=value, r=slope / span, var_w=k * (1 / total + x_mean**2 / spread), var_r=k / spread / span**2,
        cov=-k * x_mean / spread / span, widened=widened,
    )  # fmt: skip


def _left(line: _Line, limit: float, latest: float) -> TimeLeft | Unmeasured:
    room = limit - line.w
    if room <= 0 or latest >= limit:
        return Unmeasured(reason="the figure is at its limit or beyond it: no time is left")
    r, time = line.r, room / line.r
    var = (line.var_w + 2 * line.cov * time + line.var_r * time**2) / r**2
    a = r**2 - K95**2 * line.var_r
    b = room * r + K95**2 * line.cov
    c = room**2 - K95**2 * line.var_w
    root = math.sqrt(max(0.0, b * b - a * c))
    return TimeLeft(value=time, u=math.sqrt(var), low=(b - root) / a, high=(b + root) / a)
