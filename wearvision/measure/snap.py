"""A rough box, or a few taps, become an outline snapped to the picture; or an ellipse that says it is not.

The model behind it (`believe.MODEL`) has learned from a few photos of one kind of worn steel. An outline is believed
only where the picture speaks clearly more for wear inside it than around it, and where it stays in the box.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.errors import BadInput
from wearvision.measure.believe import MODEL, Mask, Model, contrast, odds_of, settle, solid
from wearvision.measure.plane import Array
from wearvision.measure.spot import Box, Window, terms, window_of
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured

LEAST_SIDE_PX = 6.0
"""A box with a shorter side holds too few pixels to snap to."""
CLEAR = 2.4
"""Contrast from which an outline is believed; of the boxes of `scenes pits`, 16 % on sound steel reach it."""
OUTSIDE = 0.25
"""Largest share of an outline's area that may lie outside its box."""
DOUBT = 1.25
"""Shift of the log odds that moves the area by its standard uncertainty; found to cover on photos left out."""
ELLIPSE_U = 0.4
"""Standard uncertainty of a rough box's ellipse taken for the wear in it, share of its area."""
LEAST_CELLS = 20
"""Smaller pieces are no outline; the box itself has about 3100 cells."""
FINE = 6
"""Outlines are drawn at this many points per cell."""
TAP_ODDS, TAP_CELLS = 8.0, 2.0
"""Log odds that a tap lends its surroundings, and the spread of that."""
FIRST_SIDE_PX, SIDE_STEP, LARGEST_SIDE = 14.0, 1.5, 0.45
"""Boxes tried around taps: smallest side, ratio of the next, largest share of the picture's short side."""
LOOSE = 0.15
"""A box around wear is drawn larger than it by this share on every side."""
STEADY, GOOD = 0.13, 0.9
"""Of boxes around taps: largest log change of size in the second look, and least share of the best contrast."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Snapped:
    """An outline from a box or taps.

    Attributes
    ----------
    outline_px : (N, 2) array
        Closed outline in photo pixels, N >= 3.
    snapped : bool
        False for the plain ellipse in the box: then nothing was recognized.
    contrast : float
        How much more the picture speaks for wear inside than around it, log odds.
    middle_px : (2,) array
        Place inside the outline farthest from it.
    area_px, area_u_px : float
        Area and its standard uncertainty, px2.
    cut : bool
        The box ran out of the picture.
    """

    outline_px: Array
    snapped: bool
    contrast: float
    middle_px: Array
    area_px: float
    area_u_px: float
    cut: bool = False

    @property
    def rim_px(self) -> float:
        """Standard uncertainty of the area, as an outline moved outwards everywhere by so much, px."""
        around = np.hypot(*(np.roll(self.outline_px, -1, axis=0) - self.outline_px).T).sum()
        return self.area_u_px / float(around)

    @property
    def flags(self) -> tuple[str, ...]:
        """Keys of `finding.FLAGS`."""
        return ("snapped" if self.snapped else "not-snapped", *(("cut-by-frame",) if self.cut else ()))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Try:
    """What one box gave."""

    window: Window
    inside: Mask
    odds: Array
    contrast: float

    @property
    def box_px(self) -> Box:
        """Bounds of the piece."""
        points = self.window.photo(np.argwhere(self.inside)[:, ::-1].astype(float))
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    @property
    def clear(self) -> bool:
        """Whether the outline is believed."""
        outside = float((self.inside & (self.window.reach > 1)).sum() / self.inside.sum())
        return self.contrast >= CLEAR and outside <= OUTSIDE


def snap(
    gray: Image, *, box_px: Array | None = None, taps_px: Array | None = None, model: Model = MODEL
) -> Snapped | Unmeasured:
    """Outline of the wear in a rough box, or around a few taps.

    Parameters
    ----------
    gray : (H, W) uint8
    box_px : (4,) array
        x0, y0, x1, y1 in photo pixels; drawn a little larger than the wear is best. What is out of the picture is
        cut off.
    taps_px : (N, 2) array
        Points inside the wear; instead of a box.
    model : Model
        Another one than the built-in is for tests of how well it carries over.

    Returns
    -------
    Snapped or Unmeasured
        A box gives an outline always, the ellipse in it where nothing stands out; taps give none then.

    Raises
    ------
    BadInput
        Box or tap out of the picture, box too small, both or neither given.
    """
    if (box_px is None) == (taps_px is None):
        raise BadInput("give either a box or taps", do="leave one of box_px and taps_px out")
    if taps_px is not None:
        return _from_taps(gray, _checked_taps(taps_px, gray.shape), model)
    assert box_px is not None
    box, cut = _checked_box(box_px, gray.shape)
    tried = _try(gray, box, model)
    if tried is None or not tried.clear:
        return _ellipse(box, cut, tried.contrast if tried is not None else 0.0)
    return _outlined(tried, cut)


def ellipse_in(box_px: Box, count: int = 64) -> Array:
    """The ellipse that touches a box's sides, (count, 2)."""
    turn = np.arange(count) * 2 * np.pi / count
    x0, y0, x1, y1 = box_px
    return np.column_stack([(x0 + x1 + (x1 - x0) * np.cos(turn)) / 2, (y0 + y1 + (y1 - y0) * np.sin(turn)) / 2])


