"""A groove's two lips, row by row, in an unwrapped ring, and where it ends.

Lips are the outermost crests of the radial slope beside a ribbon's coarse edges. Ends are where the groove's own
profile, less the grey of the face beside it, stops to look like itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, peak_offset
from wearvision.measure.evidence import SIGMA_PX, Evidence
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

END_DEG = 12.0
"""How far beyond its coarse end the end of a groove is looked for."""
PATTERN_ROWS = 24
"""A groove's profile near an end is the median over this many rows."""
REACH = (1.5, 4.0)
"""A lip lies within 0.15 of the width of its coarse place, but at least and at most this many photo px."""
STEADY = 1.5
"""Strength (over the usual) at which a lip counts as much as the groove's usual width does."""
LINE_SHARE = 0.7
"""A lip is a thin line when the slope comes back by this share just inside it."""
ROW_WORTH = 5.0
"""Worth of one row's likeness as evidence (a log likelihood); neighbours are not independent."""
CAP_POWER = 0.2
"""A round end is unlike the face by at least this share of the power of the groove's profile."""
SECTOR = 16
"""Rows over which darkness is judged at a time."""
INSIDE, BESIDE = 24, 8
"""Samples across the groove, and on either side of it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """A groove in its strip.

    Attributes
    ----------
    deg : (N,) array
        Angles of its rows, rising, even steps; may pass 360.
    inner_mm, outer_mm : (N,) arrays
        Radii of the lips.
    clear : float
        Share of the rows where both lips are seen well.
    end_u_deg : (float, float)
        Standard uncertainty of where its profile ends, at its first and last angle.
    doubt_mm : (float, float)
        Standard uncertainty of its width and of its centreline because other lips speak nearly as well.
    cut : (bool, bool)
        Whether the picture or a cover ends it, at its first and last angle.
    full : bool
        Whether it runs all the way round.
    score : float
        Of its ribbon.
    strength : (N,) array
        Slope at its weaker lip, log grey per photo px.
    dark, dark_share : float
        Median over its sectors of the darkest part across it, log grey against the face beside it; and the share
        of the sectors where that is beyond the noise. A groove holds a shadow nearly everywhere; a polished
        band or a turned ring only shines.
    """

    deg: Array
    inner_mm: Array
    outer_mm: Array
    clear: float
    end_u_deg: tuple[float, float]
    doubt_mm: tuple[float, float]
    cut: tuple[bool, bool]
    full: bool
    score: float
    strength: Array
    dark: float
    dark_share: float

    @property
    def width_mm(self) -> float:
        """Median distance of its lips."""
        return float(np.median(self.outer_mm - self.inner_mm))


def follow(strip: Strip, found: Evidence, ribbon: Ribbon, *, blur_px: float) -> Track | None:
    """Both lips of a ribbon row by row, and its ends; `None` when too short.

    Parameters
    ----------
    blur_px : Gaussian blur of the photo, px
    """
    lap = strip.values.shape[0]
    rows, end_u = ribbon.rows, (0.0, 0.0)
    if not ribbon.full:
        first, last = _ends(strip, found.gray, ribbon)
        rows = _seen(strip, ribbon, np.arange(first[0], last[0] + 1))
        at_first, at_last = np.hypot((first[1], last[1]), ribbon.doubt_rows) * strip.step_deg
        end_u = (float(at_first), float(at_last))
    if len(rows) < 8:
        return None
    coarse = [np.interp(rows, ribbon.rows, edge) for edge in (ribbon.inner, ribbon.outer)]
    per_px = strip.px_mm / strip.step_mm
    width = float(np.median(coarse[1] - coarse[0]))
    reach = round(float(np.clip(0.15 * width, REACH[0] * per_px, REACH[1] * per_px)))
    signed, usual = found.plain[rows % lap], found.usual[rows % lap]
    lips = [_lip(signed, usual, at, reach, side, per_px) for at, side in zip(coarse, (1, -1), strict=True)]
    fixes = [spread_fix(lip.line / per_px, blur_px) * per_px for lip in lips]
    inner, outer = _steadied(
        lips[0].column + fixes[0], lips[1].column - fixes[1], lips[0].size / usual, lips[1].size / usual
    )
    dark, share = _darkness(strip, found.gray, rows, inner, outer)
    deg = strip.deg(rows.astype(np.float64))
    return Track(
        deg=deg - 360.0 * np.floor(deg[0] / 360.0), inner_mm=strip.mm(inner), outer_mm=strip.mm(outer),
        clear=float(np.mean((lips[0].size > 1.5 * usual) & (lips[1].size > 1.5 * usual))),
        end_u_deg=end_u, doubt_mm=ribbon.doubt_mm, full=ribbon.full,
        cut=(False, False) if ribbon.full else _cut(strip, rows, (coarse[0] + coarse[1]) / 2),
        score=ribbon.score, strength=np.minimum(lips[0].size, lips[1].size), dark=dark, dark_share=share,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lip:
    """Column of a lip in each row, slope there, and thickness of the line inside it (columns; inf: no line)."""

    column: Array
    size: Array
    line: Array


def _lip(signed: Grid, usual: Array, start: Array, reach: int, side: int, per_px: float) -> _Lip:
    """Follow the crest of the slope near a start.

    The strongest crest of each row within `reach` columns, outer ones a little preferred; then again close to
    the running median of the first pass.
    """
    columns = signed.shape[1]
    rows = np.arange(len(signed))
    place, half, pull = np.asarray(start, dtype=np.float64), reach, 1.2
    column = np.rint(place).astype(int)
    for _ in range(3):
        index = np.clip(np.rint(place).astype(int)[:, None] + np.arange(-half - 1, half + 2), 0, columns - 1)
        wide = np.abs(signed[rows[:, None], index])
        index, near = index[:, 1:-1].clip(1, columns - 2), wide[:, 1:-1]
        crest = (near >= wide[:, :-2]) & (near >= wide[:, 2:])
        prefer = np.linspace(pull, -pull, near.shape[1]) * side
        gain = np.where(crest, np.minimum(near / usual[:, None], 5.0) + prefer, -1.0)
        column = index[rows, np.argmax(gain, axis=1)]
        place = running_median(column.astype(np.float64), 15)
        half, pull = max(2, min(half, round(1.5 * per_px))), 0.0
    left, top, right = (np.abs(signed[rows, column + k]).astype(np.float64) for k in (-1, 0, 1))
    return _Lip(
        column=column + peak_offset(left, top, right), size=top, line=_thickness(signed, column, side, per_px)
    )


def _steadied(inner: Array, outer: Array, inner_z: Array, outer_z: Array) -> tuple[Array, Array]:
    """Lips with those hardly seen drawn towards where the other lip and the groove's usual width put them."""
    weight = np.minimum(np.minimum(inner_z, outer_z), 5.0) ** 2
    order = np.argsort(outer - inner)
    share = np.cumsum(weight[order]) / max(float(weight.sum()), 1e-9)
    width = float((outer - inner)[order][min(int(np.searchsorted(share, 0.5)), len(order) - 1)])
    drawn = []
    for lip, z, other in ((inner, inner_z, outer - width), (outer, outer_z, inner + width)):
        trust = np.minimum(z, 5.0) ** 2
        drawn.append((trust * lip + STEADY**2 * other) / (trust + STEADY**2))
    return drawn[0], drawn[1]


