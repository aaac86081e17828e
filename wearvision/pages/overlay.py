"""Findings, gauge points and scale drawn on a photo: pictures for people, no measuring.

Arrays in, arrays out. Marks are given in photo pixels and drawn on a display-size copy; the colours are
those of Okabe and Ito (Color Universal Design, 2008), lightened where they would drown in rust, and each
line carries a dark halo so that it reads on bright steel too. Words stand beside the metal, not on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearvision.errors import BadInput
from wearvision.finding import Finding, Kind
from wearvision.pages.overlay_ink import Ink, Pixels, Tag, edges_outside
from wearvision.pages.overlay_places import Places

Points = NDArray[np.float64]
SKY, YELLOW, ORANGE, GREEN, PURPLE, RED, BLUE = (
    (86, 180, 233), (240, 228, 66), (240, 170, 20), (40, 200, 150), (226, 150, 192), (245, 125, 60), (110, 165, 255),
)  # fmt: skip
COLOURS: Mapping[Kind, tuple[int, int, int]] = {
    "groove": SKY, "pit": YELLOW, "crack": PURPLE, "rub": GREEN, "gasket-land": BLUE, "notch": ORANGE,
    "washout": RED, "vane-edge": ORANGE, "vane-section": SKY, "vane": GREEN, "depth-section": PURPLE,
}  # fmt: skip
STRUCK, WHITE = (186, 186, 186), (255, 255, 255)
BAR_STEPS_MM = (1, 2, 5, 10, 20, 50, 100)
MAX_LABELS = 12


@dataclass(frozen=True, kw_only=True)
class GaugePoint:
    """A numbered place to put the gauge, photo px."""

    number: int
    x_px: float
    y_px: float


@dataclass(frozen=True, kw_only=True, eq=False)
class OverlayModel:
    """What to draw, in photo pixels, and how the photo maps to the display.

    Attributes
    ----------
    scale : float
        Display pixels per photo pixel.
    origin_px : (x, y)
        Photo pixel at the top-left of the display image; (0, 0) unless it is a crop.
    findings : tuple of Finding
        `faint` ones are dashed, struck ones grey.
    labels : mapping of finding id to str
        Words beside a mark, after its id; `None` labels all with their ids alone. Of many, the `MAX_LABELS`
        largest in view get theirs.
    points : tuple of GaugePoint
    circles_px : tuple of (N, 2) arrays
        Face circles as closed outlines, outermost first; drawn dotted.
    siblings_px : tuple of (N, 2) arrays
        Where vanes that differ would stand if they were like their siblings; drawn dotted.
    card_px : (N, 2) array or None
        Outline of the card.
    mm_per_px : float or None
        Scale at the part, mm per photo px; no bar without it.
    """

    scale: float
    origin_px: tuple[float, float] = (0.0, 0.0)
    findings: tuple[Finding, ...] = ()
    labels: Mapping[str, str] | None = None
    points: tuple[GaugePoint, ...] = ()
    circles_px: tuple[Points, ...] = field(default=())
    siblings_px: tuple[Points, ...] = field(default=())
    card_px: Points | None = None
    mm_per_px: float | None = None

    def __post_init__(self) -> None:
        if not (np.isfinite(self.scale) and self.scale > 0):
            raise BadInput("the display scale must be greater than 0", got=self.scale)

    def to_display(self, points_px: Points) -> Points:
        """Photo pixels (N, 2) to display pixels (N, 2); integers are pixel centres in both."""
        points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
        return np.asarray((points - np.asarray(self.origin_px) + 0.5) * self.scale - 0.5)


def draw(rgb: Pixels, marks: OverlayModel, *, legend: bool = True, text: float = 1.0) -> Pixels:
    """The display image with its marks, and a legend strip below it or a scale bar in a corner.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
        Display-size colour image; left as it is.
    marks : OverlayModel
    legend : bool
        Whether to add the strip with colours, counts and scale bar, which makes the picture taller.
        Without it the scale bar lies in the freest corner.
    text : float
        Size of letters, numbers and rings against the usual; more for pictures that will be shown small.

    Returns
    -------
    (H or more, W, 3) uint8 array

    Raises
    ------
    BadInput
        When the image is not uint8 colour.
    """
    if rgb.dtype != np.uint8 or rgb.ndim != 3 or rgb.shape[2] != 3:
        raise BadInput("the overlay needs an 8-bit colour image", got=f"{rgb.dtype} {rgb.shape}")
    ink = Ink(rgb, text=text)
    places = Places(ink.size)
    for ring in marks.circles_px:
        ink.dotted(marks.to_display(ring), WHITE)
    places.face([marks.to_display(ring) for ring in marks.circles_px])
    if marks.card_px is not None:
        card = marks.to_display(marks.card_px)
        ink.line(card, WHITE, width=0.6)
        places.avoid(card, cost=6.0)
    _outlines(ink, places, marks)
    for ghost in marks.siblings_px:
        ink.dotted(marks.to_display(ghost), WHITE)
    _keep_spots(ink, places, marks)
    bar = scale_bar(marks, ink.size[1])
    if bar and not legend:
        ink.bar_box(places.corner(ink.bar_size(bar)), bar)
    _gauge_points(ink, places, marks)
    _labels(ink, places, marks)
    done = ink.finish()
    return np.vstack([done, ink.strip(legend_entries(_in_view(marks, ink.size)), bar)]) if legend else done


def _outlines(ink: Ink, places: Places, marks: OverlayModel) -> None:
    """Each outline a hair outside its edge, so that the edge itself stays visible."""
    for finding in sorted(marks.findings, key=lambda f: not f.struck):
        for outline in edges_outside(marks.to_display(finding.outline_px), ink.stroke * 1.2):
            places.avoid(outline, cost=8.0)
            if finding.struck:
                ink.line(outline, STRUCK)
            elif "faint" in finding.flags:
                ink.dashed(outline, COLOURS[finding.kind])
            else:
                ink.line(outline, COLOURS[finding.kind])


def _spots(ink: Ink, marks: OverlayModel) -> list[tuple[int, Points]]:
    """Number and display place of each gauge point in view."""
    spots = marks.to_display(np.array([[p.x_px, p.y_px] for p in marks.points]))
    return [(p.number, s) for p, s in zip(marks.points, spots, strict=True) if len(_inside(s[None], ink.size))]


def _keep_spots(ink: Ink, places: Places, marks: OverlayModel) -> None:
    for _, spot in _spots(ink, marks):
        places.keep_clear(spot, ink.ring * 2.2)


def _gauge_points(ink: Ink, places: Places, marks: OverlayModel) -> None:
    """A ring round each spot, its number on a disc beside it, a leader between them."""
    side = 2 * ink.badge + 4
    for number, spot in _spots(ink, marks):
        at = places.take((side, side), spot[None], nearest=ink.ring + ink.badge * 1.5)
        ink.leader(at, spot, stop_short=ink.ring)
        places.led(at, spot)
        ink.circle(spot, ink.ring)
        ink.badges.append((at, str(number)))


def _labels(ink: Ink, places: Places, marks: OverlayModel) -> None:
    seen = [f for f in _in_view(marks, ink.size).findings if not f.struck]
    labels = marks.labels if marks.labels is not None else {f.id: "" for f in seen}
    largest = sorted((f for f in seen if f.id in labels), key=lambda f: -float(np.prod(np.ptp(f.outline_px, axis=0))))
    for finding in largest[:MAX_LABELS]:
        tag = Tag(f"{finding.id}  {labels[finding.id]}".strip(), COLOURS[finding.kind])
        outline = _inside(marks.to_display(finding.outline_px), ink.size)
        at = places.take(ink.tag_size(tag), outline, nearest=ink.badge)
        foot = outline[np.argmin(np.sum((outline - at) ** 2, axis=1))]
        ink.leader(at, foot, stop_short=0.0, colour=COLOURS[finding.kind])
        places.led(at, foot)
        ink.tags.append((at, tag))


def _inside(points: Points, size: tuple[int, int]) -> Points:
    height, width = size
    seen = (points >= 0).all(axis=1) & (points <= [width - 1, height - 1]).all(axis=1)
    return points[seen]


def _in_view(marks: OverlayModel, size: tuple[int, int]) -> OverlayModel:
    """The marks without those that lie wholly outside the picture."""

    def seen(points: Points) -> bool:
        return len(_inside(marks.to_display(points), size)) > 0

    return replace(
        marks, findings=tuple(f for f in marks.findings if seen(f.outline_px)),
        circles_px=tuple(c for c in marks.circles_px if seen(c)),
        siblings_px=tuple(c for c in marks.siblings_px if seen(c)),
        points=tuple(p for p in marks.points if seen(np.array([[p.x_px, p.y_px]]))),
    )  # fmt: skip


def legend_entries(marks: OverlayModel) -> list[tuple[str, tuple[int, int, int], str]]:
    """What the legend lists: (words, colour, style), style one of `line`, `dash`, `dot`, `ring`."""
    entries: list[tuple[str, tuple[int, int, int], str]] = []
    standing = [f for f in marks.findings if not f.struck]
    for kind in dict.fromkeys(f.kind for f in standing):
        ids = [f.id for f in standing if f.kind == kind]
        words = kind.replace("-", " ")
        entries.append((f"{words} {ids[0]}" if len(ids) == 1 else f"{words} ({len(ids)})", COLOURS[kind], "line"))
    if any("faint" in f.flags for f in standing):
        entries.append(("faint: look closely", STRUCK, "dash"))
    if len(standing) < len(marks.findings):
        entries.append(("struck by a person", STRUCK, "line"))
    if marks.points:
        entries.append(("gauge here", WHITE, "ring"))
    if marks.circles_px:
        edges = any(f.kind in ("washout", "gasket-land", "notch") for f in standing)
        entries.append(("as it was, sound" if edges else "face", STRUCK, "dot"))
    if marks.siblings_px:
        entries.append(("as its siblings", STRUCK, "dot"))
    return entries


def scale_bar(marks: OverlayModel, width_px: int) -> tuple[str, float] | None:
    """Words and display length in px of the longest bar under a quarter of the width; `None` without scale."""
    if marks.mm_per_px is None or marks.mm_per_px <= 0:
        return None
    px_per_mm = marks.scale / marks.mm_per_px
    fitting = [mm for mm in BAR_STEPS_MM if mm * px_per_mm <= width_px / 4]
    return (f"{fitting[-1]} mm", fitting[-1] * px_per_mm) if fitting else None


def crop_at_point(
    rgb: Pixels, marks: OverlayModel, number: int, *, side_mm: float = 40.0, width_px: int = 720, text: float = 1.7
) -> Pixels:
    """A square close-up of `side_mm` around one gauge point; a fifth of the picture where no scale is known."""
    found = [p for p in marks.points if p.number == number]
    if not found:
        raise BadInput("no such gauge point on this photo", got=number)
    centre = marks.to_display(np.array([[found[0].x_px, found[0].y_px]]))[0]
    side = side_mm * marks.scale / marks.mm_per_px if marks.mm_per_px else rgb.shape[1] / 5
    return _crop(rgb, marks, centre, side, width_px, text)


def _crop(rgb: Pixels, marks: OverlayModel, centre: Points, side: float, width_px: int, text: float) -> Pixels:
    """A square of `side` display px around `centre`, moved inside the picture, drawn at `width_px`."""
    height, width = rgb.shape[:2]
    side = max(1, int(min(max(side, width_px / 4), width, height)))
    x0 = int(np.clip(centre[0] - side / 2, 0, width - side))
    y0 = int(np.clip(centre[1] - side / 2, 0, height - side))
    zoom = width_px / side
    cut = np.ascontiguousarray(rgb[y0 : y0 + side, x0 : x0 + side])
    method = cv2.INTER_CUBIC if zoom > 1 else cv2.INTER_AREA
    bigger = np.asarray(cv2.resize(cut, (width_px, width_px), interpolation=method), dtype=np.uint8)
    origin = (marks.origin_px[0] + x0 / marks.scale, marks.origin_px[1] + y0 / marks.scale)
    return draw(bigger, replace(marks, scale=marks.scale * zoom, origin_px=origin), legend=False, text=text)


def jpeg(rgb: Pixels, quality: int = 84) -> bytes:
    """JPEG bytes of an (H, W, 3) uint8 image, without any metadata."""
    out = BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
