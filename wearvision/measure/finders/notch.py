"""What is left of a followed gasket land: its least width and where, and the bites out of either edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.edges import Grid
from wearvision.measure.finders.gasket import Land
from wearvision.measure.lips import running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Quantity

LEAST_LOSS_MM, NOISES = 0.4, 6.0
"""A bite is deeper than this, and than so many times the edge's usual scatter."""
LEAST_ROWS, BRIDGE_ROWS, CALM_ROWS = 3, 4, 41
"""Rows of the least bite; gaps that are bridged; rows over which a sound edge is averaged."""
FOOT_SHARE, FOOT_MM = 0.05, 0.15
"""A bite begins where the loss is over this share of its depth, and over so many mm."""
EDGE_PX, RAGGED_MM = 0.2, 0.12
"""Standard uncertainty common to an edge: localisation, photo px; raggedness and shadow taken for land, mm."""
TIP_DEG, FOOT_DOUBT = 0.4, 0.05
"""Standard uncertainty of a bite's arc, in degrees and as a share: its feet run out flat."""
DEPTH_DOUBT = 0.02
"""Standard uncertainty of a bite's tip as a share of its loss: it narrows and lies in shadow."""
OPEN_MM, DEEP_SHARE, STEP_SHARE = 0.9, 0.4, 0.3
"""Where a bite is deeper than this and this share of its depth, what is left of a step at the old edge has to be less
than this share of the new edge's."""
SHALLOW_ROWS, SHALLOW_SURE = 10, 0.8
"""Shallower ones have to be this long, and clear over this share."""
THROUGH_MM = 0.5
"""With less left, a step must be missing at the other edge's circle as well."""
BREACH_MM = 0.3
"""Less than this left is a leak path."""


@dataclass(frozen=True, kw_only=True)
class Bite:
    """Rows (first, last, rising, may pass the lap) of a bite, which edge (0 inner, 1 outer), its deepest row."""

    first: int
    last: int
    edge: int
    deepest: int


def land_findings(land: Land, plane: Plane) -> tuple[Finding, ...]:
    """The land, then its bites, deepest first."""
    loss = _losses(land)
    bites: list[Bite] = []
    unsure: list[Bite] = []
    for k in (0, 1):
        for bite in _bites(loss[k], max(0.02, land.scatter_mm[k]), k, land):
            (bites if _is_open(bite, loss[k], land) else unsure).append(bite)
    land = _settled(_without(land, unsure), bites)
    bites.sort(key=lambda b: -float(loss[b.edge][b.deepest]))
    found = [_whole(land, bites, plane)]
    found += [_bite(f"N{i}", b, loss[b.edge], land, plane) for i, b in enumerate(bites, start=1)]
    return tuple(found)


def _without(land: Land, unsure: list[Bite]) -> Land:
    """The land with its circles where it only looked bitten; nothing is sure there."""
    edges, sure = np.array([land.inner_mm, land.outer_mm]), land.sure.copy()
    for bite in unsure:
        rows = np.arange(bite.first, bite.last + 1) % len(sure)
        edges[bite.edge][rows] = land.sound_mm[bite.edge][rows]
        sure[rows] = False
    return replace(land, inner_mm=edges[0], outer_mm=edges[1], sure=sure)


def _settled(land: Land, bites: list[Bite]) -> Land:
    """Edges outside of bites averaged over rows, and no further out than their circles, where only a shadow can lie."""
    lap, edges = len(land.deg), []
    for k, (loss, way) in enumerate(zip(_losses(land), (1.0, -1.0), strict=True)):
        padded = np.concatenate([loss[-CALM_ROWS:], loss, loss[:CALM_ROWS]])
        calm = np.maximum(running_median(padded, CALM_ROWS)[CALM_ROWS:-CALM_ROWS], 0.0)
        for bite in bites:
            if bite.edge == k:
                calm[_rows(bite, lap)] = loss[_rows(bite, lap)]
        edges.append(land.sound_mm[k] + way * calm)
    return replace(land, inner_mm=edges[0], outer_mm=edges[1])


def _losses(land: Land) -> tuple[Array, Array]:
    """How far each edge lies inside the circle it once was, (N,) each."""
    return land.inner_mm - land.sound_mm[0], land.sound_mm[1] - land.outer_mm


