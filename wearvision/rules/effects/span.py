"""Two bounds that travel together, and the spread of a sum over bounds.

Interval arithmetic at the corners: exact wherever the sum rises or falls steadily in each of its inputs, which the
tests of each sum hold. Bounds of one input that enters twice are varied together, so nothing is counted twice.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

from wearvision.errors import BadInput

G_M_S2 = 9.80665
"""Standard gravity (ISO 80000-3, exact by convention)."""


class Span(NamedTuple):
    """Lower and upper bound of one figure, same unit."""

    low: float
    high: float


def exactly(value: float) -> Span:
    """A figure without a spread of its own."""
    return Span(value, value)


def around(value: float, u95: float = 0.0, *, floor: float = -math.inf) -> Span:
    """Value plus and minus its 95 % half-width, cut off at a physical floor."""
    return Span(max(floor, value - u95), max(floor, value + u95))


def over(figure: Callable[..., float], *spans: Span) -> Span:
    """Least and largest value of a figure at all corners of its inputs' bounds."""
    values = [figure(*corner) for corner in itertools.product(*({*span} for span in spans))]
    return Span(min(values), max(values))


def hull(spans: Iterable[Span]) -> Span:
    """The smallest span that holds them all; at least one is needed."""
    every = list(spans)
    return Span(min(s.low for s in every), max(s.high for s in every))


def positive(what: str, value: float) -> float:
    """The value, when finite and above zero; else `BadInput` with its name."""
    if not (math.isfinite(value) and value > 0):
        raise BadInput(f"{what} must be above zero", got=value, do="check the figure, its unit and its sign")
    return value


def not_negative(what: str, value: float) -> float:
    """The value, when finite and not below zero; else `BadInput` with its name."""
    if not (math.isfinite(value) and value >= 0):
        raise BadInput(f"{what} must not be negative", got=value, do="check the figure, its unit and its sign")
    return value
