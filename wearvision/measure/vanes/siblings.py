"""Each vane against its own siblings: where its edges place it, about which centre, and how far from the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import medians
from wearvision.measure.plane import Array
from wearvision.measure.vanes.foot import Where
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.traces import Traces

EDGE_SD_MM = 0.65
"""Standard deviation of an edge's place times how clear it is, over what is usual: seven tenths of places on 192 drawn
impellers lie so near, from 0.3 mm where an edge just shows to 0.06 where it is clearest."""
MOST_SD_MM = 0.5
"""A place that is known worse is none."""
TRUST_MM = 0.15
"""From here on places count for less where the centre is told by them: what else moves them is as large."""
HUBER_MM = 0.3
CENTRE_MOST_MM, CENTRE_ROUNDS = 1.5, 12
"""How far traced vanes may move the centre (also what is known of it beforehand), and rounds of the fit."""
CENTRE_SD_MM = 0.1
"""Of a vane's place over `SHARED_MM` of its length."""
SHARED_MM = 8.0
"""Length along a vane over which errors are one and the same."""
COMMON_SD_MM, ALIKE_MM, MEAN_ROUNDS = 0.25, 0.3, 5
"""How far the siblings' own line may lie from the common one, how far from it a sibling counts for a quarter, and
rounds of the fit."""
LEAST_OTHERS = 2
"""Of one sibling nothing is told."""


def offsets(traces: Traces) -> tuple[Array, Array]:
    """Shift (N, S) of each vane from the common line by its two edges, and its standard deviation (N, S), mm.

    The clearer an edge, the better its place is known, and the more it counts. Where both lie further apart than that
    lets them, one may be another line, and the shift is known as much worse (Birge's ratio). Both are nan where no
    edge is seen, or so little is known.
    """
    off, clear = traces.edge_mm - traces.pair_mm[None], traces.strength / EDGE_SD_MM
    weight = np.where(np.isfinite(off), clear**2, 0.0)
    total = np.maximum(weight.sum(axis=2), 1e-9)
    mean = (weight * np.nan_to_num(off)).sum(axis=2) / total
    apart = np.sqrt((weight * (np.nan_to_num(off) - mean[..., None]) ** 2).sum(axis=2))
    sd = np.maximum(apart, 1.0) / np.sqrt(total)
    known = sd < MOST_SD_MM
    return np.where(known, mean, np.nan), np.where(known, sd, np.nan)


def centred(off: Array, sd: Array, traces: Traces, tip: float, believed: Where) -> tuple[Array, Array, Array]:
    """The offsets with what is left of the centre's error taken out, that error (2,), and its covariance (2, 2).

    A centre `d` off shifts each vane by `d . left`, and what the vanes share by nothing: both are fitted together, by
    least squares with weights that fall to nothing for what is bent, and with what is unsure (`sd`, N, S). Few vanes,
    or straight ones two and two opposite, leave one direction weakly determined: the covariance says so. `believed` is
    where the error is thought to be beforehand.
    """
    rows = traces.line.along_mm < tip
    now, left = off[:, rows], traces.strips.left[:, rows]
    known = np.isfinite(now)
    now = np.where(known, now, 0.0)
    trust = np.where(known, 1 / (1 + (sd[:, rows] / TRUST_MM) ** 2), 0.0)
    share = float(traces.line.along_mm[1] - traces.line.along_mm[0]) / SHARED_MM
    prior = np.linalg.inv(believed.spread_mm2) * CENTRE_SD_MM**2 / share
    total, level = believed.middle_mm, np.nan_to_num(medians(np.where(known, now, np.nan)[None])[0])
    for _ in range(CENTRE_ROUNDS):
        weight = trust / (1 + ((now - left @ total - level) / HUBER_MM) ** 2) ** 2
        each = np.maximum(weight.sum(axis=0), 1e-9)
        beside = left - (weight[..., None] * left).sum(axis=0) / each[:, None]
        value = now - (weight * now).sum(axis=0) / each
        normal = np.einsum("ks,ksi,ksj->ij", weight, beside, beside)
        moved = np.einsum("ks,ksi,ks->i", weight, beside, value) + prior @ believed.middle_mm
        total = np.linalg.solve(normal + prior, moved)
        level = (weight * (now - left @ total)).sum(axis=0) / each
    cov = np.linalg.inv(share * (normal + prior) / CENTRE_SD_MM**2)
    if float(np.hypot(*total)) > CENTRE_MOST_MM:
        total = total * (CENTRE_MOST_MM / float(np.hypot(*total)))
    return off - traces.strips.left @ total, total, np.asarray(cov, dtype=np.float64)


def left_over(layout: Layout) -> Where:
    """Where the centre may still lie from the layout's: at the axis that the rim tells, or anywhere near."""
    axis = layout.disc.axis
    if axis is None:
        return Where(middle_mm=np.zeros(2), spread_mm2=CENTRE_MOST_MM**2 * np.eye(2))
    return replace(axis, middle_mm=axis.middle_mm - layout.centre_mm)


def centre_u(traces: Traces, cov: Array, tip: float) -> Array:
    """What the centre's covariance (2, 2) makes of the shift of each vane at its tip against its siblings, (N,)."""
    left = traces.strips.left[:, int(np.argmin(np.abs(traces.line.along_mm - tip)))]
    number = len(left)
    way = (left - left.mean(axis=0)) * number / max(number - 1, 1)  # less the mean of the others
    return np.asarray(np.sqrt(np.einsum("ki,ij,kj->k", way, cov, way)))


def against_siblings(off: Array, sd: Array, sound: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Shift (N, S) of each vane from the line of its siblings, and the standard deviation of that line (N, S).

    The line is the mean of the siblings that are `sound` (N,), each weighted by how well its place is known (`sd`,
    N, S) and by less where it lies off: it begins at the line common to all vanes, 0, which counts as one place more.
    So of two siblings, one bent does not halve its bend onto the vane.
    """
    known = np.isfinite(off) & np.isfinite(sd) & sound[:, None]
    place = np.where(known, off, 0.0)
    each = np.where(known, 1 / np.where(known, sd, 1.0) ** 2, 0.0) * ~np.eye(len(off), dtype=bool)[..., None]
    line = np.zeros(off.shape)
    for _ in range(MEAN_ROUNDS):
        weight = each / (1 + ((place - line[:, None]) / ALIKE_MM) ** 2) ** 2
        total = weight.sum(axis=1) + 1 / COMMON_SD_MM**2
        line = (weight * place).sum(axis=1) / total
    others = (each > 0).sum(axis=1)
    apart = (weight * (place - line[:, None]) ** 2).sum(axis=1) / np.maximum(others, 1)
    told = others >= LEAST_OTHERS
    return np.where(told, off - line, np.nan), np.where(told, np.sqrt(np.maximum(apart, 1.0) / total), np.nan)
