"""The shadow of a straightedge across a part: the long edge of it on which the metal goes on alike, followed.

In the picture lie several long straight edges: those of the straightedge itself and those of its shadow. Across a
shadow's edge rust, rings and stains of the metal go on, darker by one and the same factor; across the straightedge's
own they end.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.light_line import (
    ASKEW_DEG,
    BAND_MM,
    CLIP,
    EVERY_MM,
    JUMP_COST,
    LEAP_COST,
    MAP_MM,
    PATH_EVERY,
    RUN_MM,
    LightLine,
    inside,
    unbroken,
)  # fmt: skip
from wearvision.measure.finders.light_plane import straight_line
from wearvision.measure.finders.shadow_edge import Edge, as_light, edges, softness
from wearvision.measure.finders.way import best_way
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured

TURN_DEG, EACH, TRIED, GIVEN = 4.0, 3, 8, 3
"""Directions tried, edges kept of each, edges followed, and edges given."""
APART_MM, TURNED_DEG = 1.2, 10.0
"""Edges nearer and less turned than this are one."""
STRIP_MM = 0.6, 20.0
"""Widths of the dark strip between a straightedge's own edge and that of its shadow."""
EDGE_SIGMA, BESIDE_MM, BREAK_MM = 1.2, 0.3, 6.0
"""Blur of the map, samples; how far to either side along an edge its light is averaged; longest stretch bridged."""
LEAST, LEAST_MM = 1.5, 15.0
"""Least mean rise along an edge, in usual rises of the picture; least length that is plain to see."""
NEAR, LOOSE, KEPT = 0.25, 2.5, 0.85
"""Share of the band within which a path keeps to an edge of the map; how much more freely the one that is taken is
followed again, when so much of its straight part is kept."""
SOFT_MM, SOFT_SHARE = 0.6, 0.1
"""An edge of a larger standard deviation is too soft to tell a depth; the middle is doubted by this share of it: lamps
are not even and tones not exact."""
BESIDE = 2.5, 4.5
"""Where the metal on either side is looked at, in standard deviations of the edge from its middle."""
ALIKE, ENOUGH, EVEN = 0.3, 0.5, 11
"""How alike both sides must vary along the edge at least, and what is enough; places over which that is evened out."""
STRAIGHT = 0.5
"""Least share of an edge that keeps to a straight line."""
HINT = "a small lamp far away in a dim room, the straightedge on the part or right over it, across the wear"


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """An edge on the map: mean rise, a place of it and its direction on the plane; light rises to its left (x to y)."""

    score: float
    middle: tuple[float, float]
    turn_deg: float


def find_shadow(
    gray: Image, plane: Plane, exclude_px: tuple[Array, ...], within_px: Array | None = None,
    axis_mm: Array | None = None, band_mm: float = BAND_MM,
) -> list[LightLine] | Unmeasured:  # fmt: skip
    """What may be the edge of a straightedge's shadow, likeliest first, followed; arguments as for `find_line`."""
    near = NEAR * band_mm
    told = Unmeasured(reason="no edge of a shadow stands out", hint=HINT)
    found: list[tuple[float, _Seen, LightLine]] = []
    for seen in _seen(gray, plane, exclude_px, within_px, axis_mm):
        line = _follow(gray, plane, exclude_px, within_px, seen, band_mm, near)
        if isinstance(line, Unmeasured):
            told = line
        elif worth := seen.score * _like_a_shadow(line):
            found.append((worth, seen, line))
    given = []
    for _, seen, line in sorted(found, key=lambda f: -f[0])[:GIVEN]:
        loose = _follow(gray, plane, exclude_px, within_px, seen, band_mm, LOOSE * near)
        if isinstance(loose, Unmeasured):
            told = loose
        else:
            given.append(loose if _keeps(loose, line) else line)
    return given or told


def _like_a_shadow(line: LightLine) -> float:
    """0 to 1: how straight it runs, and whether the metal is alike on both its sides; 0 when either is too little."""
    straight = straight_line(line)
    share = float(straight.level.sum() / line.sure.sum())
    alike = _alike(line, line.sure & straight.level)
    return share**2 * min(alike, ENOUGH) if share > STRAIGHT and alike > ALIKE else 0.0


