"""Whether a mark of a face is a groove: what it shows must speak for wear, not for a tool, rust or an edge."""

from __future__ import annotations

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.face import Face
from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.relief import is_relief
from wearvision.measure.unwrap import Strip

LEAST_PX, LEAST_MM = 3.0, 0.5
"""A narrower mark is a scratch, the line of a tool, or the shadow of a low step: every third that was told was no
groove."""
SLENDER, SLENDER_CRISP, STOUT_MM = 4.0, 3.5, 3.5
"""A groove is at least this many times as long as wide, or the second where its lips are crisp; where they are not, by
twice as many more as it is wider than `STOUT_MM` in mm: rust is stout."""
THIN_MM, THIN_DEG = 0.6, 60.0
"""One narrower than this is none either where it goes on over fewer degrees: none of nine was."""
HOPELESS = 0.25
"""A mark with less score per row of the search is neither a groove nor one of its walls."""
DENSE, DENSE_MM, SHORT, DENSE_SHORT = 0.0, 0.3, 15.0, 4.0
"""Least score per row of the search of any groove, and more for each mm of its width, as what is unlike the face counts
for more where it is wide (`lip_pairs.py`); and that of one less than `SHORT` times as long as wide."""
CRISP, CRISP_SHORT, DENSE_CRISP = 0.9, 8.0, 0.4
"""One whose both lips are seen over so much of its length needs no more than this, if it is at least so many times as
long as wide: rust and stains have no such lips."""
CRISP_DARK, DARK_LONG, DARK_ALL = 0.7, -0.25, 0.9
"""Fewer lips do for one so dark over so much of its length."""
CLEAR, CLEAR_BESIDE = 0.5, 0.8
"""Both lips are seen over at least this share of the length; more where an edge of the face may be broken."""
PLAIN_DENSE, PLAIN_DARK, PLAIN_SLENDER, CLEAR_PLAIN = 4.0, -0.25, 8.0, 0.2
"""A mark so dense, dark and long is plain to see, even where one wall is as bright as the face and hides its lip; so is
one that is shaded like relief."""
DARK, DARK_BESIDE, DARK_SHARE = -0.08, -0.25, 0.5
"""A groove is darker than the face by this much (log grey) over this share of its length."""
PALE = DARK / 2
"""The same of relief; and a mark not even so dark between its own lips is no groove between those it had."""
DARK_WHOLE, SHARE_WHOLE = -0.2, 0.8
"""The same two of what one wall was stretched to."""
NARROW_MM, NARROW_SHARE = 0.8, 0.9
"""A mark narrower than this is dark nearly all along, or a tool's ring: the lines a turning tool leaves come and go."""
LIT_DENSE, LIT_CLEAR, LIT_DARK, LIT_SHARE = 3.0, 0.7, -0.2, 0.7
"""One so dense, clear and dark may be lit from both sides, and lose its shadow, over more of its length."""
BREAK_MM = 1.2
"""So near to an edge of the face a line may be the edge's own break (chamfer, rounding)."""
ON = 0.3
"""A mark lies on another when, over this share of its length, this share of its width does."""


