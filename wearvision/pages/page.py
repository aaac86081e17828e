"""What every page shares: pictures as data, figures in words, cautions, and the template room.

Pages are self-contained strings: no file, no clock, nothing fetched. Times and names come in as text.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wearvision.finding import FLAGS, Kind
from wearvision.pages.plots import plot_svg
from wearvision.quantity import K95, Measured, Quantity, Unmeasured
from wearvision.rules import cautions
from wearvision.rules.cautions import Caution

HEADINGS = {"residue": "Residual fluid", "edges": "Sharp edges", "gasket": "Old gaskets"}
ON_THE_BENCH = ("energy", "pressure", "residue", "edges", "lifting", "gasket", "laser")


def bench_lines(some: Iterable[Caution]) -> tuple[tuple[str, str], ...]:
    """Heading and line of those cautions that matter on a bench."""
    return tuple((HEADINGS.get(c.id, c.id.capitalize()), c.line) for c in some if c.id in ON_THE_BENCH)


CAUTIONS = bench_lines(c for c in cautions.CAUTIONS if not c.views)
"""Heading and line of what may hold for any part on a bench."""
DEFERS = next(c.line for c in cautions.CAUTIONS if c.id == "defer")
UNIT_WORDS = {"mm2": "mm²", "deg": "°", "count": "", "1/m2": "per m²", "1": ""}
SIGNED = frozenset({"tip_shift", "bend_angle", "shortening"})
"""Figures that may lie on either side of nought; every other one is a size."""


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
    """One finding as a page lists it: open figures only; `photo` is named where there are several."""

    id: str
    kind: Kind
    photo: str = ""
    figures: tuple[tuple[str, Quantity], ...] = ()
    flags: tuple[str, ...] = ()
    struck: str = ""
    by: str = ""

    @property
    def doubts(self) -> tuple[str, ...]:
        """One sentence per flag."""
        return tuple(FLAGS[flag] for flag in self.flags)

    @property
    def told(self) -> tuple[tuple[str, str], ...]:
        """Name and figure in words, of those that were measured."""
        return tuple((plain(name), say(q, signed=name in SIGNED)) for name, q in self.figures if q)

    @property
    def untold(self) -> tuple[tuple[str, str], ...]:
        """Name and reason of those that were not."""
        return tuple((plain(name), q.reason) for name, q in self.figures if isinstance(q, Unmeasured))

    @property
    def place(self) -> str:
        """The finding and its photo: `G1 on face_a`."""
        return f"{self.id} on {self.photo}" if self.photo else self.id


def say(quantity: Quantity, *, signed: bool = False) -> str:
    """A quantity in words: `3.62 ± 0.06 mm`, the half-width being that of the 95 % interval.

    The half-width is rounded up, never down: to two digits when it starts with 1 or 2, else to one
    (JCGM 100:2008, 7.2.6 allows rounding up); the value follows to the same place. A size whose interval reaches
    nought has only an upper end, `up to 4.5 mm`, unless it is one that may be negative (`signed`).
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
    value = round(quantity.value, -digits) + 0.0  # no nought with a minus sign
    places = max(0, -digits)
    if only_below(quantity) and not signed:
        most = math.ceil((quantity.value + quantity.u95) / 10.0**digits - 1e-9) * 10.0**digits
        return f"up to {most:.{places}f}{tail}"
    return f"{value:.{places}f} ± {half:.{places}f}{tail}"


def only_below(size: Measured) -> bool:
    """Whether a size is known only from above: its 95 % interval reaches nought."""
    return 0 <= size.value <= size.u95


def moment(text: str) -> str:
    """An ISO date and time as pages print it, `2026-03-02 14:05 UTC`; any other text as it is."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text
    zone = "" if at.tzinfo is None else " UTC" if not at.utcoffset() else f" {at.isoformat()[-6:]}"
    return f"{at:%Y-%m-%d %H:%M}{zone}"


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
    """A name of the code as words on a page: `width_max` and `box-cover` lose their joints, `_mm` becomes a unit."""
    body = name.removesuffix("_mm")
    return body.replace("_", " ").replace("-", " ") + ("" if body == name else ", mm")


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
    room.filters.update(say=say, shares=shares, plain=plain, lead=lead, moment=moment)
    room.globals.update(some=some, defers=DEFERS, qr_svg=qr_svg, plot_svg=plot_svg)
    return room
