"""Each vane traced: its two edges and its end, to a fraction of a pixel, in strips along the common line.

A vane is followed as the pair of edges its siblings have: only a shift is free, so that a shadow's edge or a rusty
flank, which has no partner at the right distance, does not lead it astray.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, median, medians, peak_offset
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, ring_scale
from wearvision.measure.vanes.align import common, follow, seen_back, turned_back, viterbi
from wearvision.measure.vanes.bends import likeliest
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.strips import CAP, Line, Strips, at_columns, edges_across, from_photo
from wearvision.measure.vanes.traces import BEYOND_MM, Traces

ALONG_MM = 0.75
REACH_MM = 17.0
ACROSS_MM = 0.16
"""Least step across the strips: edges are placed to a fraction of it."""
TIP_SHARE = 0.97
"""Where vanes usually end, share of the radius of the disc."""
AGAIN_MM = 1.2
"""How far a vane may stray from the likeliest bend."""
AWAY = 0.4
"""Cost of standing away from it, per station."""
BEND = 3.0
"""Cost of a step of a vane's shift, per (mm/mm)^2 of slope and mm of length."""
MIDDLE = 5
"""Degree of the middle of the common pair along the vane."""
WIDER_MM = 0.2
"""How far vanes may widen from their middle to their tip: they taper, or keep their thickness (common practice, no
source). A pair that widens is the edge of one vane and that of another."""
NEAR_MM = 0.6
"""A traced edge lies this near its place in the pair."""
ASIDE, FOLLOW = 0.6, 6.0
"""Cost of standing at `NEAR_MM` from where an edge is expected, per station, and of a step of it (as `BEND`)."""
SHARED_ROWS = 7
"""Stations over which what the vanes' edges share, beside the pair, is averaged."""
MOST_BEYOND_MM = 20.0
"""The line is drawn out so far beyond its end at most, to reach the rim."""
CLEAR = 1.6
"""Least edge, over what is usual, that is placed."""
END_MM = (14.0, 5.0)
"""A vane's end is sought this far inside the common end, and beyond it."""


def trace(gray: Image, plane: Plane, layout: Layout, hidden_px: tuple[Array, ...], blur_px: float) -> Traces:
    """Trace all vanes on the photo itself."""
    px_mm = ring_scale(plane, layout.centre_mm, 0.7 * layout.disc.rim_mm)
    line = Line.through(_beyond(layout.line.points_mm, layout.disc_mm), ALONG_MM)
    step = max(ACROSS_MM, px_mm)
    across = np.arange(-REACH_MM, REACH_MM + step / 2, step)
    strips = from_photo(gray, plane, line, layout.centre_mm, layout.number, across, hidden_px)
    sigma = max(1.5 * step, 1.2 * blur_px * px_mm)
    tip = int(np.clip((line.radius_mm < TIP_SHARE * layout.disc_mm).sum(), 12, len(line.along_mm) - 1))
    pair = _common_pair(edges_across(strips, ALONG_MM, sigma)[1], strips, layout.width_mm, tip)
    base, clear, most = likeliest(strips, ALONG_MM, pair, tip)
    signed, size = edges_across(_along(strips, base), ALONG_MM, sigma, cap=np.inf)
    signed = np.copysign(_levelled(size), signed)
    aslant = _aslant(pair, base)
    more, gain = _paths(np.minimum(size, np.float32(CAP)), strips, pair + aslant)
    placed = [_placed(signed, strips, pair[:, k] + aslant[..., k] + more) for k in (0, 1)]
    edges, strength = (np.stack([one[j] for one in placed], axis=2) for j in (0, 1))
    edges = edges - aslant + base[..., None]
    shared = _shared(edges - pair)
    pair, path = pair + shared, base + more - shared.mean(axis=1)
    return Traces(
        line=line, strips=strips, edge_mm=edges, strength=strength, path_mm=path, gain=gain, pair_mm=pair,
        ends=_ends(strips, pair, path), end_along_mm=line.along_mm, seen=_seen_at(strips, pair.mean(axis=1) + path),
        px_mm=px_mm, clear=clear, most_mm=most,
    )  # fmt: skip


def _beyond(points_mm: Array, disc_mm: float) -> Array:
    """The line drawn out straight, beyond its end and to the rim of a disc of that radius: an end and what follows."""
    way = points_mm[-1] - points_mm[-4]
    more = points_mm[-1] + way / np.hypot(*way) * np.arange(1.0, MOST_BEYOND_MM + 1.0)[:, None]
    inside = int((np.hypot(*more.T) < disc_mm).sum())
    return np.vstack([points_mm, more[: max(int(BEYOND_MM), inside)]])


