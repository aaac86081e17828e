"""What one photo says: scale, doubts about the photo, findings. The image half in one call."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.board import BoardSpec
from wearvision.measure.chart import Copies
from wearvision.measure.face import Face
from wearvision.measure.known import known_plane
from wearvision.measure.label import with_label
from wearvision.measure.lens import Lens
from wearvision.measure.look import Look, Seen
from wearvision.measure.mark import Mark
from wearvision.measure.marks import apply_marks
from wearvision.measure.plane import Array, Plane
from wearvision.measure.pose import from_stated_scale, solve
from wearvision.measure.prior import PrintCheck
from wearvision.measure.quality import gates
from wearvision.measure.retake import Retake
from wearvision.measure.rule.find import NONE as NO_RULE
from wearvision.measure.rule.find import find_rule
from wearvision.measure.rule.result import RuleScale
from wearvision.measure.scale import Sighting, apply, default_specs, find_boards
from wearvision.measure.unwrap import Image, in_frame
from wearvision.measure.views import gasket_land, line_light, tongue, vane_edge, vanes, wear_face
from wearvision.measure.views.wear_face import totals
from wearvision.quantity import Quantity, Unmeasured
from wearvision.stated import Stated, View

LIMIT_MM = 0.8
"""Smallest limit a view is held against when the rubric names none: 1/32 in."""
NO_FINDER = "a picture into a bore shows no plane to measure in: gauge it, and mark by hand what is seen"
NO_SCALE = Unmeasured(reason="no scale", hint="lay a printed card flat beside the part")
NO_VIEW = "what the photo shows is not stated"
CRACKS = ("cracks", "none can be ruled out from a photo: a penetrant test tells")
ONE_RULE = (
    "lengths across the rule",
    "one rule shows its scale along itself only; across it the intervals carry the foreshortening that may be",
)
DEPTH = ("depth", "a photo shows where and how wide; the gauge says how deep")
USUAL_BLUR_PX = 0.8
VIEWS: Mapping[View, Callable[[Look], Seen]] = {
    "tongue": tongue.see,
    "wear-face": wear_face.see, "gasket-land": gasket_land.see, "vane-edge": vane_edge.see,
    "line-light": line_light.see, "vane-front": vanes.see, "vane-back": vanes.see,
}  # fmt: skip
"""What looks at each view; a view without a line is marked by hand only."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Survey:
    """One photo, measured.

    Attributes
    ----------
    plane : Plane or Unmeasured
    retake : tuple of Retake
        Empty when the photo is usable.
    findings : tuple of Finding
    summary : dict of str to Quantity
        `face_area`, `face_inner_radius`, `face_outer_radius`, `groove_share`, ...
    not_assessed : tuple of (what, why)
    at_px : (2,) array or None
        Where the scale is told: the face's centre, or of what is seen of it.
    mm_per_px : Quantity
        Scale there.
    circles_px : tuple of (N, 2) arrays
        Outer and inner edge of the face as closed lines, outer first; empty without a face.
    card_px : (4, 2) array or None
        Corners of the card's squares.
    sighting : Sighting or None
        The card the scale came from.
    face : Face or None
    rule : RuleScale or None
        The steel rule the scale came from.
    """

    plane: Plane | Unmeasured
    retake: tuple[Retake, ...] = ()
    findings: tuple[Finding, ...] = ()
    summary: dict[str, Quantity]
    not_assessed: tuple[tuple[str, str], ...] = ()
    at_px: Array | None = None
    mm_per_px: Quantity = NO_SCALE
    circles_px: tuple[Array, ...] = ()
    card_px: Array | None = None
    sighting: Sighting | None = None
    face: Face | None = None
    rule: RuleScale | None = None

    @property
    def usable(self) -> bool:
        """Whether no gate asks for a retake."""
        return not self.retake


def survey(
    gray: Image,
    stated: Stated,
    *,
    focal35_mm: float | None = None,
    specs: Sequence[BoardSpec] | None = None,
    sightings: Sequence[Sighting] | None = None,
    checks: Sequence[PrintCheck | None] | None = None,
    lens: Lens | None = None,
    marks: Sequence[Mark] = (),
    limit_mm: float = LIMIT_MM,
    red: Image | None = None,
    colour: Image | None = None,
    copies: Copies | None = None,
    lights: Iterable[Image] = (),
) -> Survey:
    """Measure one photo for its stated view.

    Parameters
    ----------
    gray : (H, W) uint8
        EXIF orientation applied.
    focal35_mm : 35 mm film focal length of EXIF; a prior, never a scale
    specs : boards that may lie in the photo; the five standard cards when left out
    sightings : boards already found there, best first; then none are sought
    checks : what is kept of each board's own check bars, in the order of the sightings
    lens : a calibration of this camera, in the photo's frame
    marks : what persons added, reshaped or struck
    limit_mm : smallest limit this view is held against
    red : how much redder than gray each pixel is, for a red line of light
    colour : (h, w, 3) the photo in colour, red first, of any size, for views that look at colour
    copies : smaller copies of the photo, where boards were sought on them already
    lights : the photo in red and in blue light, for views whose greys do not tell

    Raises
    ------
    BadInput
        For an image that is not 8-bit gray, boards that share ids, or a mark on a finding that is not there.
    """
    if sightings is None:
        sightings = find_boards(gray, default_specs() if specs is None else specs, copies)
    asked = stated.scale_from
    use_rule = asked == "rule" or (asked is None and not sightings)
    rule = find_rule(gray, stated, focal35_mm=focal35_mm, lens=lens) if use_rule else None
    plane = rule.plane if isinstance(rule, RuleScale) else _plane(
        gray, sightings, stated, focal35_mm, rule, checks, lens
    )
    sighting = sightings[0] if sightings else None
    cards = tuple(card_outline(s) for s in sightings) + ((rule.band_px,) if isinstance(rule, RuleScale) else ())
    seen = _look(gray, plane, stated, sighting, cards, limit_mm, red, colour, copies, lights)
    found, circles = seen.findings, seen.circles_px
    if isinstance(plane, Plane):
        lands = circles if stated.view == "gasket-land" else ()
        found = apply_marks(found, marks, plane, seen.face, gray, lands)
    missing = (*seen.not_assessed, *((ONE_RULE,) if isinstance(rule, RuleScale) else ()))
    if isinstance(plane, Plane):
        missing = (*missing, *plane.doubts)
    at = _at(plane, circles)
    return Survey(
        plane=plane, findings=found, not_assessed=missing,
        summary={**seen.summary, **(totals(seen.face, found) if seen.face is not None else {})},
        retake=gates(
            gray, sighting if asked in (None, "card") else None, plane, stated,
            face_px=circles[0] if circles else None, limit_mm=limit_mm, focal35_mm=focal35_mm,
        ),
        at_px=at, mm_per_px=plane.mm_per_px(at) if isinstance(plane, Plane) and at is not None else NO_SCALE,
        circles_px=circles, card_px=_squares(sighting), sighting=sighting,
        face=seen.face, rule=rule if isinstance(rule, RuleScale) else None,
    )  # fmt: skip


