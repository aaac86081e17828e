"""Lines a person taps along, snapped to the picture and measured: a crack, the eroded edge of a lip.

Both are followed the same way: the metal along the taps is rolled out, and the path with the most to show for it (a
dark valley for a crack, a step of grey for an edge) is found from end to end by dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput, NeedsPerson
from wearvision.finding import Finding
from wearvision.measure.chart import scale_at
from wearvision.measure.edges import log_gray
from wearvision.measure.finders.crack_finding import Length, crack_finding
from wearvision.measure.finders.tongue import Lip, lip_of
from wearvision.measure.finders.tongue_figures import NAMES, lip_figures
from wearvision.measure.finders.tongue_figures import to_finding as washout_of
from wearvision.measure.finders.tongue_trace import Trace
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import length_of
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured, Quantity, Unmeasured

ASIDE, ASIDE_PX = 0.2, 8.0
"""A path may leave the straight way between two taps by this share of it, and by so many photo px."""
TAP_PX = 4.0
"""A tap on a crack lies so near to it, photo px."""
REACH_PX = 14.0
"""A tap on a lip's edge lies so near to it, photo px."""
TURN, STEEP = 0.15, 2
"""Cost of a step aside, in the usual strength of a path; largest step, rows per column."""
SIDE_MM = 0.45
"""From the middle of a crack to the sound metal beside it."""
DARKER, WIDTH_MM = 0.10, (0.06, 0.8)
"""A crack is darker than both sides by this much, log grey; what takes less light than the least of these widths is a
scratch, a wider dark path is a groove, a shadow or a seam."""
LENGTH, WIDTH_DOUBT = Length(ends_mm=1.0, share=0.07), 0.35
"""How sure a length is, and standard uncertainty of a width as a share of it: light comes back out of a crack."""
STEP_FACTOR = 3.0
"""An edge steps at least this many times as much as its surroundings usually do."""
LEAST_MM = 2.0


def crack_along(gray: Image, plane: Plane, taps_px: Array, name: str) -> Finding:
    """A crack by two taps or more along it, in their order, its ends first and last: suspected, as all cracks are.

    Where next to nothing is dark along them, the taps themselves stand for it.

    Raises
    ------
    BadInput
        Taps outside the picture, or too near to each other.
    """
    taps = _taps(gray, plane, taps_px)
    pieces = [_valley(gray, plane, a, b) for a, b in pairwise(taps)]
    line = np.vstack([p.line_mm for p in pieces])
    length = np.array([length_of(p.line_mm) for p in pieces])
    dark, width, doubt = (
        float(np.average([getattr(p, n) for p in pieces], weights=length)) for n in ("dark", "width_mm", "width_u_mm")
    )
    told: Quantity = Measured.of(width, "mm", how="from the light it takes, the crack taken as black", edge=doubt)
    sure = dark >= DARKER and WIDTH_MM[0] <= width <= WIDTH_MM[1]
    if not sure:
        reason = "next to nothing is darker along the taps" if dark < DARKER else "what is dark there is not as narrow"
        told = Unmeasured(reason=reason, hint="clean it and look with a lens; a penetrant test tells")
    line = line if dark >= DARKER else plane.to_mm(taps)
    return crack_finding(name, line, plane, LENGTH, told, faint=not sure or dark < 2 * DARKER)


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """A dark path: points (N, 2) along it on the plane, its darkness, log grey, its width and doubt, mm."""

    line_mm: Array
    dark: float
    width_mm: float
    width_u_mm: float


def washout_along(gray: Image, plane: Plane, taps_px: Array, name: str) -> Finding:
    """A lip by three taps or more along its edge from corner to corner, held against the line of its sound parts.

    Raises
    ------
    BadInput
        Taps outside the picture, or too near to each other.
    NeedsPerson
        No edge along the taps, or no straight part of it to hold it against.
    """
    taps = _taps(gray, plane, taps_px)
    lips = [lip for way in (taps, taps[::-1]) if (lip := _lip(gray, plane, way)) is not None]
    if not lips:
        raise NeedsPerson(
            "no edge with sound, straight ends along these taps", do="tap closer to the edge, from corner to corner"
        )
    lip = max(lips, key=_missing)
    figures = lip_figures(lip, plane)
    found = washout_of(lip, 1, figures)
    if found is not None:
        return replace(found, id=name)
    outline = np.vstack([lip.px, lip.ends_px[::-1]])
    middle = lip.px[[int(np.argmax(lip.away_mm))]]
    return Finding(
        id=name, kind="washout", outline_px=outline, places_px=middle, flags=("faint",),
        quantities={n: figures[n] for n in NAMES[:5]},
    )  # fmt: skip