def running_median(values: Array, width: int) -> Array:
    """Running median over an odd number of values, ends repeated; nan wherever one is among them."""
    half = width // 2
    padded = np.concatenate([np.repeat(values[:1], half), values, np.repeat(values[-1:], half)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    middle = np.partition(windows, half, axis=1)[:, half]
    if np.isnan(padded).any():
        middle[np.isnan(windows).any(axis=1)] = np.nan
    return np.asarray(middle)


def _thickness(signed: Grid, column: NDArray[np.int64], side: int, per_px: float) -> Array:
    """Distance from a crest inwards to the strongest crest of the other sign, columns; inf when none is near."""
    reach = round(6 * per_px)
    rows = np.arange(len(signed))
    sign = np.sign(signed[rows, column])
    index = np.clip(column[:, None] + side * np.arange(0, reach + 1), 0, signed.shape[1] - 1)
    line = -sign[:, None] * signed[rows[:, None], index]
    top = np.clip(np.argmax(line, axis=1), 1, reach - 1)
    strong = line[rows, top] > LINE_SHARE * np.abs(signed[rows, column])
    place = top + peak_offset(line[rows, top - 1], line[rows, top], line[rows, top + 1])
    return running_median(np.where(strong & (top < reach - 1), place, 1e6), 31)


def spread_fix(line_px: Array, blur_px: float) -> Array:
    """How far blur pushed a lip outwards, photo px.

    A line of thickness b seen through a Gaussian blur s shows its two edges (crests of the slope) d apart:
    d = 2 s as b goes to 0, d = b when b is large, and the lip is (d - b) / 2 out. In between the crests solve
    (x - b/2) g(x - b/2) = (x + b/2) g(x + b/2); (d - b) / 2 = s exp(-3.8 (d / 2s - 1)^0.55) fits that to 0.04 s.
    """
    spread = float(np.hypot(blur_px, SIGMA_PX))
    over = np.maximum(np.where(np.isfinite(line_px), line_px, 1e3) / (2 * spread) - 1.0, 0.0)
    return np.asarray(spread * np.exp(-3.8 * over**0.55))


def _seen(strip: Strip, ribbon: Ribbon, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """The rows from the first to the last in which the middle of the groove is seen."""
    middle = np.rint(np.mean(_at(ribbon, rows), axis=0)).astype(int).clip(0, strip.valid.shape[1] - 1)
    seen = np.flatnonzero(strip.valid[rows % len(strip.valid), middle])
    return rows[seen[0] : seen[-1] + 1] if len(seen) else rows[:0]


End = tuple[int, float]
"""Row of an end, and its standard uncertainty in rows."""


def _ends(strip: Strip, gray: Grid, ribbon: Ribbon) -> tuple[End, End]:
    """First and last row of a groove."""
    lap = strip.values.shape[0]
    reach = round(END_DEG / strip.step_deg)
    first, last = int(ribbon.rows[0]), int(ribbon.rows[-1])
    spare = (lap - (last - first + 1)) // 2 if strip.closed else lap
    low, high = first - min(reach, spare), last + min(reach, spare)
    if not strip.closed:
        low, high = max(0, low), min(lap - 1, high)
        first, last = max(first, low), min(last, high)
    across, beside = profiles(strip, gray, np.arange(low, high + 1), *_at(ribbon, np.arange(low, high + 1)))
    shape = across - np.median(beside, axis=1, keepdims=True)
    quiet = float(np.median((beside - np.median(beside, axis=1, keepdims=True)) ** 2))
    if last - first < 12:
        return (first, 2.0), (last, 2.0)
    width, radius = (float(np.median(x)) for x in (ribbon.outer - ribbon.inner, strip.mm(ribbon.inner)))
    cap = int(np.ceil(np.degrees(0.55 * width * strip.step_mm / radius) / strip.step_deg))
    head = _end(shape[::-1], high - last, high - first, quiet, cap)
    tail = _end(shape, first - low, last - low, quiet, cap)
    return (high - head[0], head[1]), (low + tail[0], tail[1])


def _at(ribbon: Ribbon, rows: NDArray[np.int64]) -> tuple[Array, Array]:
    return np.interp(rows, ribbon.rows, ribbon.inner), np.interp(rows, ribbon.rows, ribbon.outer)


def _end(shape: Array, start: int, stop: int, quiet: float, cap: int) -> End:
    """Last row that still belongs to the groove: best step in the likeness to its own rows a little inside.

    A coarse end that ran on where there is no groove is first taken back to where there is one. Its round cap,
    of at most `cap` rows, looks another way to the lamp, but still unlike the face.
    """
    calm = np.stack([np.convolve(c, np.full(5, 0.2), mode="same") for c in shape.T], axis=1)
    power = np.mean(calm**2, axis=1)
    usual = float(np.median(power[start : stop + 1]))
    back = max(4, min(PATTERN_ROWS, (stop - start + 1) // 2))
    while stop - back > start and np.median(power[stop - back : stop]) < quiet / 5 + 0.12 * usual:
        stop -= 4
    pattern = np.median(shape[max(start, stop - back - 4) : max(start + 4, stop - 3)], axis=0)
    like = np.clip(shape @ pattern / (float(pattern @ pattern) + 1e-6), -0.5, 1.5)
    begin = max(start, stop - back)
    total = np.cumsum(like[begin:] - 0.5)
    chance = np.exp(ROW_WORTH * (total - total.max()))
    place = np.arange(len(total))
    end = int(begin + np.argmax(total))
    u = float(np.sqrt(np.sum(chance * (place + begin - end) ** 2) / np.sum(chance)))
    least = max(4 * quiet, CAP_POWER * float(np.mean(pattern**2)))
    other = np.mean(shape[end + 1 : end + 1 + cap] ** 2, axis=1) < least
    more = int(np.argmax(other)) if other.any() else len(other)
    return end + more, float(np.hypot(u, more / 4))


def profiles(
    strip: Strip, gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array
) -> tuple[Array, Array]:
    """Log grey across a groove, (N, INSIDE), and on the face beside it, (N, 2 BESIDE); first the inner side."""
    lap, columns = gray.shape
    at = (rows % lap)[:, None]
    per_px = strip.px_mm / strip.step_mm
    gap = 2.5 * per_px + np.linspace(0, 1, BESIDE) * max(4 * per_px, 0.35 * float(np.median(outer - inner)))
    share = np.linspace(0.03, 0.97, INSIDE)
    places = (inner[:, None] + share * (outer - inner)[:, None], inner[:, None] - gap, outer[:, None] + gap)
    read = [gray[at, np.clip(np.rint(c).astype(int), 0, columns - 1)].astype(np.float64) for c in places]
    return read[0], np.concatenate(read[1:], axis=1)


def _darkness(
    strip: Strip, gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array
) -> tuple[float, float]:
    """`dark` and `dark_share` of a track."""
    across, beside = profiles(strip, gray, rows, inner, outer)
    count = max(1, len(rows) // SECTOR)
    tall = len(rows) // count
    cut = [image[: count * tall].reshape(count, tall, -1) for image in (across, beside)]
    middle, sides = np.median(cut[0], axis=1), np.median(cut[1], axis=1).reshape(count, 2, BESIDE)
    level = np.median(sides, axis=2).mean(axis=1)
    dark = middle.min(axis=1) - level
    noise = np.hypot(*sides.std(axis=2).T)
    beyond = dark < -np.maximum(0.04, 2.5 * noise)
    return float(np.median(dark)), float(np.mean(beyond))


def _cut(strip: Strip, rows: NDArray[np.int64], centre: Array) -> tuple[bool, bool]:
    """Whether the ends lie where the view ends."""
    lap, columns = strip.values.shape
    out = []
    for row, column, ahead in ((rows[0], centre[0], -1), (rows[-1], centre[-1], 1)):
        near = row + ahead * np.arange(0, round(3.0 / strip.step_deg) + 1)
        if not strip.closed and (near.min() < 0 or near.max() >= lap):
            out.append(True)
        else:
            out.append(not bool(strip.valid[near % lap, int(np.clip(column, 0, columns - 1))].all()))
    return out[0], out[1]