def _plane(
    gray: Image, sightings: Sequence[Sighting], stated: Stated, focal35_mm: float | None,
    rule: RuleScale | Unmeasured | None, checks: Sequence[PrintCheck | None] | None, lens: Lens | None,
) -> Plane | Unmeasured:  # fmt: skip
    """Plane of the cards, else of the stated scale; a rule that was stated or half read says why it gave none."""
    size, asked = (gray.shape[1], gray.shape[0]), stated.scale_from
    plane = solve(
        sightings if asked in (None, "card") else (), size_px=size, focal35_mm=focal35_mm,
        check_bar_mm=stated.check_bar_mm, card_height_mm=stated.card_height_mm, checks=checks, lens=lens,
    )  # fmt: skip
    if not isinstance(plane, Plane) and asked in (None, "diameter", "two-points"):
        known = known_plane(
            gray, stated, focal35_mm=focal35_mm, lens=lens, exclude_px=tuple(card_outline(s) for s in sightings)
        )
        plane = plane if known is None else known
    if not isinstance(plane, Plane) and stated.mm_per_px is not None and asked in (None, "stated"):
        return from_stated_scale(stated.mm_per_px, size)
    if isinstance(rule, Unmeasured) and (stated.rule is not None or rule is not NO_RULE):
        return Unmeasured(reason=f"{rule.reason}; {rule.hint}", hint=rule.hint)
    return plane


def card_outline(sighting: Sighting) -> Array:
    """Outline of a card's paper, margin and a little support included, photo px, (4, 2)."""
    return _corners(sighting, 0.5 * sighting.spec.square_mm)


def _squares(sighting: Sighting | None) -> Array | None:
    return None if sighting is None else _corners(sighting, 0.0)


def _corners(sighting: Sighting, margin: float) -> Array:
    width, height = sighting.spec.size_mm
    low, right, bottom = -margin, width + margin, height + margin
    return apply(sighting.homography, np.array([[low, low], [right, low], [right, bottom], [low, bottom]]))


def _look(
    gray: Image, plane: Plane | Unmeasured, stated: Stated, sighting: Sighting | None, cards: tuple[Array, ...],
    limit_mm: float, red: Image | None, colour: Image | None, copies: Copies | None, lights: Iterable[Image],
) -> Seen:  # fmt: skip
    """What the stated view shows, and what no photo can tell."""
    always = (CRACKS, DEPTH)
    if not isinstance(plane, Plane):
        return Seen(not_assessed=(("everything", plane.reason), *always))
    if stated.view is None:
        return Seen(not_assessed=(("everything", NO_VIEW), *always))
    if stated.view not in VIEWS:
        return Seen(not_assessed=((stated.view, NO_FINDER), *always))
    blur = sighting.edge_sigma_px if sighting is not None else np.nan
    blur_px = float(blur) if np.isfinite(blur) else USUAL_BLUR_PX
    look = Look(
        gray=gray, plane=plane, stated=stated, cards_px=tuple(with_label(gray, plane, card) for card in cards),
        blur_px=blur_px, limit_mm=limit_mm, red=red, colour=colour, copies=copies, lights=lights,
    )
    seen = VIEWS[stated.view](look)
    return replace(seen, not_assessed=(*always, *seen.not_assessed))


def _at(plane: Plane | Unmeasured, circles: tuple[Array, ...]) -> Array | None:
    """The face's centre, or of what is seen of it, or of the photo."""
    if not isinstance(plane, Plane):
        return None
    middle = (np.array(plane.size_px, dtype=np.float64) - 1) / 2
    if not circles:
        return middle
    centre = circles[1].mean(axis=0)
    if in_frame(centre.reshape(1, 2), plane.size_px).all():
        return np.asarray(centre)
    ring = np.vstack(circles)
    seen = ring[in_frame(ring, plane.size_px)]
    return np.asarray(seen.mean(axis=0)) if len(seen) else middle