def _common_pair(size: Grid, strips: Strips, width_mm: float, tip: int) -> Array:
    """Right and left edge (S, 2) that the vanes share up to their tip, smooth along them; they may taper."""
    near = np.abs(strips.across_mm) < width_mm / 2 + 3.5
    widths = np.arange(max(2.0, width_mm - 1.5), width_mm + 1.6, 0.25)
    pair = follow(size[:, :tip, near], strips.across_mm[near], ALONG_MM, widths)
    level, rows = common(size[:, :tip]), np.arange(tip)
    places, weights = [], []
    for side in (-1, 1):
        place = pair.middle_mm + side * pair.width_mm / 2
        column = np.rint((place - strips.across_mm[0]) / strips.step_mm).astype(int)
        half = max(1, round(1.2 / strips.step_mm))
        index = np.clip(column[:, None] + np.arange(-half, half + 1), 0, level.shape[1] - 1)
        window = np.take_along_axis(level, index, axis=1)
        track = viterbi(window, 4.0 * (strips.step_mm / ALONG_MM) ** 2, 2)
        places.append(strips.across_mm[index[rows, track]])
        weights.append(np.clip(window[rows, track] - 1.0, 0.02, None))
    smooth = _smooth_pair(np.stack(places), np.stack(weights))
    return np.vstack([smooth, np.repeat(smooth[-1:], size.shape[1] - tip, axis=0)])


def _smooth_pair(place: Array, weight: Array) -> Array:
    """Both edges (S, 2) as a middle of some freedom and a thickness that shrinks or hardly grows, evenly; robustly."""
    u = np.linspace(-1, 1, place.shape[1])
    middle, zero = np.polynomial.polynomial.polyvander(u, MIDDLE), np.zeros((len(u), 2))
    taper = np.polynomial.polynomial.polyvander(u, 1)
    design = np.vstack([np.hstack([middle, zero - taper / 2]), np.hstack([middle, zero + taper / 2])])
    value, w = place.ravel(), weight.ravel()
    for _ in range(6):
        root = np.sqrt(w)[:, None]
        found = np.linalg.lstsq(design * root, value * root[:, 0], rcond=None)[0]
        if found[-1] > WIDER_MM:
            even, wider = design[:, :-1] * root, (value - WIDER_MM * design[:, -1]) * root[:, 0]
            found = np.append(np.linalg.lstsq(even, wider, rcond=None)[0], WIDER_MM)
        fit = design @ found
        off = value - fit
        scale = max(0.1, 1.4826 * median(np.abs(off)))
        w = weight.ravel() * np.clip(1 - (off / (4 * scale)) ** 2, 0.001, None) ** 2
    return np.asarray(fit.reshape(2, -1).T)


def _along(strips: Strips, path_mm: Array) -> Strips:
    """The strips with every row shifted back by what its vane is shifted."""
    off = path_mm / strips.step_mm
    return replace(strips, values=turned_back(strips.values, off), seen=seen_back(strips.seen, off))


def _shared(off: Array) -> Array:
    """How far edges of the vanes lie from the pair alike (S, 2), of how far each lies from it (N, S, 2), mm.

    The pair is a smooth curve; the vanes' own need not be one, above all near their ends. What is bent counts for none.
    """
    near = np.where(np.abs(off) < AGAIN_MM, off, np.nan)
    mid = medians(np.moveaxis(near, 2, 0), least=3)
    weight = np.where(np.isfinite(mid), np.isfinite(near).sum(axis=0).T, 0).astype(np.float64)
    rows = np.ones(SHARED_ROWS)
    out = [
        np.convolve(w * np.nan_to_num(m), rows, "same") / np.maximum(np.convolve(w, rows, "same"), 1e-9)
        for w, m in zip(weight, mid, strict=True)
    ]
    return np.stack(out, axis=1)


def _levelled(size: Grid) -> Grid:
    """Edges over what is usual, those beyond `CAP` by their logarithm: a clear edge keeps its peak, and hardly more."""
    out, clear = size.copy(), size > CAP
    out[clear] = CAP * (1 + np.log(size[clear] / CAP))
    return out


def _aslant(pair: Array, path_mm: Array) -> Array:
    """How far the edges (N, S, 2) of a vane lie outside the common pair for its way leads aslant across the strip."""
    slope = np.gradient(path_mm, ALONG_MM, axis=1)
    half = (pair[:, 1] - pair[:, 0]) / 2 * (np.sqrt(1 + slope**2) - 1)
    return np.stack([-half, half], axis=2)


