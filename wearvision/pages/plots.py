"""A figure over time with its intervals, the limit and the line towards it: laid out once, drawn thrice.

`layout` turns a `Plot` into strokes, dots and words; `plot_svg` writes them into a page, `plots_pdf` on paper and
`plots_text` at a terminal. Nothing is told by colour alone: the limit is dashed and named, what does not count is
hollow, the line ahead is dotted. Blue and vermilion are told apart by every kind of colour vision (the palette of
M. Okabe and K. Ito, 2008, from memory; the vermilion here is darker, for contrast on white).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup, escape

from wearvision.errors import BadInput

Ink = Literal["ink", "soft", "rule", "accent", "limit", "sheet"]
WIDTH, HEIGHT = 460.0, 270.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 14.0, 26.0, 42.0
SIZE = 11.5
CAP = 3.5
REACH = 6.0
"""The plot reaches ahead by at most this many times the time seen so far."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One figure: place, half-width of its 95 % interval, and whether the line rests on it."""

    x: float
    y: float
    half: float
    counted: bool = True


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """The line's way to the limit: from its last point to where they meet, and the 95 % interval of that place."""

    x: float
    y: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Plot:
    """What is drawn.

    Attributes
    ----------
    alt : str
        The plot in words, for a reader who cannot see it.
    x_name, y_name : str
        Names of the axes with their units.
    marks : tuple of Mark
        One or more, in the order of x.
    limits : tuple of (y, words)
    line : tuple of (x, y) or None
        Two ends of the fitted line.
    ahead : Ahead or None
    """

    alt: str
    x_name: str
    y_name: str
    marks: tuple[Mark, ...]
    limits: tuple[tuple[float, str], ...] = ()
    line: tuple[tuple[float, float], tuple[float, float]] | None = None
    ahead: Ahead | None = None

    def __post_init__(self) -> None:
        if not self.marks:
            raise BadInput("a plot needs a figure to draw", got=self.alt)

    @property
    def x_range(self) -> tuple[float, float]:
        """From the first figure to the last, or ahead as far as `REACH` allows, with a little room."""
        first, last = self.marks[0].x, self.marks[-1].x
        span = last - first or max(abs(last), 1.0) * 0.5
        end = min(self.ahead.high, last + REACH * span) if self.ahead else last
        room = 0.07 * (end - first or span)
        return max(0.0, first - room) if first >= 0 else first - room, end + 1.7 * room

    @property
    def y_range(self) -> tuple[float, float]:
        """From nought to a little above the highest of figures and limits."""
        highs = [m.y + m.half for m in self.marks] + [y for y, _ in self.limits]
        lows = [m.y - m.half for m in self.marks]
        return min(0.0, *lows), max(*highs, 1e-6) * 1.12


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A straight line in drawing units, y down."""

    x1: float
    y1: float
    x2: float
    y2: float
    ink: Ink
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A round mark; a hollow one is filled with the ground."""

    x: float
    y: float
    r: float
    ink: Ink
    hollow: bool = False


@dataclass(frozen=True, kw_only=True)
class Words:
    """A line of text on its base line."""

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"] = "start"
    ink: Ink = "soft"
    bold: bool = False


Shape = Stroke | Dot | Words


