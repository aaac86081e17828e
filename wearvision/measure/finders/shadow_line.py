"""The shadow of a straightedge across a part: the long edge of it on which the metal goes on alike, followed.

In the picture lie several long straight edges: those of the straightedge itself and those of its shadow. Across a
shadow's edge rust, rings and stains of the metal go on, darker by one and the same factor; across the straightedge's
own they end.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import (
    BAND_MM,
    CLIP,
    EVERY_MM,
    JUMP_COST,
    LEAP_COST,
    PATH_EVERY,
    LightLine,
    unbroken,
)  # fmt: skip
from wearvision.measure.finders.light_plane import Straight, straight_line
from wearvision.measure.finders.shadow_edge import Edge, as_light, edges, softness
from wearvision.measure.finders.shadow_seek import TURNED_DEG, Rise, seek
from wearvision.measure.finders.way import best_way
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array
from wearvision.quantity import Unmeasured

GIVEN, ROUGH_MM, FINE_MM = 2, 0.12, 0.08
"""Edges given; pixels, at most, of the copies on which it is judged which ones, and on which they are followed."""
BESIDE_MM, BREAK_MM = 0.2, 6.0
"""How far to either side along an edge its light is averaged; longest stretch bridged."""
LEAST_MM, LEAST_PLACES = 15.0, 20
"""Least length of an edge that is plain to see, least places of it that are open."""
NEAR, LOOSE, KEPT = 0.25, 2.5, 0.85
"""Share of the band within which a path keeps to an edge of the map; how much more freely the one that is taken is
followed again, when so much of its straight part is kept."""
SOFT_MM, SOFT_SHARE = 0.6, 0.1
"""An edge of a larger standard deviation is too soft to tell a depth; the middle is doubted by this share of it: lamps
are not even and tones not exact."""
BESIDE = 2.5, 4.5
"""Where the metal on either side is looked at, in standard deviations of the edge from its middle."""
EVEN, SPANS, MOST = 5, (31, 101), 3.0
"""Places along the edge over which the metal's tone is evened out; of what spans of places its mean is taken off, so
that fine and coarse marks count; and how many of their usual sizes the strongest count."""
ALIKE, ENOUGH = 0.15, 0.5
"""How alike both sides must vary along the edge at least, and what is enough."""
STRAIGHT = 0.5
"""Least share of an edge that keeps to a straight line."""
HINT = "a small lamp far away in a dim room, the straightedge on the part or right over it, across the wear"
LOST = Unmeasured(reason="no edge of a shadow stands out", hint=HINT)


def find_shadow(ground: Ground, band_mm: float = BAND_MM) -> Iterator[LightLine] | Unmeasured:
    """What may be the edge of a straightedge's shadow, likeliest first, followed one by one; see `find_line`."""
    near, small, fine, told = NEAR * band_mm, ground.smaller(ROUGH_MM), ground.smaller(FINE_MM), LOST
    found: list[tuple[float, Rise, float]] = []
    soft: list[Rise] = []
    for rise in seek(ground):
        line = _follow(small, rise, band_mm, near)
        if not isinstance(line, LightLine):
            told = told if soft else line
        elif line.soft_mm > SOFT_MM:
            told, soft = _too_soft(line), [*soft, rise]
        elif not any(rise.turned(plainer) < TURNED_DEG for plainer in soft):
            straight = straight_line(line)
            worth = rise.score * _like_a_shadow(line, straight)
            found += [(worth, rise, float(straight.level.sum()) * line.every_mm)] if worth else []
    lines = (
        line for _, rise, long_mm in sorted(found, key=lambda f: -f[0])[:GIVEN]
        if isinstance(line := _freely(fine, rise, band_mm, near, long_mm), LightLine) and line.soft_mm <= SOFT_MM
    )  # fmt: skip
    first = next(lines, None)
    return told if first is None else chain([first], lines)


def _too_soft(line: LightLine) -> Unmeasured:
    """What is said of an edge that is too soft; weaker ones that rise the same way are parts of it."""
    why = f"the edge of the shadow is too soft: it rises over {2.5 * line.soft_mm:.1f} mm"
    return Unmeasured(reason=why, hint=HINT)


def _freely(
    ground: Ground, rise: Rise, band_mm: float, near_mm: float, long_mm: float
) -> LightLine | Unmeasured:
    """An edge followed into its dips, as long as that keeps to most of its straight part."""
    line = _follow(ground, rise, band_mm, LOOSE * near_mm)
    if isinstance(line, LightLine) and straight_line(line).level.sum() * line.every_mm > KEPT * long_mm:
        return line
    return _follow(ground, rise, band_mm, near_mm)


def _like_a_shadow(line: LightLine, straight: Straight) -> float:
    """0 to 1: how straight it runs, and whether the metal is alike on both its sides; 0 when either is too little."""
    share = float(straight.level.sum() / line.sure.sum())
    alike = _alike(line, line.sure & straight.level) if share > STRAIGHT else 0.0
    return share**2 * min(alike, ENOUGH) if alike > ALIKE else 0.0