def follow(strength: Array, guide: Array, reach: Array) -> tuple[Array, Array]:
    """Row (N,) of the strongest path through an (R, N) strip within `reach` of `guide`, and its strength there.

    Sub-row by the parabola through the strength at the row and its neighbours.
    """
    rows, columns = strength.shape
    inside = np.abs(np.arange(rows)[:, None] - guide) <= reach
    usual = float(np.percentile(strength[inside], 90)) if inside.any() else 0.0
    cost = np.where(inside, -strength / max(usual, 1e-9), 1e6)
    total, steps = cost[:, 0], np.zeros((rows, columns), dtype=np.int8)
    shifts = sorted(range(-STEEP, STEEP + 1), key=abs)
    for k in range(1, columns):
        ways = np.stack([_shifted(total, s) + TURN * abs(s) for s in shifts])
        best = np.argmin(ways, axis=0)
        steps[:, k] = np.array(shifts)[best]
        total = ways[best, np.arange(rows)] + cost[:, k]
    path = np.zeros(columns, dtype=int)
    path[-1] = int(np.argmin(total))
    for k in range(columns - 1, 0, -1):
        path[k - 1] = np.clip(path[k] + steps[path[k], k], 0, rows - 1)
    at = np.clip(path, 1, rows - 2)
    column = np.arange(columns)
    low, mid, high = (strength[at + d, column] for d in (-1, 0, 1))
    bend = low - 2 * mid + high
    off = np.where(bend < -1e-9, (low - high) / (2 * np.minimum(bend, -1e-9)), 0.0)
    return at + np.clip(off, -0.5, 0.5), np.asarray(mid)


def _shifted(total: Array, by: int) -> Array:
    """Values `by` rows on; beyond the strip none is worth going to."""
    out = np.full(len(total), 1e9)
    source = total[max(0, by) : len(total) + min(0, by)]
    out[max(0, -by) : max(0, -by) + len(source)] = source
    return out


def _taps(gray: Image, plane: Plane, taps_px: Array) -> Array:
    taps = np.asarray(taps_px, dtype=np.float64).reshape(-1, 2)
    size = np.array(gray.shape[::-1])
    if (taps < 0).any() or (taps > size - 1).any():
        raise BadInput("taps outside the picture", got=taps.tolist(), do=f"the photo is {size[0]} x {size[1]} px")
    apart = np.hypot(*np.diff(plane.to_mm(taps), axis=0).T)
    if apart.min() < LEAST_MM or np.hypot(*(taps[-1] - taps[0])) < 1:
        do = f"put them {LEAST_MM:g} mm apart or more, in their order along it"
        raise BadInput("taps too near to each other", got=f"{apart.min():.1f} mm", do=do)
    return taps


def _strip(gray: Image, plane: Plane, ends_mm: Array, beside_mm: float) -> Patch:
    """The metal along a straight way, its middle row on the way."""
    run = ends_mm[1] - ends_mm[0]
    length = float(np.hypot(*run))
    down = np.array([-run[1], run[0]]) / length
    return patch_of(gray, plane, ends_mm[0] - down * beside_mm, run / length, (length, 2 * beside_mm))