def _paths(size: Grid, strips: Strips, pair: Array) -> tuple[Array, Array]:
    """Shift (N, S) of each vane's pair (N, S, 2) from its likeliest bend by dynamic programming, its gain (N, S)."""
    step = strips.step_mm
    shifts = np.arange(-np.floor(AGAIN_MM / step), np.floor(AGAIN_MM / step) + 1) * step
    both = np.stack([
        _at(one, strips, own[:, :1] + shifts) + _at(one, strips, own[:, 1:] + shifts) - 2.0
        for one, own in zip(size, pair, strict=True)
    ])  # fmt: skip
    away = AWAY * np.clip((np.abs(shifts) - 0.4) / 0.4, 0, 1)
    path = viterbi((both - away).astype(np.float32), BEND * step**2 / ALONG_MM, max(1, round(0.4 * ALONG_MM / step)))
    return shifts[path], np.take_along_axis(both, path[..., None], axis=2)[..., 0]


def _at(size: Grid, strips: Strips, place_mm: Array) -> Array:
    """Values of rows (S, M) at places (S, K), linear between columns."""
    return at_columns(size, (place_mm - strips.across_mm[0]) / strips.step_mm)


def _seen_at(strips: Strips, place_mm: Array) -> NDArray[np.bool_]:
    """Whether each row of each vane (N, S) is seen at a place across it."""
    column = np.rint((place_mm - strips.across_mm[0]) / strips.step_mm).astype(np.intp)
    inside = np.clip(column, 0, strips.seen.shape[2] - 1)
    return np.asarray(np.take_along_axis(strips.seen, inside[..., None], axis=2)[..., 0])


def _placed(size: Grid, strips: Strips, expect_mm: Array) -> tuple[Array, Array]:
    """Sub-pixel place (N, S) of the edge that runs along each vane near where it is expected, and how clear it is.

    The place is nan, and the other 0, where none is clear. `size` is signed. An edge is followed in one sense from root
    to tip, dark to bright or bright to dark, whichever shows more: so the inner and the outer line of a broken edge are
    not taken in turns.
    """
    width = size.shape[2]
    half = max(2, round(NEAR_MM / strips.step_mm))
    column = np.rint((expect_mm - strips.across_mm[0]) / strips.step_mm).astype(int)
    off = np.arange(-half, half + 1)
    index = np.clip(column[..., None] + off, 1, width - 2)
    window = np.take_along_axis(size, index, axis=2)
    away = (ASIDE * (off * strips.step_mm / NEAR_MM) ** 2).astype(np.float32)
    both = np.stack([np.maximum(window, 0.0) - away, np.maximum(-window, 0.0) - away])
    path = viterbi(both, FOLLOW * strips.step_mm**2 / ALONG_MM, 2)[..., None]
    worth = np.take_along_axis(both, path, axis=3)[..., 0].sum(axis=2)
    sense = np.where(worth[0] >= worth[1], 1.0, -1.0)[:, None]
    top = np.where(sense[..., None] > 0, path[0], path[1])
    at = np.clip(np.take_along_axis(index, top, axis=2), 2, width - 3)
    beside = sense[..., None] * np.take_along_axis(size, at + np.arange(-1, 2), axis=2)
    at += np.argmax(beside, axis=2)[..., None] - 1  # the path is smoother than the edge
    left, mid, right = (sense * np.take_along_axis(size, at + d, axis=2)[..., 0].astype(np.float64) for d in (-1, 0, 1))
    ok = (mid >= np.maximum(left, right)) & (mid > CLEAR)
    place = strips.across_mm[0] + (at[..., 0] + peak_offset(left, mid, right)) * strips.step_mm
    return np.where(ok, place, np.nan), np.where(ok, mid, 0.0)


def _ends(strips: Strips, pair: Array, path: Array) -> Array:
    """Edge along each vane across its own width, over what is usual, (N, S)."""
    number, stations, _ = strips.values.shape
    share = np.linspace(0.15, 0.85, 9)
    out = np.zeros((number, stations))
    for k in range(number):
        place = pair[:, :1] + (pair[:, 1:] - pair[:, :1]) * share[None, :] + path[k][:, None]
        band = _at(strips.values[k], strips, place)
        step = np.zeros_like(band)
        smooth = cv2.GaussianBlur(band.astype(np.float32), (1, 5), 0)
        step[2:-2] = smooth[4:] - smooth[:-4]
        level = np.abs(np.partition(step, len(share) // 2, axis=1)[:, len(share) // 2])
        out[k] = level / (median(level) + 0.01)
    return out