def grown(box_px: Box, share: float) -> Box:
    """A box with each side moved outwards by a share of its size."""
    x0, y0, x1, y1 = box_px
    dx, dy = share * (x1 - x0), share * (y1 - y0)
    return x0 - dx, y0 - dy, x1 + dx, y1 + dy


def _checked_box(box_px: Array, shape: tuple[int, ...]) -> tuple[Box, bool]:
    """The part of a box in the picture, and whether some of it is not."""
    box = np.asarray(box_px, dtype=np.float64).ravel()
    do = "give x0, y0, x1, y1 in photo pixels, x0 < x1 and y0 < y1"
    if box.shape != (4,) or not np.isfinite(box).all() or (box[:2] >= box[2:]).any():
        raise BadInput("not a box", got=box.tolist(), do=do)
    low, high = np.full(2, -0.5), np.array([shape[1], shape[0]]) - 0.5
    seen = np.concatenate([np.maximum(box[:2], low), np.minimum(box[2:], high)])
    if (seen[:2] >= seen[2:]).any():
        raise BadInput("the box lies outside the picture", got=box.tolist(), do=f"it is {shape[1]} x {shape[0]} px")
    if float((seen[2:] - seen[:2]).min()) < LEAST_SIDE_PX:
        do = f"draw it {LEAST_SIDE_PX:g} px or more each way, or give an outline"
        raise BadInput("the box is too small to snap", got=box.tolist(), do=do)
    x0, y0, x1, y1 = seen.tolist()
    return (x0, y0, x1, y1), bool((seen != box).any())


def _checked_taps(taps_px: Array, shape: tuple[int, ...]) -> Array:
    taps = np.asarray(taps_px, dtype=np.float64).reshape(-1, 2)
    if len(taps) == 0 or not np.isfinite(taps).all():
        raise BadInput("taps are a list of [x, y] points", got=taps.tolist())
    out = (taps < -0.5).any(axis=1) | (taps > np.array([shape[1], shape[0]]) - 0.5).any(axis=1)
    if out.any():
        raise BadInput(
            "a tap lies outside the picture", got=taps[out][0].tolist(), do=f"it is {shape[1]} x {shape[0]} px"
        )
    return taps


def _try(gray: Image, box: Box, model: Model, taps: Array | None = None) -> _Try | None:
    """What is in a box; with taps, the piece of it that holds them all; None when that is nothing."""
    window = window_of(gray, box)
    found = terms(window)
    at = None if taps is None else window.cells(taps)
    odds = odds_of(window, found, model, _known(window, at))
    inside = solid(settle(window, odds) > 0, at)
    if int(inside.sum()) < LEAST_CELLS or (at is not None and not _holds(inside, at)):
        return None
    return _Try(window=window, inside=inside, odds=odds, contrast=contrast(found, inside, model))


