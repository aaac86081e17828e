"""What every view is given to look at, and what it gives back. One function per view: `Look` in, `Seen` out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from wearvision.finding import Finding
from wearvision.measure.chart import Copies
from wearvision.measure.face import Face
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Quantity
from wearvision.stated import Stated


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """One photo with its plane.

    Attributes
    ----------
    gray : (H, W) uint8
    plane : Plane
    stated : Stated
    cards_px : tuple of (N, 2) arrays
        Outlines of what lies on the part and hides it: paper of the cards, rule; photo px.
    blur_px : float
        Standard deviation of the photo's edges, as seen on the card.
    red : (H, W) uint8 or None
        How much redder than gray each pixel is, where a red line of light is looked for; or smaller by a whole number.
    limit_mm : float
        Smallest limit the view is held against.
    colour : (h, w, 3) uint8 or None
        The photo in colour, red first, of any size; where a view looks at colour.
    copies : Copies or None
        Smaller copies of the photo, where it has some.
    lights : iterable of (H, W) uint8
        The photo in red and in blue light, made when it is gone through, for a view whose greys do not tell.
    """

    gray: Image
    plane: Plane
    stated: Stated
    cards_px: tuple[Array, ...] = ()
    blur_px: float = 0.8
    limit_mm: float = 0.8
    red: Image | None = None
    colour: Image | None = None
    copies: Copies | None = None
    lights: Iterable[Image] = ()

    def in_other_light(self) -> Iterator[Look]:
        """The same photo with the greys of red light, and of blue."""
        for light in self.lights:
            yield replace(self, gray=light, copies=Copies(light))


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What a view shows.

    Attributes
    ----------
    findings : tuple of Finding
    summary : mapping of str to Quantity
        Figures of the whole view.
    not_assessed : tuple of (what, why)
    circles_px : tuple of (N, 2) arrays
        Closed lines worth drawing: edges of the face, of the land.
    face : Face or None
        Where the view has one; marks of persons are measured on it.
    """

    findings: tuple[Finding, ...] = ()
    summary: Mapping[str, Quantity] = field(default_factory=dict)
    not_assessed: tuple[tuple[str, str], ...] = ()
    circles_px: tuple[Array, ...] = ()
    face: Face | None = None