def _is_open(bite: Bite, loss: Array, land: Land) -> bool:
    """Whether what lies beyond the land runs on into the bite: no line and no change of tone where the edge once was.

    A stain that reaches the edge is cut off there; a bite is not.
    """
    lap = len(loss)
    rows = np.arange(bite.first, bite.last + 1) % lap
    rows = rows[(loss[rows] > DEEP_SHARE * loss[bite.deepest]) & (loss[rows] > OPEN_MM)]
    if not len(rows):
        sure = land.sure[np.arange(bite.first, bite.last + 1) % lap]
        return bool(len(sure) >= SHALLOW_ROWS and sure.mean() > SHALLOW_SURE)
    old = _step(land, rows, land.sound_mm[bite.edge][rows])
    new = _step(land, rows, (land.inner_mm, land.outer_mm)[bite.edge][rows])
    other = land.sound_mm[1 - bite.edge][rows]
    through = np.abs(other - (land.inner_mm, land.outer_mm)[bite.edge][rows]) < THROUGH_MM
    if through.any() and _step(land, rows[through], other[through]) > STEP_SHARE * new:
        return False  # the other edge still stands where this one would have gone through
    return old < STEP_SHARE * new


def _step(land: Land, rows: NDArray[np.int64], radius_mm: Array) -> float:
    """Steepest change of the mean grey across a line that goes through rows at given radii, log grey per half mm."""
    across = np.linspace(-0.8, 0.8, 33)
    mean = _at(land.calm, rows, radius_mm[:, None] + across, land).mean(axis=0)
    return float(np.abs(mean[10:] - mean[:-10]).max())


def _at(grid: Grid, rows: NDArray[np.int64], radius_mm: Array, land: Land) -> Array:
    column = np.rint((radius_mm - land.strip.start_mm) / land.strip.step_mm).astype(np.int64)
    return np.asarray(grid[rows[:, None], np.clip(column, 0, grid.shape[1] - 1)], dtype=np.float64)


def _bites(loss: Array, scatter: float, edge: int, land: Land) -> list[Bite]:
    """Runs of rows where an edge is bitten into."""
    lap = len(loss)
    deep = np.where(land.seen, loss, 0.0)
    padded = np.concatenate([deep[-8:], deep, deep[:8]]) if land.strip.closed else np.pad(deep, 8)
    calm = running_median(padded, 3)[8:-8]
    core = calm > max(LEAST_LOSS_MM, NOISES * scatter)
    out = []
    for first, last in _runs(core, closed=land.strip.closed):
        if last - first + 1 < LEAST_ROWS:
            continue
        rows = np.arange(first, last + 1)
        deepest = int(rows[np.argmax(calm[rows % lap])]) % lap
        foot = max(FOOT_MM, 2 * scatter, FOOT_SHARE * float(calm[deepest]))
        while calm[(first - 1) % lap] > foot and last - first < lap // 2:
            first -= 1
        while calm[(last + 1) % lap] > foot and last - first < lap // 2:
            last += 1
        out.append(Bite(first=first, last=last, edge=edge, deepest=deepest))
    return out


def _runs(flags: NDArray[np.bool_], *, closed: bool) -> list[tuple[int, int]]:
    """Runs of true rows, gaps of up to `BRIDGE_ROWS` bridged; first may be negative on a closed lap."""
    rows = np.flatnonzero(flags)
    if not len(rows):
        return []
    parts = np.split(rows, np.flatnonzero(np.diff(rows) > BRIDGE_ROWS + 1) + 1)
    runs = [(int(p[0]), int(p[-1])) for p in parts]
    if closed and len(runs) > 1 and runs[0][0] + len(flags) - runs[-1][1] <= BRIDGE_ROWS + 1:
        last = runs.pop()
        runs[0] = (last[0] - len(flags), runs[0][1])
    return runs


