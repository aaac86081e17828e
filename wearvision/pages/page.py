"""What every page shares: pictures as data, figures in words, cautions, and the template room.

Pages are self-contained strings: no file, no clock, nothing fetched. Times and names come in as text.
"""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wearvision.finding import FLAGS, Kind
from wearvision.pages.plots import plot_svg
from wearvision.quantity import K95, Measured, Quantity
from wearvision.rules import cautions

HEADINGS = {"residue": "Residual fluid", "edges": "Sharp edges", "gasket": "Old gaskets"}
CAUTIONS: tuple[tuple[str, str], ...] = tuple(
    (HEADINGS.get(c.id, c.id.capitalize()), c.line)
    for c in cautions.CAUTIONS
    if c.id in ("energy", "pressure", "residue", "edges", "lifting", "gasket")
)
"""Heading and line of what holds for every part on a bench."""
DEFERS = next(c.line for c in cautions.CAUTIONS if c.id == "defer")
UNIT_WORDS = {"mm2": "mm²", "deg": "°", "count": "", "1/m2": "per m²", "1": ""}


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """A JPEG with its size and words.

    Attributes
    ----------
    jpeg : bytes
    width_px, height_px : int
    alt : str
        What the picture shows, for a reader who cannot see it.
    caption : str
    """

    jpeg: bytes
    width_px: int
    height_px: int
    alt: str
    caption: str = ""

    @property
    def uri(self) -> str:
        """Data URI of the picture."""
        return "data:image/jpeg;base64," + base64.b64encode(self.jpeg).decode("ascii")


@dataclass(frozen=True, kw_only=True)
class FindingRow:
    """One finding as a page lists it: open figures only."""

    id: str
    kind: Kind
    figures: tuple[tuple[str, Quantity], ...] = ()
    flags: tuple[str, ...] = ()
    struck: str = ""
    by: str = ""

    @property
    def doubts(self) -> tuple[str, ...]:
        """One sentence per flag."""
        return tuple(FLAGS[flag] for flag in self.flags)


def say(quantity: Quantity) -> str:
    """A quantity in words: `3.62 ± 0.06 mm`, the half-width being that of the 95 % interval.

    The half-width is rounded up, never down: to two digits when it starts with 1 or 2, else to one
    (JCGM 100:2008, 7.2.6 allows rounding up); the value follows to the same place.
    """
    if not isinstance(quantity, Measured):
        return f"not measured: {quantity.reason}"
    unit = UNIT_WORDS.get(quantity.unit, quantity.unit)
    tail = unit if unit in ("", "°") else f" {unit}"
    if quantity.u95 <= 0:
        return f"{quantity.value:g}{tail}"
    lead = math.floor(math.log10(quantity.u95))
    digits = lead if quantity.u95 / 10.0**lead >= 3 else lead - 1
    half = math.ceil(quantity.u95 / 10.0**digits - 1e-9) * 10.0**digits
    places = max(0, -digits)
    return f"{round(quantity.value, -digits):.{places}f} ± {half:.{places}f}{tail}"


def shares(quantity: Quantity) -> tuple[tuple[str, str], ...]:
    """Named parts of a figure's uncertainty, largest first: `edge`, `± 0.05 mm`; parts below a hundredth are left out.

    Each is the half-width of the 95 % interval the figure would have from that part alone; they add up by the root
    of their squares.
    """
    if not isinstance(quantity, Measured) or not quantity.u > 0:
        return ()
    unit = UNIT_WORDS.get(quantity.unit, quantity.unit)
    parts = sorted(quantity.budget.items(), key=lambda part: -part[1])
    return tuple((plain(name), f"± {K95 * u:.2g} {unit}".strip()) for name, u in parts if u >= 0.01 * quantity.u)


def plain(name: str) -> str:
    """A name of the code as words on a page: `width_max` and `box-cover` lose their joints."""
    return name.replace("_", " ").replace("-", " ")


def lead(text: str) -> str:
    """A sentence with its first letter large."""
    return text[:1].upper() + text[1:]


def some(count: int, one: str, many: str = "") -> str:
    """`1 photo`, `3 photos`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


FORMULA = ("=", "+", "-", "@", "\t", "\r")


def cell(value: object) -> object:
    """A value for a CSV file: text that a spreadsheet would take for a formula is led by an apostrophe."""
    return f"'{value}" if isinstance(value, str) and value[:1] in FORMULA else value


def render(template: str, **values: Any) -> str:
    """A page from its template, everything escaped."""
    return _room().get_template(template).render(**values)


def qr_svg(text: str) -> Markup:
    """A QR code as inline SVG that follows the page's width."""
    import segno

    code = segno.make(text, error="m", micro=False)
    return Markup(code.svg_inline(border=4, omitsize=True, light="#fff", svgclass="qr", lineclass=None))


@lru_cache(maxsize=1)
def _room() -> Environment:
    room = Environment(
        loader=PackageLoader("wearvision.pages", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    room.filters.update(say=say, shares=shares, plain=plain, lead=lead)
    room.globals.update(some=some, defers=DEFERS, qr_svg=qr_svg, plot_svg=plot_svg)
    return room