def _keeps(loose: LightLine, line: LightLine) -> bool:
    """Whether an edge followed more freely, into its dips, is still the same edge."""
    return bool(straight_line(loose).level.sum() > KEPT * straight_line(line).level.sum())


def _seen(
    gray: Image, plane: Plane, exclude_px: tuple[Array, ...], within_px: Array | None, axis_mm: Array | None
) -> list[_Seen]:
    """Long straight edges on a coarse map of the part, strongest first."""
    width, height = plane.size_px
    frame = np.array([[0.0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]])
    mm = plane.to_mm(np.clip(frame if within_px is None else within_px, 0, [width - 1, height - 1]))
    low, size = mm.min(axis=0), np.ptp(mm, axis=0)
    patch = patch_of(
        gray, plane, low, np.array([1.0, 0.0]), (float(size[0]), float(size[1])), step_mm=MAP_MM, exclude_px=exclude_px
    )
    valid = cv2.erode(patch.valid.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    valid &= inside(patch, plane, within_px)
    if valid.sum() < 100:
        return []
    smooth = cv2.GaussianBlur(log_gray(patch.values), (0, 0), EDGE_SIGMA)
    slopes = [cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in ((1, 0), (0, 1))]
    usual = float(np.median(np.hypot(*slopes)[valid])) + 1e-4
    x, y = (np.where(valid, slope / usual, 0).astype(np.float32) for slope in slopes)
    bearing = _bearing(patch, axis_mm)
    found: list[_Seen] = []
    for turn in np.arange(0.0, 360.0, TURN_DEG):
        rad = np.radians(turn)
        rise = np.clip(y * np.float32(np.cos(rad)) - x * np.float32(np.sin(rad)), -CLIP, CLIP)
        if bearing is not None:
            rise = np.where(np.abs(np.cos(bearing - rad)) > np.cos(np.radians(ASKEW_DEG)), rise, 0)
        found += _judge(np.asarray(rise, dtype=np.float32), float(turn), patch)
    return _paired(_main_way(_apart(sorted(found, key=lambda s: -s.score))))[:TRIED]


def _bearing(patch: Patch, axis_mm: Array | None) -> Grid | None:
    """Direction from the axis at each sample."""
    if axis_mm is None:
        return None
    x, y = patch.to_grid(axis_mm.reshape(1, 2))[0]
    rows, columns = np.mgrid[: patch.values.shape[0], : patch.values.shape[1]].astype(np.float32)
    return np.asarray(np.arctan2(rows - np.float32(y), columns - np.float32(x)), dtype=np.float32)


def _judge(rise: Grid, turn: float, patch: Patch) -> list[_Seen]:
    """The best few runs of this direction."""
    height, width = rise.shape
    side = int(np.hypot(height, width)) + 2
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), turn, 1.0)
    matrix[:, 2] += ((side - width) / 2, (side - height) / 2)
    told = cv2.blur(
        cv2.warpAffine(rise, matrix, (side, side)), (round(RUN_MM / MAP_MM) | 1, 1), borderType=cv2.BORDER_CONSTANT
    )
    best, back = told.max(axis=1), cv2.invertAffineTransform(matrix)
    out: list[_Seen] = []
    for _ in range(EACH):
        row = int(np.argmax(best))
        if best[row] < LEAST:
            break
        place = patch.to_mm(*(np.array([v]) for v in back @ np.array([float(np.argmax(told[row])), row, 1.0])))[0]
        out.append(_Seen(score=float(best[row]), middle=(float(place[0]), float(place[1])), turn_deg=turn))
        near = round(2 * APART_MM / MAP_MM)
        best[max(0, row - near) : row + near + 1] = 0
    return out


def _apart(found: list[_Seen]) -> list[_Seen]:
    """Each edge once."""
    kept: list[_Seen] = []
    for seen in found:
        for other in kept:
            rad = np.radians(other.turn_deg)
            dx, dy = seen.middle[0] - other.middle[0], seen.middle[1] - other.middle[1]
            turned = abs((seen.turn_deg - other.turn_deg + 180) % 360 - 180)
            if turned < TURNED_DEG and abs(dy * np.cos(rad) - dx * np.sin(rad)) < APART_MM:
                break
        else:
            kept.append(seen)
    return kept