def _valley(gray: Image, plane: Plane, from_px: Array, to_px: Array) -> Path:
    """The darkest path between two taps."""
    ends = plane.to_mm(np.vstack([from_px, to_px]))
    px_mm = scale_at(plane, ((from_px + to_px) / 2).reshape(1, 2))
    length = float(np.hypot(*(ends[1] - ends[0])))
    reach_mm = ASIDE * length + ASIDE_PX * px_mm
    strip = _strip(gray, plane, ends, reach_mm + 2 * SIDE_MM)
    tone = np.asarray(cv2.blur(log_gray(strip.values), (3, 1)), dtype=np.float64)
    away = max(3, round(SIDE_MM / strip.step_mm))
    padded = np.pad(tone, ((away, away), (0, 0)), mode="edge")
    level = np.minimum(padded[: -2 * away], padded[2 * away :])
    columns = np.arange(tone.shape[1])
    from_end = np.minimum(columns, columns[::-1]) * strip.step_mm
    reach = np.minimum(TAP_PX * px_mm + STEEP * from_end, reach_mm) / strip.step_mm
    guide = np.full(len(columns), reach_mm / strip.step_mm + 2 * SIDE_MM / strip.step_mm)
    valley = np.asarray(cv2.GaussianBlur(level - tone, (0, 0), 0.8), dtype=np.float64)
    row, depth = follow(valley, guide, reach)
    smooth = np.asarray(cv2.blur(row.reshape(-1, 1), (1, 9), borderType=cv2.BORDER_REFLECT)).ravel()
    low = np.clip(np.rint(row).astype(int), away, len(tone) - 1 - away)
    around = low + np.arange(-away, away + 1)[:, None]
    beside = np.minimum(tone[low - away, columns], tone[low + away, columns])
    taken = np.clip(1 - np.exp(tone[around, columns] - beside), 0, 1).sum(axis=0) * strip.step_mm
    width = float(np.median(taken / np.hypot(1, np.gradient(smooth))))
    keep = np.unique(np.linspace(0, len(columns) - 1, min(60, len(columns))).astype(int))
    return Path(
        line_mm=strip.to_mm(columns[keep].astype(float), smooth[keep]), dark=float(np.median(depth)), width_mm=width,
        width_u_mm=float(np.hypot(WIDTH_DOUBT * width, 0.25 * px_mm)),
    )  # fmt: skip


def _lip(gray: Image, plane: Plane, taps: Array) -> Lip | None:
    """The edge along taps as a lip that lacks metal a quarter turn on (x to y); None where nothing carries it."""
    mm = plane.to_mm(taps)
    px_mm = scale_at(plane, taps.mean(axis=0))
    run = mm[-1] - mm[0]
    off = abs((mm - mm[0]) @ np.array([-run[1], run[0]]) / np.hypot(*run)).max()
    strip = _strip(gray, plane, mm[[0, -1]], float(off) + 2 * REACH_PX * px_mm)
    grid = strip.to_grid(mm)
    if (np.diff(grid[:, 0]) <= 0).any():
        raise BadInput("taps of a lip go back and forth", got=taps.tolist(), do="give them in order along the edge")
    soft = cv2.GaussianBlur(log_gray(strip.values), (0, 0), 1.2)
    step = np.abs(np.gradient(soft, axis=0)).astype(np.float64)
    columns = np.arange(step.shape[1], dtype=np.float64)
    guide = np.interp(columns, grid[:, 0], grid[:, 1])
    row, clear = follow(step, guide, np.full(len(columns), REACH_PX * px_mm / strip.step_mm))
    usual = float(np.median(step)) + 1e-9
    seen: NDArray[np.bool_] = strip.valid[np.rint(row).astype(int), columns.astype(int)]
    if np.median(clear) < STEP_FACTOR * usual or seen.mean() < 0.5:
        return None
    ends = (float(grid[0, 0]), float(grid[-1, 0]))
    nothing = np.zeros(len(row))  # whoever tapped it has said which of the rim's borders it is
    trace = Trace(patch=strip, column=columns, row=row, clear=clear / usual, behind=nothing, seen=seen, ends=ends)
    return lip_of(trace, plane)


def _missing(lip: Lip) -> tuple[float, float]:
    """How well a side fits: wear lies on one side only, so the line has little before it and much behind it."""
    behind, before = np.percentile(lip.away_mm, 98), -np.percentile(lip.away_mm, 2)
    return (float(behind - before), float(lip.sound.mean()))
