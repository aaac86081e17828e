"""Which vanes are there: how much edge lies at the place of each, against its siblings and against the gaps between.

A vane's two edges keep their sign and their place over its whole length; rust, stains and casting skin do not. So
light is averaged along stretches of the common line and the step across each edge is taken there: at the vanes'
places, and at the same lines turned by half a pitch, where there is none. A vane whose places show no more than the
gaps do is missing, one of which only the inner stretches show is a stub. How each follows its own path plays no part:
a path that is free to wander finds edges in any rust.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.measure.vanes.bends import SURE_BEND
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.strips import BY_GRAIN, Line, Strips, from_photo, grain_of
from wearvision.measure.vanes.traces import Traces

STRETCH_MM = 12.0
"""Length along a vane over which light is averaged."""
FROM, TO, INNER = 0.15, 0.92, 0.55
"""Part of a vane that is looked at, and its inner part, which is seldom bent; shares of its length."""
SHIFTS_MM = np.arange(-1.0, 1.01, 0.2)
BESIDE_MM = np.arange(0.25, 1.21, 0.19)
"""Places on either side of an edge whose light is compared."""
BRIGHT = 1.5
"""No stretch counts for more than this times what vanes show: a glint is no vane."""
EMPTY, THERE = 0.25, 0.6
"""On the way from a gap (0) to a vane (1), by the logarithm: below the first nothing is there, above the second it
is."""
GONE = 0.3
"""Below this, over all its length and over its inner part, a vane is missing: some rust or a hole is in its place. Of
500 drawn vanes that stood none showed less than 0.37 in both; of 6 missing ones none more than 0.22."""
LEAST_APART = 0.7
"""Logarithm by which vanes must stand out from gaps before one is said to be missing: twice as much edge."""
MOST_APART = 2.3
"""Gaps without any edge count as if they had a tenth of a vane's: what is a hundredth is nothing as well."""
LEAST_SEEN = 0.5
LEAST_EDGE = 1e-4
"""What is less than that, log grey, counts as so much."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Presence:
    """What is there of each vane.

    Attributes
    ----------
    apart : float
        Logarithm of the edge at vanes over that in gaps; nan where no gap is seen.
    whole : (N,) array
        Where each vane stands between gaps (0) and vanes (1).
    gone : (N,) bool
        Nothing is there.
    doubted : (N,) bool
        So little is there that it may be nothing.
    end_mm : (N,) array
        Where a stub ends, mm along the line; nan where there is more than a stub, or none. One that surely runs on
        beside its siblings' line is bent, and no stub.
    """

    apart: float
    whole: Array
    gone: NDArray[np.bool_]
    doubted: NDArray[np.bool_]
    end_mm: Array


def presence(
    gray: Image, plane: Plane, layout: Layout, traces: Traces, tip_mm: float, hidden_px: tuple[Array, ...]
) -> Presence:
    """Compare the places of the vanes with the gaps; `tip_mm` is where most vanes end."""
    along, number = traces.line.along_mm, layout.number
    rows = np.flatnonzero((along > FROM * tip_mm) & (along < TO * tip_mm))
    reach = float(np.abs(traces.pair_mm).max() + SHIFTS_MM[-1] + BESIDE_MM[-1]) + traces.strips.step_mm
    across = np.arange(-reach, reach + traces.strips.step_mm, traces.strips.step_mm)
    half = _half_pitch(traces.line, number)
    gaps = from_photo(gray, plane, _part(half, rows), layout.centre_mm, number, across, hidden_px)
    cuts = _stretches(along[rows])
    free = gaps.seen.mean(axis=(1, 2)) > LEAST_SEEN
    vane, gap = _shown(
        _rows(traces.strips, rows), gaps, free, float(along[1] - along[0]), traces.pair_mm[rows], cuts
    )
    middle = traces.strips.seen.shape[2] // 2  # of their common line, wherever each of them lies
    seen = traces.strips.seen[:, rows, middle].mean(axis=1) > LEAST_SEEN
    nothing = np.zeros(number, dtype=bool)
    if len(gap) == 0 or seen.sum() < 2:
        return Presence(
            apart=np.nan, whole=np.ones(number), gone=nothing, doubted=nothing, end_mm=np.full(number, np.nan)
        )  # fmt: skip
    most = BRIGHT * float(np.median(_best(vane[seen])))
    ends = along[rows[[c[-1] for c in cuts]]]
    inner = max(2, int((ends < INNER * tip_mm).sum()))
    whole, apart = _between(vane, gap, seen, most, slice(None))
    near, near_apart = _between(vane, gap, seen, most, slice(0, inner))
    clear = min(apart, near_apart) > LEAST_APART
    shown = np.maximum(whole, near)  # no vane stands without its root
    gone = seen & (shown < GONE) if clear else nothing
    stub = np.full(number, np.nan)
    for k in np.flatnonzero(seen & ~gone & (whole < THERE) & (traces.clear < SURE_BEND)) if clear else ():
        stub[k] = _stub_end(vane, gap, seen, most, int(k), ends)
    doubted = seen & ~gone & (shown < THERE) if clear else nothing
    return Presence(apart=apart, whole=whole, gone=gone, doubted=doubted, end_mm=stub)


def _half_pitch(line: Line, number: int) -> Line:
    c, s = np.cos(np.pi / number), np.sin(np.pi / number)
    turn = np.array([[c, s], [-s, c]])
    return replace(line, points_mm=line.points_mm @ turn, left=line.left @ turn)


def _part(line: Line, rows: NDArray[np.int64]) -> Line:
    return replace(line, points_mm=line.points_mm[rows], left=line.left[rows], along_mm=line.along_mm[rows])


def _rows(strips: Strips, rows: NDArray[np.int64]) -> Strips:
    return replace(strips, values=strips.values[:, rows], seen=strips.seen[:, rows], left=strips.left[:, rows])


def _stretches(along: Array) -> list[NDArray[np.int64]]:
    """Rows of each stretch, all of about one length."""
    count = max(2, round(float(along[-1] - along[0]) / STRETCH_MM))
    return [np.asarray(part) for part in np.array_split(np.arange(len(along)), count)]


def _shown(
    vanes: Strips, gaps: Strips, free: NDArray[np.bool_], step_mm: float, pair_mm: Array,
    cuts: list[NDArray[np.int64]],
) -> tuple[Array, Array]:
    """Edge at the places of vanes and of those gaps that are `free`, in light and in roughness, by strip, stretch, edge
    and shift: each over what gaps usually have."""
    vane, gap = (np.zeros((count, len(cuts), 2, len(SHIFTS_MM))) for count in (len(free), int(free.sum())))
    grains = (grain_of(one, step_mm) for one in (vanes, gaps))
    for counts, pair in ((1.0, (vanes, gaps)), (BY_GRAIN, grains)):
        at, off = (_steps(one, pair_mm, cuts) for one in pair)
        scale = counts / max(float(np.median(_best(off[free]))), LEAST_EDGE) if free.any() else counts
        vane, gap = vane + scale * at, gap + scale * off[free]
    return vane, gap


def _steps(strips: Strips, pair_mm: Array, cuts: list[NDArray[np.int64]]) -> Array:
    """Step of log grey across both edges, by strip, stretch, edge and shift: its size, (N, C, 2, D)."""
    places = (pair_mm[..., None] + SHIFTS_MM - float(strips.across_mm[0])) / strips.step_mm
    steps = np.empty((*strips.values.shape[:2], 2, len(SHIFTS_MM)))
    _step_at(np.ascontiguousarray(strips.values), places, BESIDE_MM / strips.step_mm, steps)
    return np.asarray(np.abs(np.stack([steps[:, cut].mean(axis=1) for cut in cuts], axis=1)))


@compiled
def _step_at(values: Grid, places: Array, beside: Array, out: Array) -> None:
    """Step of strips (N, S, M) across columns (S, 2, D): mean of what lies so far beyond less of what lies before."""
    last = values.shape[2] - 1
    for n in range(len(values)):
        for i in range(len(places)):
            for side in range(2):
                for d in range(places.shape[2]):
                    total = 0.0
                    for off in beside:
                        low, high = np.rint(places[i, side, d] - off), np.rint(places[i, side, d] + off)
                        total += values[n, i, min(max(int(high), 0), last)] - values[n, i, min(max(int(low), 0), last)]
                    out[n, i, side, d] = total / len(beside)


def _best(size: Array) -> Array:
    """Mean over stretches and edges at the shift where it is most, (N,)."""
    return np.asarray(size.mean(axis=(1, 2)).max(axis=1))


def _between(vane: Array, gap: Array, seen: NDArray[np.bool_], most: float, part: slice) -> tuple[Array, float]:
    """Where each vane stands between gaps (0) and vanes (1) over some stretches, and how far the two lie apart."""
    at, off = (np.log(_best(np.minimum(size[:, part], most)) + 1e-4) for size in (vane, gap))
    high = float(np.median(at[seen]))
    low = max(float(np.median(off)), high - MOST_APART)
    apart = high - low
    return (at - low) / max(apart, 1e-6), apart


def _stub_end(vane: Array, gap: Array, seen: NDArray[np.bool_], most: float, k: int, ends: Array) -> float:
    """End of the inner stretches that show vane k, where all beyond show nothing; nan where it is not so."""
    for cut in range(len(ends) - 2, 0, -1):  # at least the last two stretches are empty, at least one stands
        outer, outer_apart = _between(vane, gap, seen, most, slice(cut, None))
        inner, inner_apart = _between(vane, gap, seen, most, slice(0, cut))
        if min(outer_apart, inner_apart) > LEAST_APART and outer[k] < EMPTY and inner[k] > THERE:
            return float(ends[cut - 1])
    return float("nan")