def is_worn(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is a groove by its own signs, or by fewer where it is shaded like relief.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if is_groove(track, strip.px_mm):
        return True
    return is_groove(track, strip.px_mm, relief=True) and is_relief(track, strip, gray)


def is_groove(track: Track, px_mm: float, *, relief: bool = False) -> bool:
    """Whether a mark is wear rather than a turned line, a polished band or a row of stains.

    Parameters
    ----------
    px_mm : length of a photo pixel on the face
    relief : whether it is shaded like relief, which needs less score and no clear lips
    """
    width = track.width_mm
    slender = track.length_mm / max(width, 1e-3)
    plain = track.dense >= PLAIN_DENSE and track.dark <= PLAIN_DARK and slender >= PLAIN_SLENDER
    lit = track.dense >= LIT_DENSE and track.clear >= LIT_CLEAR and track.dark <= LIT_DARK
    narrow_share = LIT_SHARE if lit else NARROW_SHARE
    least = SLENDER_CRISP if track.clear >= CRISP else SLENDER + 2 * max(0.0, width - STOUT_MM)
    return bool(
        width >= max(LEAST_PX * px_mm, LEAST_MM)
        and (width >= THIN_MM or track.deg[-1] - track.deg[0] >= THIN_DEG)
        and slender >= least
        and track.dense >= (HOPELESS if relief else _least_dense(track, slender))
        and track.clear >= (CLEAR_PLAIN if plain or relief else CLEAR)
        and track.dark <= (PALE if relief else DARK)
        and track.dark_share >= (narrow_share if width < NARROW_MM else DARK_SHARE)
    )


def is_whole(track: Track, px_mm: float) -> bool:
    """Whether a wall stretched to the far one is a groove: the score is the wall's alone and says little of the whole,
    so both lips and the dark between them must be seen nearly all along."""
    return (
        is_groove(track, px_mm, relief=True)
        and track.clear >= CLEAR
        and track.dark <= DARK_WHOLE
        and track.dark_share >= SHARE_WHOLE
    )


def may_be_wall(track: Track) -> bool:
    """Whether a mark may be one wall of a groove: on its own it is as dark and as clear as a groove."""
    return track.clear >= CLEAR and track.dark <= DARK and track.dark_share >= DARK_SHARE


def _least_dense(track: Track, slender: float) -> float:
    """Least score per row: what is wide or short shows itself, or its lips all along, or is something else."""
    least = DENSE + DENSE_MM * track.width_mm
    if slender < SHORT:
        least = max(least, DENSE_SHORT)
    dark = track.dark <= DARK_LONG and track.dark_share >= DARK_ALL
    crisp = track.clear >= (CRISP_DARK if dark else CRISP)
    return min(least, DENSE_CRISP) if crisp and slender >= CRISP_SHORT else least


def stands(track: Track, face: Face) -> bool:
    """Whether a track beside an edge of the face is clear enough to be more than the edge's own break."""
    near = gap_mm(track, face.radii_mm) < BREAK_MM
    return not near or (track.clear >= CLEAR_BESIDE and track.dark <= DARK_BESIDE)


def gap_mm(track: Track, radii_mm: tuple[float, float]) -> float:
    """Distance of a track from the nearer of two circles about the axis."""
    return min(track.lips_mm[0] - radii_mm[0], radii_mm[1] - track.lips_mm[1])


def apart(tracks: list[Track]) -> list[Track]:
    """Tracks that do not lie on a longer and clearer one."""
    out: list[Track] = []
    for track in sorted(tracks, key=lambda t: -len(t.deg) * t.clear):
        if not any(lies_on(track, other) for other in out):
            out.append(track)
    return out


def lies_on(one: Track, other: Track, share: float = ON) -> bool:
    """Whether much of a track lies on another, by more than this share of its width."""
    rows = [(t.deg, t.inner_mm, t.outer_mm) for t in (one, other)]
    return bool(_common(*rows[0], *rows[1], share) > ON * len(one.deg))


@compiled
def _common(
    deg: Array, inner: Array, outer: Array, other_deg: Array, other_inner: Array, other_outer: Array, share: float
) -> int:
    """Of how many rows of a track more than a share of the width lies on another, to the degree."""
    low, high, count = np.full(360, np.inf), np.full(360, -np.inf), 0
    for n in range(len(other_deg)):
        at = int(np.rint(other_deg[n])) % 360
        low[at], high[at] = min(low[at], other_inner[n]), max(high[at], other_outer[n])
    for n in range(len(deg)):
        at = int(np.rint(deg[n])) % 360
        count += min(high[at], outer[n]) - max(low[at], inner[n]) > share * (outer[n] - inner[n])
    return count