def _holds(inside: Mask, at: Array) -> bool:
    """Whether every (column, row) point is in the mask."""
    column, row = np.rint(at).astype(int).T
    high, wide = inside.shape
    seen = (column >= 0) & (row >= 0) & (column < wide) & (row < high)
    return bool(seen.all() and inside[row, column].all())


def _known(window: Window, at: Array | None) -> Array | float:
    """Log odds that taps lend the cells about them."""
    if at is None:
        return 0.0
    row, column = np.mgrid[: window.grey.shape[0], : window.grey.shape[1]]
    near = np.min([(column - x) ** 2 + (row - y) ** 2 for x, y in at], axis=0)
    return np.asarray(TAP_ODDS * np.exp(-near / (2 * TAP_CELLS**2)))


def _from_taps(gray: Image, taps: Array, model: Model) -> Snapped | Unmeasured:
    """Boxes of many sizes about the taps; the smallest that is steady and nearly as clear as any."""
    low, high = taps.min(axis=0), taps.max(axis=0)
    side, found = FIRST_SIDE_PX, []
    while side <= max(FIRST_SIDE_PX, LARGEST_SIDE * min(gray.shape)):
        half = np.maximum(side / 2, 0.6 * (high - low) + 2)
        tried = _twice(gray, (low + high) / 2, half, taps, model)
        if tried is not None and tried.clear:
            found.append(tried)
        side *= SIDE_STEP
    if not found:
        return Unmeasured(reason="nothing stands out around these taps", hint="draw a box or an outline instead")
    best = max(t.contrast for t in found)
    return _outlined(next(t for t in found if t.contrast >= GOOD * best), False, taps)


def _twice(gray: Image, middle: Array, half: Array, taps: Array, model: Model) -> _Try | None:
    """A box about taps, then a box about what that gave; None unless both agree in size."""
    (x0, y0), (x1, y1) = middle - half, middle + half
    first = _try(gray, (float(x0), float(y0), float(x1), float(y1)), model, taps)
    if first is None or _size(first.box_px) < LEAST_SIDE_PX:
        return None
    second = _try(gray, grown(first.box_px, LOOSE), model, taps)
    if second is None or _size(second.box_px) < LEAST_SIDE_PX:
        return None
    return second if abs(np.log(_size(second.box_px) / _size(first.box_px))) < STEADY else None


def _size(box: Box) -> float:
    return float(np.sqrt((box[2] - box[0]) * (box[3] - box[1])))


def _outlined(tried: _Try, cut: bool, taps: Array | None = None) -> Snapped:
    """Outline between the cells, and what the area would be with the odds shifted by `DOUBT`."""
    window = tried.window
    at = None if taps is None else window.cells(taps)
    field = settle(window, tried.odds)
    high, wide = field.shape
    fine = cv2.resize(field, (wide * FINE, high * FINE), interpolation=cv2.INTER_LINEAR)
    inside = solid(fine > 0, None if at is None else (at + 0.5) * FINE - 0.5)
    deep = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5)
    middle = np.array(np.unravel_index(int(np.argmax(deep)), deep.shape))[None, ::-1]
    lines, _ = cv2.findContours(inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = cv2.approxPolyDP(max(lines, key=len), FINE / 5, True).reshape(-1, 2)
    area = [
        float(solid(settle(window, tried.odds + shift) > 0, at).sum()) * window.cell_px**2 for shift in (-DOUBT, DOUBT)
    ]
    return Snapped(
        outline_px=window.photo((line + 0.5) / FINE - 0.5), snapped=True, contrast=tried.contrast, cut=cut,
        middle_px=window.photo((middle + 0.5) / FINE - 0.5)[0],
        area_px=float(inside.sum()) * (window.cell_px / FINE) ** 2, area_u_px=(area[1] - area[0]) / 2,
    )  # fmt: skip


def _ellipse(box: Box, cut: bool, seen: float) -> Snapped:
    area = np.pi / 4 * (box[2] - box[0]) * (box[3] - box[1])
    middle = np.array([box[0] + box[2], box[1] + box[3]]) / 2
    return Snapped(
        outline_px=ellipse_in(box), snapped=False, contrast=seen, cut=cut, middle_px=middle,
        area_px=area, area_u_px=ELLIPSE_U * area,
    )  # fmt: skip
