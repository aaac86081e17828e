"""Where each vane ends, against its siblings."""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array
from wearvision.measure.vanes.trace import ALONG_MM, END_MM
from wearvision.measure.vanes.traces import Traces

TIP_SHARE, TIP_USUAL = (0.9, 1.0), (0.975, 0.03)
"""Where vanes end, shares of the disc's radius: from, to; mean, spread (common practice, no source)."""
WINDOW_MM = 6.0
"""Before an end there is a vane over this length, after it there is none."""
EDGE_CAP = 6.0
GAIN_WEIGHT = 1.5
LATE_MM = 0.7
"""So far beyond the vanes' ends lies the common one: edges are averaged along them, and the disc's rim is near."""
AWAY = 1.2
"""What an end away from the siblings' must be better by."""


def scores(traces: Traces) -> Array:
    """How much each station (N, S) looks like the end of its vane."""
    rows = max(2, round(WINDOW_MM / ALONG_MM))
    gain = np.clip(traces.gain, -1.0, 3.0)
    total = np.cumsum(np.pad(gain, ((0, 0), (rows + 1, rows)), mode="edge"), axis=1)
    count = gain.shape[1]
    before = (total[:, rows : rows + count] - total[:, :count]) / rows
    after = (total[:, 2 * rows : 2 * rows + count] - total[:, rows : rows + count]) / rows
    return np.asarray(np.minimum(traces.ends, EDGE_CAP) / EDGE_CAP * 2 + GAIN_WEIGHT * (before - after))


def common_end(score: Array, traces: Traces, disc_mm: float) -> float:
    """Distance along the line, mm, at which most vanes end: near the rim of a disc of that radius."""
    along = traces.end_along_mm
    level = np.median(score, axis=0) + 0.5 * score.mean(axis=0)
    share = traces.line.radius_mm / disc_mm
    late = (share > TIP_SHARE[0]) & (share < TIP_SHARE[1])
    if not late.any():
        late = share > 0.97 * share.max()
    level = level - 0.5 * ((share - TIP_USUAL[0]) / TIP_USUAL[1]) ** 2
    i = int(np.flatnonzero(late)[np.argmax(level[late])])
    return float(along[i] + _vertex(level, i) * ALONG_MM)


def ends(score: Array, traces: Traces, common_mm: float) -> tuple[Array, Array]:
    """End of each vane (N,), mm along the line, and its standard uncertainty (N,)."""
    along = traces.end_along_mm
    near = (along > common_mm - END_MM[0]) & (along < common_mm + END_MM[1])
    rows = np.flatnonzero(near)
    cost = AWAY * np.clip(np.abs(along[rows] - common_mm) / 1.5, 0, 1)
    place, u = np.empty(len(score)), np.empty(len(score))
    for k in range(len(score)):
        worth = score[k, rows] - cost
        i = int(np.argmax(worth))
        place[k] = along[rows[i]] + _vertex(score[k], int(rows[i])) * ALONG_MM
        weight = np.exp(2.0 * (worth - worth[i]))
        weight /= weight.sum()
        u[k] = np.sqrt(0.35**2 + float(weight @ (along[rows] - along[rows[i]]) ** 2))
    return place, u


def _vertex(level: Array, i: int) -> float:
    if not 0 < i < len(level) - 1:
        return 0.0
    bend = level[i - 1] - 2 * level[i] + level[i + 1]
    return float(np.clip(0.5 * (level[i - 1] - level[i + 1]) / bend, -0.5, 0.5)) if bend < -1e-9 else 0.0
