"""What one photo says: scale, doubts about the photo, findings. The image half in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.board import BoardSpec
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.groove import find_grooves, to_finding
from wearvision.measure.finders.pits import measure_field
from wearvision.measure.known import known_plane
from wearvision.measure.lens import Lens
from wearvision.measure.marks import Mark, apply_marks
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
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured, root_sum_square
from wearvision.stated import Stated

LIMIT_MM = 0.8
"""Smallest limit a view is held against when the rubric names none: 1/32 in."""
NO_FINDER = "no finder for this view yet: mark by hand"
NO_SCALE = Unmeasured(reason="no scale", hint="lay a printed card flat beside the part")
NO_VIEW = "what the photo shows is not stated"
CRACKS = ("cracks", "none can be ruled out from a photo: a penetrant test tells")
PICKED = ("size of the face", "nobody stated it: the ring was picked from the picture and may be another; state it")
ONE_RULE = (
    "lengths across the rule",
    "one rule shows its scale along itself only; across it the intervals carry the foreshortening that may be",
)
DEPTH = ("depth", "a photo shows where and how wide; the gauge says how deep")


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

    Raises
    ------
    BadInput
        For an image that is not 8-bit gray, boards that share ids, or a mark on a finding that is not there.
    """
    if sightings is None:
        sightings = find_boards(gray, default_specs() if specs is None else specs)
    asked = stated.scale_from
    use_rule = asked == "rule" or (asked is None and not sightings)
    rule = find_rule(gray, stated, focal35_mm=focal35_mm, lens=lens) if use_rule else None
    plane = rule.plane if isinstance(rule, RuleScale) else _plane(
        gray, sightings, stated, focal35_mm, rule, checks, lens
    )
    sighting = sightings[0] if sightings else None
    cards = tuple(card_outline(s) for s in sightings) + ((rule.band_px,) if isinstance(rule, RuleScale) else ())
    face = _face(gray, plane, stated, cards)
    circles = _circles(face, plane)
    found, missing = _findings(gray, plane, face, stated, sighting, cards)
    if isinstance(plane, Plane):
        found = apply_marks(found, marks, plane, face if isinstance(face, Face) else None)
    if isinstance(rule, RuleScale):
        missing = (*missing, ONE_RULE)
    if isinstance(plane, Plane):
        missing = (*missing, *plane.doubts)
    at = _at(plane, circles)
    return Survey(
        plane=plane, findings=found, not_assessed=missing, summary=_summary(face, plane, found),
        retake=gates(
            gray, sighting if asked in (None, "card") else None, plane, stated,
            face_px=circles[0] if circles else None, limit_mm=limit_mm, focal35_mm=focal35_mm,
        ),
        at_px=at, mm_per_px=plane.mm_per_px(at) if isinstance(plane, Plane) and at is not None else NO_SCALE,
        circles_px=circles, card_px=_squares(sighting), sighting=sighting,
        face=face if isinstance(face, Face) else None, rule=rule if isinstance(rule, RuleScale) else None,
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


def _face(gray: Image, plane: Plane | Unmeasured, stated: Stated, cards: tuple[Array, ...]) -> Face | Unmeasured:
    if not isinstance(plane, Plane):
        return Unmeasured(reason="no scale, so no face is sought", hint=NO_SCALE.hint)
    if stated.view != "wear-face":
        return Unmeasured(reason="this view has no wear face", hint="")
    return find_face(gray, plane, stated, cards)


def _findings(
    gray: Image, plane: Plane | Unmeasured, face: Face | Unmeasured, stated: Stated, sighting: Sighting | None,
    cards: tuple[Array, ...],
) -> tuple[tuple[Finding, ...], tuple[tuple[str, str], ...]]:  # fmt: skip
    """Findings of the view, and what was not looked at."""
    missing = [CRACKS, DEPTH, ("pits", "not searched for; mark them by hand")]
    if not isinstance(plane, Plane):
        return (), (("everything", plane.reason), *missing)
    if stated.view != "wear-face":
        return (), ((stated.view, NO_FINDER) if stated.view else ("everything", NO_VIEW), *missing)
    if not isinstance(face, Face):
        return (), (("grooves", f"{face.reason}; {face.hint}"), *missing)
    if not face.sure:
        missing.append(PICKED)
    blur = sighting.edge_sigma_px if sighting is not None else np.nan
    tracks, strip = find_grooves(
        gray, plane, face, cards, blur_px=float(blur) if np.isfinite(blur) else USUAL_BLUR_PX
    )
    seen = float(face.seen_deg[:, 1].mean())
    if seen < 0.98:
        missing.append(("part of the face", f"{100 * (1 - seen):.0f} % of the ring is out of view or covered"))
    found = [to_finding(t, f"G{i}", plane, face, strip.px_mm) for i, t in enumerate(tracks, start=1)]
    return tuple(found), tuple(missing)


USUAL_BLUR_PX = 0.8


def _circles(face: Face | Unmeasured, plane: Plane | Unmeasured) -> tuple[Array, ...]:
    if not (isinstance(face, Face) and isinstance(plane, Plane)):
        return ()
    return tuple(face.circle_px(plane, r) for r in (face.outer_mm.value, face.inner_mm.value))


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


def _summary(
    face: Face | Unmeasured, plane: Plane | Unmeasured, findings: Sequence[Finding]
) -> dict[str, Quantity]:
    """Figures of the face and of all that stands on it."""
    if not (isinstance(face, Face) and isinstance(plane, Plane)):
        return {}
    out = _face_figures(face, plane)
    standing = [f for f in findings if not f.struck]
    shares = [q for f in standing if f.kind == "groove" and isinstance(q := f.quantities.get("share"), Measured)]
    out["groove_count"] = Measured(value=float(sum(f.kind == "groove" for f in standing)), u=0.0, unit="count")
    if not face.sure:
        return out | {"face_area": UNSURE, "groove_share": UNSURE}
    out["groove_share"] = Measured(
        value=sum(q.value for q in shares), u=float(np.sqrt(sum(q.u**2 for q in shares))), unit="1",
        how="area of the grooves over the ring",
    )  # fmt: skip
    pits = [f for f in standing if f.kind == "pit"]
    areas = [q.value for f in pits if isinstance(q := f.quantities["area"], Measured)]
    return out | measure_field(len(pits), sum(areas), face.area_mm2)


UNSURE = Unmeasured(
    reason="the face's sizes are not stated: which edges bound it is a guess", hint="state its inner and outer diameter"
)


def _face_figures(face: Face, plane: Plane) -> dict[str, Quantity]:
    """Radii and area of the face, with the plane's own uncertainty."""
    radii = (face.inner_mm, face.outer_mm)
    rings = [face.circle_px(plane, radius.value, 60) for radius in radii]
    axis = plane.to_px(face.centre_mm.reshape(1, 2))

    def figure(p: Plane) -> Array:
        inner, outer = (float(np.hypot(*(p.to_mm(ring) - p.to_mm(axis)).T).mean()) for ring in rings)
        return np.array([inner, outer, np.pi * (outer**2 - inner**2)])

    value, parts = plane.propagate(figure)
    edge = 2 * np.pi * root_sum_square(*(radius.value * radius.u for radius in radii))
    own = (radii[0].u, radii[1].u, edge)
    how = (radii[0].how, radii[1].how, "ring between the fitted circles")
    names = ("face_inner_radius", "face_outer_radius", "face_area")
    units: tuple[Unit, ...] = ("mm", "mm", "mm2")
    return {
        name: Measured.of(
            float(value[k]), units[k], how=how[k], edge=own[k], **{n: float(u[k]) for n, u in parts.items()}
        )
        for k, name in enumerate(names)
    }