def ticks(low: float, high: float, count: int = 5) -> tuple[float, ...]:
    """Round places (steps of 1, 2 or 5 times a power of ten) from `low` to `high`, about `count` of them."""
    raw = (high - low) / count
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(k * power for k in (1, 2, 5, 10) if k * power >= raw * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple(n * step for n in range(first, last + 1))


def tick_words(values: tuple[float, ...]) -> tuple[str, ...]:
    """Tick values to the same number of places; thousands set apart by a thin space."""
    step = values[1] - values[0] if len(values) > 1 else max(abs(values[0]), 1.0)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return tuple(f"{v:,.{places}f}".replace(",", "\u2009") for v in values)


@dataclass(frozen=True, kw_only=True)
class _Field:
    """From figures to drawing units."""

    x0: float
    x1: float
    y0: float
    y1: float

    def x(self, value: float) -> float:
        return LEFT + (value - self.x0) / (self.x1 - self.x0) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - (value - self.y0) / (self.y1 - self.y0) * (HEIGHT - TOP - BOTTOM)


def layout(plot: Plot) -> tuple[Shape, ...]:
    """Shapes of a plot, `WIDTH` by `HEIGHT`, back to front."""
    (x0, x1), (y0, y1) = plot.x_range, plot.y_range
    field = _Field(x0=x0, x1=x1, y0=y0, y1=y1)
    return (*_axes(plot, field), *_limits(plot, field), *_line(plot, field), *_marks(plot, field))


def _axes(plot: Plot, field: _Field) -> Iterator[Shape]:
    left, right, floor = LEFT, WIDTH - RIGHT, HEIGHT - BOTTOM
    values = ticks(field.y0, field.y1)
    for value, words in zip(values, tick_words(values), strict=True):
        y = field.y(value)
        yield Stroke(x1=left, y1=y, x2=right, y2=y, ink="rule", width=0.7)
        yield Words(x=left - 7, y=y + 0.35 * SIZE, text=words, anchor="end")
    yield Stroke(x1=left, y1=floor, x2=right, y2=floor, ink="ink")
    values = ticks(field.x0, field.x1)
    for value, words in zip(values, tick_words(values), strict=True):
        x = field.x(value)
        yield Stroke(x1=x, y1=floor, x2=x, y2=floor + 4, ink="ink")
        yield Words(x=x, y=floor + 7 + SIZE, text=words, anchor="middle")
    yield Words(x=right, y=HEIGHT - 5, text=plot.x_name, anchor="end", ink="ink")
    yield Words(x=0, y=SIZE, text=plot.y_name, ink="ink")


def _limits(plot: Plot, field: _Field) -> Iterator[Shape]:
    for value, words in plot.limits:
        y = field.y(value)
        yield Stroke(x1=LEFT, y1=y, x2=WIDTH - RIGHT, y2=y, ink="limit", width=1.6, dash=(7, 4))
        if value >= plot.marks[-1].y:  # named on the side away from the figures
            yield Words(x=LEFT + 4, y=y - 5, text=words, ink="limit", bold=True)
        else:
            yield Words(x=WIDTH - RIGHT, y=y + SIZE + 2, text=words, anchor="end", ink="limit", bold=True)


def _line(plot: Plot, field: _Field) -> Iterator[Shape]:
    if plot.line is None:
        return
    (xa, ya), (xb, yb) = plot.line
    yield Stroke(x1=field.x(xa), y1=field.y(ya), x2=field.x(xb), y2=field.y(yb), ink="accent", width=1.8)
    ahead = plot.ahead
    if ahead is None:
        return
    share = min(1.0, (field.x1 - xb) / (ahead.x - xb))
    yield Stroke(
        x1=field.x(xb), y1=field.y(yb), x2=field.x(xb + share * (ahead.x - xb)),
        y2=field.y(yb + share * (ahead.y - yb)), ink="accent", width=1.8, dash=(1.8, 3.6),
    )  # fmt: skip
    y, low, high = field.y(ahead.y), field.x(max(ahead.low, field.x0)), field.x(min(ahead.high, field.x1))
    if low >= high:
        return
    yield Stroke(x1=low, y1=y, x2=high, y2=y, ink="accent", width=3.4)
    for x, inside in ((low, ahead.low >= field.x0), (high, ahead.high <= field.x1)):
        if inside:
            yield Stroke(x1=x, y1=y - 5, x2=x, y2=y + 5, ink="accent", width=1.8)


def _marks(plot: Plot, field: _Field) -> Iterator[Shape]:
    for number, mark in enumerate(plot.marks):
        x, y = field.x(mark.x), field.y(mark.y)
        top, foot = field.y(mark.y + mark.half), field.y(mark.y - mark.half)
        yield Stroke(x1=x, y1=top, x2=x, y2=foot, ink="ink", width=1.4)
        for end in (top, foot):
            yield Stroke(x1=x - CAP, y1=end, x2=x + CAP, y2=end, ink="ink", width=1.4)
        yield Dot(x=x, y=y, r=3.2, ink="ink", hollow=not mark.counted)
        text = f"{mark.y:.2f}"
        if number % 2 == 0:  # by turns, so that near figures do not write over each other
            yield Words(x=x + 7, y=y + SIZE + 1, text=text, ink="ink", bold=True)
        else:
            yield Words(x=x - 7, y=y - 6, text=text, anchor="end", ink="ink", bold=True)


INKS: dict[Ink, str] = {
    "ink": "#14181b", "soft": "#545d63", "rule": "#c6cccb", "accent": "#1c3fbf", "limit": "#b3430a",
    "sheet": "#fbfcfb",
}  # fmt: skip
"""Colours on paper and where a page says nothing else; a page's own custom properties of these names win."""


def plot_svg(plot: Plot) -> Markup:
    """The plot as inline SVG that follows the page's width and its colours, light or dark."""
    body = "".join(_svg(shape) for shape in layout(plot))
    return Markup(
        f'<svg class="plot" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(plot.alt)}"'
        f' font-size="{SIZE:g}">{body}</svg>'
    )


def _svg(shape: Shape) -> str:
    colour = f"var(--{shape.ink}, {INKS[shape.ink]})"
    if isinstance(shape, Stroke):
        dash = f";stroke-dasharray:{' '.join(f'{d:g}' for d in shape.dash)}" if shape.dash else ""
        return (
            f'<line x1="{shape.x1:.1f}" y1="{shape.y1:.1f}" x2="{shape.x2:.1f}" y2="{shape.y2:.1f}"'
            f' style="stroke:{colour};stroke-width:{shape.width:g}{dash}"/>'
        )
    if isinstance(shape, Dot):
        fill = f"var(--sheet, {INKS['sheet']})" if shape.hollow else colour
        return (
            f'<circle cx="{shape.x:.1f}" cy="{shape.y:.1f}" r="{shape.r:g}"'
            f' style="fill:{fill};stroke:{colour};stroke-width:1.6"/>'
        )
    weight = ";font-weight:650" if shape.bold else ""
    return (
        f'<text x="{shape.x:.1f}" y="{shape.y:.1f}" text-anchor="{shape.anchor}"'
        f' style="fill:{colour}{weight}">{escape(shape.text)}</text>'
    )