def _whole(land: Land, bites: list[Bite], plane: Plane) -> Finding:
    """The land with its least width."""
    lap = len(land.deg)
    calm = np.maximum(land.width_mm, 0.0)
    known = land.seen & land.sure
    least = int(np.argmin(np.where(known, calm, np.inf)))
    bitten = any(least in _rows(b, lap) for b in bites)
    lost = sum(float(loss[least]) for loss in _losses(land)) if bitten else 0.0
    quantities: dict[str, Quantity] = {"remaining_width": _across(land, least, float(calm[least]), plane, lost)}
    usual = int(np.argsort(np.where(known, calm, np.nan))[int(known.sum()) // 2])
    quantities["width"] = _across(land, usual, float(calm[usual]), plane)
    some = slice(None, None, max(1, lap // 360))
    inner, outer = (ring_points(land.face.centre_mm, land.deg, r)[some] for r in (land.inner_mm, land.outer_mm))
    ring = np.vstack([inner, inner[:1], outer[::-1], outer[-1:]])
    flags = () if land.seen.all() else ("cut-by-frame",)
    if float(calm[least]) < BREACH_MM:
        flags = (*flags, "breach")
    spots = [least, *[(least + lap * k // 4) % lap for k in (1, 2, 3)]]
    middle = ring_points(land.face.centre_mm, land.deg[spots], (land.inner_mm[spots] + land.outer_mm[spots]) / 2)
    return Finding(
        id="L1", kind="gasket-land", outline_px=plane.to_px(ring), quantities=quantities, flags=flags,
        places_px=plane.to_px(middle[land.seen[spots]]),
    )  # fmt: skip


def _rows(bite: Bite, lap: int) -> NDArray[np.int64]:
    return np.arange(bite.first, bite.last + 1) % lap


def _across(land: Land, row: int, width_mm: float, plane: Plane, lost_mm: float = 0.0) -> Quantity:
    """A width at a row with its uncertainty."""
    middle = (land.inner_mm[row] + land.outer_mm[row]) / 2
    radii = np.array([middle - width_mm / 2, middle + width_mm / 2])
    ends = ring_points(land.face.centre_mm, np.full(2, land.deg[row]), radii)
    return _length(ends, land, plane, "left between the edges", lost_mm)


def _length(ends_mm: Array, land: Land, plane: Plane, how: str, lost_mm: float) -> Quantity:
    ends_px = plane.to_px(ends_mm)
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(ends_px), axis=0)[0])]))
    edge = 1.4 * EDGE_PX * land.strip.px_mm
    outline = float(np.hypot(RAGGED_MM * 1.4, DEPTH_DOUBT * lost_mm))
    return Measured.of(float(value[0]), "mm", how=how, edge=edge, outline=outline,
                       **{name: float(u[0]) for name, u in parts.items()})  # fmt: skip


def _bite(name: str, bite: Bite, loss: Array, land: Land, plane: Plane) -> Finding:
    """One bite: loss, arc, what is left at its deepest, area."""
    lap = len(land.deg)
    rows = np.arange(bite.first, bite.last + 1)
    at = rows % lap
    edge = (land.inner_mm, land.outer_mm)[bite.edge]
    way = (1.0, -1.0)[bite.edge]
    sound = edge - way * np.nan_to_num(loss)
    deg, step = land.deg[0] + rows * land.strip.step_deg, land.strip.step_deg
    deepest = bite.deepest
    centre = land.face.centre_mm
    tip = ring_points(centre, np.full(2, land.deg[deepest]), np.array([sound[deepest], edge[deepest]]))
    lost = _length(tip, land, plane, "deepest, from the edge's own circle", float(loss[deepest]))
    assert isinstance(lost, Measured)
    area = float(np.sum(np.clip(np.nan_to_num(loss[at]), 0, None) * (edge[at] + sound[at]) / 2) * np.radians(step))
    arc = float(len(rows) * step)
    length = float(np.radians(arc) * np.mean(edge[at]))
    side = EDGE_PX * land.strip.px_mm + RAGGED_MM / 2
    scale = 2 * area * lost.u / max(lost.value, 1e-6) if lost.value > 3 else 0.0
    end = float(np.hypot(TIP_DEG, FOOT_DOUBT * arc))
    outline = np.vstack([ring_points(centre, deg, edge[at]), ring_points(centre, deg, sound[at])[::-1]])
    quantities: dict[str, Quantity] = {
        "loss": lost,
        "arc": Measured.of(arc, "deg", how="from foot to foot", outline=end),
        "remaining_width": _across(land, deepest, float(land.width_mm[deepest]), plane, float(loss[deepest])),
        "area": Measured.of(area, "mm2", how="between the edge and its circle", edge=side * length, scale=scale),
    }
    flags = ("breach",) if float(land.width_mm[deepest]) < BREACH_MM else ()
    return Finding(
        id=name, kind="notch", outline_px=plane.to_px(outline), quantities=quantities, flags=flags,
        places_px=plane.to_px(tip[1:]),
    )  # fmt: skip
