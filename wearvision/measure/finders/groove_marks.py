"""Marks of a face from the ribbons found on it: each cut to where it shows, walls of one groove taken together, and a
wall that was followed alone stretched to the other one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from wearvision.measure.edges import median
from wearvision.measure.evidence import ROWS, Evidence
from wearvision.measure.face import Face
from wearvision.measure.far_wall import are_lines, to_far_wall
from wearvision.measure.finders.worn import (
    DARK,
    HOPELESS,
    PALE,
    is_groove,
    is_whole,
    is_worn,
    lies_on,
    may_be_wall,
    stands,
)
from wearvision.measure.lips import Track, follow
from wearvision.measure.ribbon import Ribbon, extend
from wearvision.measure.ridges import BOUND
from wearvision.measure.sectors import refine
from wearvision.measure.stretch import shown
from wearvision.measure.unwrap import Strip
from wearvision.measure.walls import between, walls

LEFT, LEFT_DEG = 0.15, 24.0
"""Of a ribbon cut to where it shows at least this share and this much is left, or it was a line that crosses a spot."""

ONE_OF_TWO = 0.5
"""Lips less than this share as far apart as those a ribbon had are those of one of its walls."""
STILL_CLEAR = 0.5
"""The lips of what is joined are clear over at least this share of what those of a groove in it are."""
WITHIN = 0.9
"""So much of a mark's width lies between another's lips when it is part of that."""
NARROW_MM, AS_CLEAR = 1.25, 0.5
"""A groove so narrow may be one wall of a wider one, if that one's lips are clear over at least this share of what its
are."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """Where marks are looked for.

    Attributes
    ----------
    strip : Strip
        The face rolled out.
    found : Evidence
    face : Face
    max_width_mm : float
        Widest mark looked for.
    blur_px : float
        Gaussian blur of the photo.
    """

    strip: Strip
    found: Evidence
    face: Face
    max_width_mm: float
    blur_px: float

    @property
    def bound_mm(self) -> float:
        """A mark as wide as this has no lip: the search ended there."""
        return BOUND * self.max_width_mm

    def stands(self, track: Track) -> bool:
        """Whether a mark has both lips, clear of the face's edges."""
        return track.width_mm < self.bound_mm and stands(track, self.face)

    def is_worn(self, track: Track) -> bool:
        """Whether a mark is a groove by what it shows."""
        return is_worn(track, self.strip, self.found.gray)

    def follow(self, ribbon: Ribbon) -> Track | None:
        """Both lips of a ribbon."""
        return follow(self.strip, self.found, ribbon, blur_px=self.blur_px)

    def refine(self, ribbon: Ribbon) -> Ribbon:
        """A ribbon with the lips that all of its length shows."""
        return refine(ribbon, self.found, self.strip, self.max_width_mm)


def marks_of(ribbons: list[Ribbon], ground: Ground) -> list[Track]:
    """Marks that are grooves by what they show, clear of the face's edges."""
    marks = [track for ribbon in ribbons if (track := _mark(ribbon, ground)) is not None]
    return [t for t in _worn(_joined(marks, ground), ground) if ground.stands(t)]


def _mark(ribbon: Ribbon, ground: Ground) -> Track | None:
    """A ribbon's track where it shows: with the lips that this stretch shows, or else those it had."""
    strip = ground.strip
    ribbon = shown(ribbon, ground.found, strip)
    if ribbon.followed and len(ribbon.rows) < max(LEFT * ribbon.followed, LEFT_DEG / strip.step_deg):
        return None
    if ribbon.score * ROWS < HOPELESS * len(ribbon.rows):
        return None
    tracks: list[Track] = []
    fine = ground.refine(ribbon)
    alone = median(fine.outer - fine.inner) < ONE_OF_TWO * median(ribbon.outer - ribbon.inner)
    for one in (ribbon, fine) if alone else (fine, ribbon):
        if median(one.outer - one.inner) * strip.step_mm < ground.bound_mm:
            track = ground.follow(one)
            if track is not None and is_groove(track, strip.px_mm):
                return track
            tracks += [] if track is None else [track]
            if tracks and tracks[0].dark > PALE:
                break
    return tracks[0] if tracks else None