def _main_way(found: list[_Seen]) -> list[_Seen]:
    """Edges that run, one way or the other, as most of the strongest do: a straightedge has two and its shadow one."""

    def near(seen: _Seen, most_deg: float) -> list[_Seen]:
        return [s for s in found if abs((s.turn_deg - seen.turn_deg + 90) % 180 - 90) <= most_deg]

    if not found:
        return []
    main = max(found, key=lambda seen: sum(s.score**3 for s in near(seen, TURN_DEG)))
    return near(main, TURNED_DEG)


def _paired(found: list[_Seen]) -> list[_Seen]:
    """Edges of dark strips: another rises the other way, about parallel, a little to their dark side."""
    kept = []
    for seen in found:
        normal = np.array([-np.sin(np.radians(seen.turn_deg)), np.cos(np.radians(seen.turn_deg))])
        for other in found:
            turned = abs((seen.turn_deg - other.turn_deg) % 360 - 180)
            away = float((np.array(seen.middle) - np.array(other.middle)) @ normal)
            if turned < TURNED_DEG + TURN_DEG and STRIP_MM[0] < away < STRIP_MM[1]:
                kept.append(seen)
                break
    return kept


def _follow(
    gray: Image, plane: Plane, exclude_px: tuple[Array, ...], within_px: Array | None, seen: _Seen, band_mm: float,
    near_mm: float,
) -> LightLine | Unmeasured:
    """An edge followed both ways."""
    reach, rad = 110.0, np.radians(seen.turn_deg)
    along, normal = np.array([np.cos(rad), np.sin(rad)]), np.array([-np.sin(rad), np.cos(rad)])
    start = np.array(seen.middle) - along * reach - normal * band_mm
    patch = patch_of(gray, plane, start, along, (2 * reach, 2 * band_mm), down=normal, exclude_px=exclude_px)
    free = patch.valid & inside(patch, plane, within_px)
    every = max(1, round(EVERY_MM / patch.step_mm))
    seen_at = np.flatnonzero(free.any(axis=0))
    block = every * PATH_EVERY
    if len(seen_at) < block:
        return Unmeasured(reason="no edge of a shadow stands out", hint=HINT)
    part = slice(int(seen_at[0]) // block * block, int(seen_at[-1]) + 1)
    columns = np.arange(part.start + every // 2, part.stop, every)
    row = _rough(patch, free, part, block, columns, near_mm)
    light = as_light(patch.values)
    lit = free[row, columns]
    if lit.sum() < 20:
        return Unmeasured(reason="no edge of a shadow stands out", hint=HINT)
    soft = softness(light, row[lit], columns[lit], round(3 * SOFT_MM / patch.step_mm))
    if soft * patch.step_mm > SOFT_MM:
        why = f"the edge of the shadow is too soft: it rises over {2.5 * soft * patch.step_mm:.1f} mm"
        return Unmeasured(reason=why, hint=HINT)
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
    """How alike the two sides vary along the edge (Lin's concordance): near 1 for one metal in light and shadow."""
    light, soft = as_light(line.patch.values), line.soft_mm / line.patch.step_mm
    column, row = line.column[where], line.row[where]
    sides = []
    for side in (-1, 1):
        off = side * np.linspace(BESIDE[0] * soft + 1, BESIDE[1] * soft + 5, 7)
        y = np.clip(row[:, None] + off, 0, len(light) - 1).astype(np.float32)
        x = np.repeat(column[:, None], len(off), axis=1).astype(np.float32)
        level = np.log(cv2.remap(light, x, y, cv2.INTER_LINEAR).mean(axis=1) + 1e-3)
        even = cv2.blur(level.reshape(1, -1).astype(np.float32), (EVEN, 1)).ravel()
        sides.append(even - np.polyval(np.polyfit(column, even, 2), column))
    dark, lit = sides
    return float(2 * (dark * lit).sum() / ((dark**2).sum() + (lit**2).sum() + 1e-6))


def _rough(
    patch: Patch, free: NDArray[np.bool_], part: slice, block: int, columns: NDArray[np.int64], near_mm: float
) -> NDArray[np.int64]:
    """Row of the edge's rough path in each of the columns, sought on means of `block` columns of a part."""
    count = (part.stop - part.start) // block
    size, part = (count, free.shape[0]), slice(part.start, part.start + count * block)
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
    middles = part.start + (np.arange(count) + 0.5) * block - 0.5
    return np.asarray(np.interp(columns, middles, rows).round(), dtype=np.int64)