def _follow(ground: Ground, rise: Rise, band_mm: float, near_mm: float) -> LightLine | Unmeasured:
    """An edge followed both ways."""
    band = ground.band(rise.middle_mm, rise.along, band_mm)
    if band is None:
        return LOST
    patch, free = band
    every = max(1, round(EVERY_MM / patch.step_mm))
    block = every * PATH_EVERY
    columns = np.arange(every // 2, free.shape[1] // block * block, every)
    if not len(columns):
        return LOST
    row = _rough(patch, free, block, columns, near_mm)
    light, lit = as_light(patch.values), free[row, columns]
    if lit.sum() < LEAST_PLACES:
        return LOST
    soft = softness(light, row[lit], columns[lit], round(3 * SOFT_MM / patch.step_mm))
    edge = edges(light, row, columns, soft, max(1, round(BESIDE_MM / patch.step_mm)))
    at = np.clip(np.rint(edge.row), 0, len(free) - 1).astype(int)
    sure = unbroken(edge.sure() & free[at, columns], round(BREAK_MM / EVERY_MM))
    if sure.sum() * every * patch.step_mm < LEAST_MM:
        return Unmeasured(reason="the edge of the shadow cannot be followed", hint=HINT)
    return _line(patch, columns, edge, sure)


def _line(patch: Patch, columns: NDArray[np.int64], edge: Edge, sure: NDArray[np.bool_]) -> LightLine:
    runs = np.flatnonzero(sure)
    keep = slice(int(runs[0]), int(runs[-1]) + 1)
    wobble = np.diff(edge.row[sure], 2)
    noise = 1.4826 * float(np.median(np.abs(wobble))) / np.sqrt(6) * patch.step_mm
    doubt = float(np.hypot(noise, SOFT_SHARE * edge.soft * patch.step_mm))
    return LightLine(
        patch=patch, column=columns[keep].astype(np.float64), row=edge.row[keep], sure=sure[keep],
        noise_px=doubt / patch.px_mm, soft_mm=edge.soft * patch.step_mm,
    )  # fmt: skip


def _alike(line: LightLine, where: NDArray[np.bool_]) -> float:
    """How alike the metal's marks are on both sides of the edge: near 1 for one metal in light and shadow, near 0 where
    something ends; the mean of Lin's concordance over all spans."""
    light, soft = as_light(line.patch.values), line.soft_mm / line.patch.step_mm
    column, row = line.column[where], line.row[where]
    dark, lit = (_tone(light, column, row, side, soft) for side in (-1, 1))
    return float(np.mean([_concordance(_marks(dark, span), _marks(lit, span)) for span in SPANS]))


def _tone(light: Grid, column: Array, row: Array, side: int, soft: float) -> Grid:
    """Log light (N,) of the metal on one side."""
    off = side * np.linspace(BESIDE[0] * soft + 1, BESIDE[1] * soft + 6, 7)
    y = np.clip(row[:, None] + off, 0, len(light) - 1).astype(np.float32)
    x = np.repeat(column[:, None], len(off), axis=1).astype(np.float32)
    return np.asarray(np.log(cv2.remap(light, x, y, cv2.INTER_LINEAR).mean(axis=1) + 1e-3), dtype=np.float32)


def _marks(tone: Grid, span: int) -> Grid:
    """What stands out from the mean of a span."""
    along = tone.reshape(1, -1)
    return np.asarray((cv2.blur(along, (EVEN, 1)) - cv2.blur(along, (span, 1))).ravel())


def _concordance(one: Grid, other: Grid) -> float:
    """Lin's concordance of deviations, the strongest held back."""
    most = MOST * 1.4826 * float(np.median(np.abs([one, other]))) + 1e-6
    a, b = np.clip(one, -most, most), np.clip(other, -most, most)
    return float(2 * (a * b).sum() / ((a**2).sum() + (b**2).sum() + 1e-9))


def _rough(
    patch: Patch, free: NDArray[np.bool_], block: int, columns: NDArray[np.int64], near_mm: float
) -> NDArray[np.int64]:
    """Row of the edge's rough path in each of the columns, sought on means of `block` columns."""
    count = free.shape[1] // block
    size, part = (count, free.shape[0]), slice(0, count * block)
    mean: Grid = np.asarray(
        cv2.resize(patch.values[:, part], size, interpolation=cv2.INTER_AREA), dtype=np.float32
    )
    open_ = cv2.resize(free[:, part].astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    sigma = max(1.0, 0.25 / patch.step_mm)
    smooth = cv2.GaussianBlur(log_gray(mean), (1, 2 * round(3 * sigma) + 1), sigma)
    rise = np.gradient(smooth, axis=0)
    usual = 1.4826 * float(np.median(np.abs(rise[open_][::5]))) + 1e-4
    told = np.float32(CLIP) * np.log1p(np.where(open_, np.maximum(rise / usual, 0), 0).astype(np.float32) / CLIP)
    off = (np.arange(len(told)) - (len(told) - 1) / 2) * patch.step_mm / near_mm
    told = told / (1 + off**2).astype(np.float32)[:, None]
    rows = best_way(np.ascontiguousarray(told.T), JUMP_COST / 4 * block, LEAP_COST)
    return np.asarray(np.interp(columns, (np.arange(count) + 0.5) * block - 0.5, rows).round(), dtype=np.int64)
