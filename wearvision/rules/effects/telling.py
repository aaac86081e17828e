"""From stated facts to an `Effect`: the figure at all corners of their bounds, or `Blocked` by what is missing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wearvision.errors import BadInput
from wearvision.rules.effect import AGREE, Blocked, Effect, Input
from wearvision.rules.effects.span import Span, exactly, hull, over
from wearvision.rules.gauged import Gauged

PART = Span(0.0, 1.0)
"""Bounds of an unknown share."""
EITHER_WAY = Span(-1.0, 1.0)
"""Bounds of an unknown sign and share."""


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One input as stated.

    Attributes
    ----------
    words : str
        What it is; of a clearance or gap with its kind.
    span : Span or None
        `None` when it was not stated.
    unit : str
    key : str
        Where the pump file states it, `[duty] speed`; empty when it is worked out.
    note : str
        What the amount rests on: a source, or that it was taken for want of a reading.
    waits_for : tuple of str
        What would let it be worked out, when it is itself a figure that is blocked.
    """

    words: str
    span: Span | None
    unit: str = ""
    key: str = ""
    note: str = ""
    waits_for: tuple[str, ...] = ()

    @property
    def asked(self) -> tuple[str, ...]:
        """What to state and where, with its unit: `[duty] speed: speed (rev/min)`."""
        words = f"{self.words} ({self.unit})" if self.unit else self.words
        return self.waits_for or (f"{self.key}: {words}" if self.key else words,)

    @property
    def input(self) -> Input:
        """`speed`, `2950 rev/min`, or both bounds; what was not stated says so."""
        if self.span is None:
            return Input(self.words, "not stated")
        amount = f"{between(self.span)} {self.unit}".rstrip()
        return Input(self.words, f"{amount} ({self.note})" if self.note else amount)


def number(value: float) -> str:
    """Four significant digits without a power of ten, for people."""
    rounded = float(f"{value:.4g}") + 0.0
    return f"{rounded:.0f}" if abs(rounded) >= 1000 else f"{rounded:g}"


def between(span: Span) -> str:
    """Both bounds, or the one when they print alike."""
    low, high = (number(bound) for bound in span)
    return low if low == high else f"{low} to {high}"


def fact(words: str, value: float | None, unit: str = "", key: str = "", note: str = "") -> Fact:
    """A fact without a spread of its own."""
    return Fact(words=words, span=None if value is None else exactly(value), unit=unit, key=key, note=note)


def gauged(words: str, length: Gauged | None, key: str = "") -> Fact:
    """A length from a gauge, mm, with its 95 % interval cut off at zero."""
    span = None if length is None else Span(max(0.0, length.low_mm), max(0.0, length.high_mm))
    return Fact(words=words, span=span, unit="mm", key=key)


def told_before(words: str, known: Effect | Blocked) -> Fact:
    """A figure told before, as an input of the next; blocked by the same when it is blocked."""
    if isinstance(known, Blocked):
        return Fact(words=words, span=None, waits_for=known.missing)
    return Fact(words=words, span=Span(known.low, known.high), unit=known.unit)


@dataclass(frozen=True, kw_only=True)
class Figure:
    """What is to be told: the fields of an `Effect` that do not depend on the facts."""

    name: str
    title: str
    unit: str
    route: str
    assumption: str


def lacking(facts: Sequence[Fact]) -> tuple[str, ...]:
    """What is not stated, each once."""
    return tuple(dict.fromkeys(asked for f in facts if f.span is None for asked in f.asked))


def tell(
    what: Figure, facts: Sequence[Fact], figure: Callable[..., float], *,
    spreads: Sequence[Span] = (), beside: Sequence[Fact] = (),
) -> Effect | Blocked:  # fmt: skip
    """The figure between its bounds.

    Parameters
    ----------
    what : Figure
    facts : sequence of Fact
        Handed to `figure` in this order, after the spreads.
    figure : callable
    spreads : sequence of Span
        Shares that stand for what the route does not know.
    beside : sequence of Fact
        Listed with the inputs, not handed to `figure`; never block.

    Returns
    -------
    Effect or Blocked
        Blocked by facts that are not stated, or that contradict each other: then with the question they raise.
    """
    missing = lacking(facts)
    if missing:
        return Blocked(name=what.name, title=what.title, missing=missing)
    try:
        bounds = over(figure, *spreads, *(f.span for f in facts if f.span is not None))
        return effect(what, bounds, tuple(dict.fromkeys(f.input for f in (*facts, *beside) if f.span is not None)))
    except BadInput as problem:
        question = problem.line()
    except ArithmeticError:
        question = "a figure runs out of all bounds; check units and decimal marks"
    return Blocked(name=what.name, title=what.title, missing=(f"{AGREE}{question}",))


def effect(what: Figure, bounds: Span, inputs: tuple[Input, ...]) -> Effect:
    """An `Effect` from its parts."""
    return Effect(
        name=what.name, title=what.title, low=bounds.low, high=bounds.high, unit=what.unit, route=what.route,
        inputs=inputs, assumption=what.assumption,
    )  # fmt: skip


def over_routes(what: Figure, routes: Sequence[Effect | Blocked]) -> Effect | Blocked:
    """The range that holds all routes; one blocked route is named, all blocked block it."""
    told = [r for r in routes if isinstance(r, Effect)]
    blocked = [r for r in routes if isinstance(r, Blocked)]
    if not told:
        every = tuple(dict.fromkeys(m for r in blocked for m in r.missing))
        return Blocked(name=what.name, title=what.title, missing=every)
    inputs = (*(Input(r.title, f"{between(Span(r.low, r.high))} {r.unit}") for r in told),
              *(Input(r.title, "not known") for r in blocked))  # fmt: skip
    return effect(what, hull(Span(r.low, r.high) for r in told), inputs)
