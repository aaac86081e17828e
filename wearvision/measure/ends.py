"""Where a groove ends: where its own profile, less the grey of the face beside it, stops to look like itself; and where
the view does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.across import medians, middle, profiles
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

END_DEG = 12.0
"""How far beyond its coarse end the end of a groove is looked for."""
PATTERN_ROWS = 18
"""A groove's profile near an end is the median over this many rows."""
ROW_WORTH = 6.7
"""Worth of one row's likeness as evidence (a log likelihood); neighbours are not independent."""
CAP_POWER = 0.2
"""A round end is unlike the face by at least this share of the power of the groove's profile."""
End = tuple[int, float]
"""Row of an end, and its standard uncertainty in rows."""


def ends(strip: Strip, gray: Grid, ribbon: Ribbon) -> tuple[End, End]:
    """First and last row of a groove."""
    lap = strip.values.shape[0]
    reach = round(END_DEG / strip.step_deg)
    first, last = int(ribbon.rows[0]), int(ribbon.rows[-1])
    spare = (lap - (last - first + 1)) // 2 if strip.closed else lap
    low, high = first - min(reach, spare), last + min(reach, spare)
    if not strip.closed:
        low, high = max(0, low), min(lap - 1, high)
        first, last = max(first, low), min(last, high)
    if last - first < 12:
        return (first, 2.0), (last, 2.0)
    across, beside = profiles(strip, gray, np.arange(low, high + 1), *_at(ribbon, np.arange(low, high + 1)))
    level = medians(beside)[:, None]
    shape, quiet = across - level, median(((beside - level) ** 2).ravel())
    width, radius = (median(x) for x in (ribbon.outer - ribbon.inner, strip.mm(ribbon.inner)))
    cap = int(np.ceil(np.degrees(0.55 * width * strip.step_mm / radius) / strip.step_deg))
    head = _end(np.ascontiguousarray(shape[::-1]), high - last, high - first, quiet, cap)
    tail = _end(shape, first - low, last - low, quiet, cap)
    return (high - head[0], head[1]), (low + tail[0], tail[1])


def _at(ribbon: Ribbon, rows: NDArray[np.int64]) -> tuple[Array, Array]:
    return np.interp(rows, ribbon.rows, ribbon.inner), np.interp(rows, ribbon.rows, ribbon.outer)


def _end(shape: Array, start: int, stop: int, quiet: float, cap: int) -> End:
    """Last row that still belongs to the groove: best step in the likeness to its own rows a little inside.

    A coarse end that ran on where there is no groove is first taken back to where there is one. Its round cap,
    of at most `cap` rows, looks another way to the lamp, but still unlike the face.
    """
    back = max(4, min(PATTERN_ROWS, (stop - start + 1) // 2))
    end, doubt, more = _last_row(shape, start, _last_alike(shape, start, stop, back, quiet / 5), back, quiet, cap)
    return end + more, float(np.hypot(doubt, more / 4))


@compiled
def _last_row(shape: Array, start: int, stop: int, back: int, quiet: float, cap: int) -> tuple[int, float, int]:
    """That row by the likeness to the rows before `stop`, its standard uncertainty, and the rows of the cap beyond."""
    inside = shape[max(start, stop - back - 4) : max(start + 4, stop - 3)]
    room = np.empty(len(inside))
    pattern = np.array([middle(inside[:, c], room) for c in range(shape.shape[1])])
    begin, power = max(start, stop - back), (pattern * pattern).sum()
    total = np.empty(len(shape) - begin)
    end, most, now = 0, -np.inf, 0.0
    for n in range(len(total)):
        now += min(max((shape[begin + n] * pattern).sum() / (power + 1e-6), -0.5), 1.5) - 0.5
        total[n] = now
        if now > most:
            end, most = n, now
    chance, spread = 0.0, 0.0
    for n in range(len(total)):
        weight = np.exp(ROW_WORTH * (total[n] - most))
        chance += weight
        spread += weight * (n - end) ** 2
    least, more = max(4 * quiet, CAP_POWER * power / len(pattern)), 0
    while more < cap and begin + end + 1 + more < len(shape) and np.mean(shape[begin + end + 1 + more] ** 2) >= least:
        more += 1
    return begin + end, np.sqrt(spread / chance), more


@compiled
def _last_alike(shape: Array, start: int, stop: int, back: int, quiet: float) -> int:
    """The last row, `stop` or before it, up to which `back` rows have the power that is usual since `start`."""
    power, none, begin = np.zeros(len(shape)), np.zeros(shape.shape[1]), max(0, start - 2)
    total = none.copy()
    for n in range(begin, stop + 3):
        total += shape[n] if n < len(shape) else none
        total -= shape[n - 5] if n - 5 >= begin else none
        power[max(0, n - 2)] = np.mean((total / 5) ** 2)
    least = quiet + 0.12 * np.median(power[start : stop + 1])
    while stop - back > start and np.median(power[stop - back : stop]) < least:
        stop -= 4
    return stop


def seen_rows(strip: Strip, ribbon: Ribbon, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """The rows from the first to the last in which the middle of the groove is seen."""
    inner, outer = _at(ribbon, rows)
    seen = np.flatnonzero(in_view(strip, rows, (inner + outer) / 2))
    return rows[seen[0] : seen[-1] + 1] if len(seen) else rows[:0]


def in_view(strip: Strip, rows: NDArray[np.int64], middle: Array) -> NDArray[np.bool_]:
    """In which rows a column is in the picture and not covered."""
    lap, columns = strip.valid.shape
    return np.asarray(strip.valid[rows % lap, np.minimum(np.maximum(np.rint(middle).astype(int), 0), columns - 1)])


def cut_ends(strip: Strip, rows: NDArray[np.int64], centre: Array) -> tuple[bool, bool]:
    """Whether the ends lie where the view ends."""
    lap, columns = strip.values.shape
    out = []
    for row, column, ahead in ((rows[0], centre[0], -1), (rows[-1], centre[-1], 1)):
        near = row + ahead * np.arange(0, round(3.0 / strip.step_deg) + 1)
        if not strip.closed and (near.min() < 0 or near.max() >= lap):
            out.append(True)
        else:
            out.append(not bool(strip.valid[near % lap, int(min(max(column, 0), columns - 1))].all()))
    return out[0], out[1]