def _joined(marks: list[Track], ground: Ground) -> list[Track]:
    """Marks with the walls of one groove taken together, as long as there are any."""
    for low, high in walls(marks, ground.bound_mm, ground.strip, ground.found.gray):
        whole = _one(low, high, ground)
        if whole is not None:
            rest = [t for t in marks if t is not low and t is not high]
            return _joined([*rest, whole], ground)
    return marks


def _one(low: Track, high: Track, ground: Ground) -> Track | None:
    """Two marks as one, if that is a groove, and no less of one than either by itself."""
    whole = ground.follow(between(low, high, ground.strip))
    if whole is None or not ground.is_worn(whole):
        return None
    grooves = [t for t in (low, high) if is_groove(t, ground.strip.px_mm)]
    if any(whole.clear < STILL_CLEAR * t.clear for t in grooves):
        return None
    return whole if ground.stands(whole) or not any(ground.stands(t) for t in grooves) else None


def _worn(marks: list[Track], ground: Ground) -> list[Track]:
    """Marks that are grooves, and what others, and narrow ones, become when they are stretched to the far wall."""
    good = _united([t for t in marks if ground.is_worn(t)], ground)
    for mark in marks:
        known = any(mark is t for t in good)
        if not known or mark.width_mm < NARROW_MM:
            others = [t for t in good if t is not mark] + [t for t in marks if t is not mark and t.dark <= DARK]
            whole = _to_far_wall(mark, others, ground)
            if whole and (not known or whole[0].clear >= AS_CLEAR * mark.clear):
                good = [t for t in good if t is not mark] + whole
    return good


def _united(marks: list[Track], ground: Ground) -> list[Track]:
    """Grooves of which one lies between the lips of another, taken together: it is a wall or a shadow of that one, seen
    where that one's lips are not."""
    for low, high in combinations(sorted(marks, key=lambda t: t.lips_mm[0]), 2):
        thin, wide = sorted((low, high), key=lambda t: t.width_mm)
        if lies_on(thin, wide, WITHIN):
            whole = _one(low, high, ground)
            if whole is not None:
                rest = [t for t in marks if t is not low and t is not high]
                return _united([*rest, whole], ground)
    return marks


def _to_far_wall(mark: Track, others: list[Track], ground: Ground) -> list[Track]:
    """A mark stretched to the far wall, if that is a groove with none of others on it; none or one.

    A dark line is not the far wall of another: where one wall is dark the other is bright.
    """
    found, strip = ground.found, ground.strip
    if mark.full or len(mark.deg) * strip.step_deg < LEFT_DEG or not may_be_wall(mark):
        return []
    if any(lies_on(mark, t, 0.0) for t in others):
        return []
    for ribbon in to_far_wall(mark, found, strip, ground.bound_mm):
        both = ground.refine(ribbon)
        whole = None if are_lines(both, found, strip) else _whole(both, mark, others, ground)
        if whole is not None:
            longer = _whole(shown(extend(both, found, strip), found, strip), mark, others, ground)
            return [whole if longer is None else max(whole, longer, key=lambda t: len(t.deg))]
    return []


def _whole(ribbon: Ribbon, mark: Track, others: list[Track], ground: Ground) -> Track | None:
    """The track of a ribbon, if that is a groove on which a mark lies, and which none of others touches."""
    whole = ground.follow(ribbon)
    if whole is None or not (is_whole(whole, ground.strip.px_mm) and ground.stands(whole) and lies_on(mark, whole)):
        return None
    return None if any(lies_on(t, whole, 0.0) or lies_on(whole, t, 0.0) for t in others) else whole
