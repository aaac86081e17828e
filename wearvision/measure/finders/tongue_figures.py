"""Figures of a lip: deviation, area, straightness, each with its uncertainty; and the finding made of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import log_gray
from wearvision.measure.finders.tongue import Lip
from wearvision.measure.finders.tongue_line import ALIKE_MM
from wearvision.measure.plane import Array, Plane
from wearvision.measure.straightness import least_squares_zone, minimum_zone, outermost
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured

CERTAIN = 1.0
"""A washout is told when its deviation is so many times its own U95: one sound lip in forty is so by chance."""
FAINT = 1.8
"""A deviation below so many times the least significant one is flagged."""
EDGE_PX = 0.3
"""Standard uncertainty of an edge's place against its neighbours, rounded and rough edges included, photo px."""
FAINT_MM = 0.3
"""The same of a step as strong as the band's usual ones, mm; the stronger, the better known."""
FOLLOW = 0.05
"""Share of a deviation that following a ragged edge may miss."""
TOP_CALM_MM, SOUND_CALM_MM, AREA_CALM_MM = 0.4, 1.0, 2.0
"""Distances from the line are averaged over such a length: in bays, on a sound lip, beside bays."""
RAGGED, RAGGED_MM = 1.5, 1.0
"""A ragged bay's deepest place lies so many of its standard deviations behind its mean over such a length, as the
highest of some ten independent ones does; all of that is in doubt."""
WANDER, STRAY_MM, DEEP = 2.0, 0.09, 3.5
"""A bay less than `DEEP` times as deep as a way wanders by chance may be nothing else, and is in doubt by that: so many
standard deviations of the way beside it, and a stray by so much, mm. A deeper one is in doubt by one of them."""
CORNER_MM, NEAR_CORNER_MM = 0.2, 1.0
"""Standard uncertainty of where a corner is: a bay that reaches it ends there. What is so near to it may lie beyond."""
RIM_MM, BORDERED = 0.17, (0.42, 0.6)
"""A rounded rim has two borders, and a way may change from one to the other where a bay begins: standard uncertainty of
a bay's depth where another border runs behind the way as clear as the second of these shares of its own; none below
the first. Set on drawn scenes."""
BESIDE = 0.5
"""Share of the area told beside deep bays that is in doubt."""
WAY = (0.06, 0.02, 0.016, 0.06, 0.06, 0.0, 0.0)
"""Standard uncertainty of which of several steps is the rim, mm (of the area per mm of length): set on drawn scenes."""
WIDER = np.array([1.3, 1.6, 1.6])
"""What the parts from a washout's outline miss of its depth, root mean square and area, as found on drawn washouts: its
tip is followed too short, or too deep along the next border."""
WAY_SHARE, RIVAL_SHARE = 0.6, 0.75
"""The same as a share of what other ways along the edge differ by, and of what one along another edge does."""
AREA_SHARE = 0.08
"""The same of an area; both set on drawn scenes."""
NAMES = ("max_deviation", "rms_deviation", "area", "straightness", "straightness_least_squares", "lip_length",
         "eroded_length")  # fmt: skip
UNITS: tuple[Unit, ...] = ("mm", "mm", "mm2", "mm", "mm", "mm", "mm")
HOW = (
    "behind the line through the sound parts of the lip", "root mean square over the lip",
    "missing in front of the sound line", "minimum zone of the whole lip", "zone about the least-squares line",
    "between the corners of the opening", "lip behind the sound line",
)  # fmt: skip


def lip_figures(lip: Lip, plane: Plane, others: Sequence[Lip] = ()) -> dict[str, Quantity]:
    """All figures of a lip, with named parts of u; `others` are two other ways along the same edge, then any that runs
    along another edge behind its bays."""
    corners = outermost(lip.x_mm, lip.away_mm)
    value, parts = plane.propagate(lambda p: _figures(lip, p, corners))
    own = _own(lip, value)
    doubt = np.zeros(len(NAMES))
    for k, other in enumerate(others):
        theirs = _figures(other, plane, outermost(other.x_mm, other.away_mm))
        doubt = np.maximum(doubt, (WAY_SHARE if k < 2 else RIVAL_SHARE) * np.abs(theirs - value))
    own["outline"] = np.hypot(doubt, np.array(WAY) * [1, 1, lip.length_mm, 1, 1, 0, 0])
    if lip.worn.any():
        for part in own.values():
            part[: len(WIDER)] *= WIDER
    value[0] += own["ragged"][0]
    return {
        name: Measured.of(
            float(value[k]), UNITS[k], how=HOW[k], **{n: float(u[k]) for n, u in (own | parts).items() if u[k] > 0}
        )
        for k, name in enumerate(NAMES)
    }  # fmt: skip


def _figures(lip: Lip, plane: Plane, corners: NDArray[np.int64]) -> Array:
    """Figures under the order of `NAMES` with the photo's places held fixed; the zone stands on its `corners`."""
    mm = plane.to_mm(np.vstack([lip.px, lip.ends_px]))
    share = lip.step_mm / lip.length_mm
    x, y, away, length = _laid(mm, np.ascontiguousarray(lip.sound, dtype=np.float64))
    top, square, area, eroded = _sizes(x, away, lip.worn, share * length, length)
    zone = minimum_zone(x[corners], y[corners]).height
    return np.array([top, square, area, zone, least_squares_zone(x, y).height, length, eroded])


@compiled
def _laid(mm: Array, sound: Array) -> tuple[Array, Array, Array, float]:
    """Places along the line between the ends, across it, behind the sound line (N,), and the length.

    Parameters
    ----------
    mm : (N + 2, 2)
        Places along the lip, then both ends.
    sound : (N,)
        Weight of each place for the line.
    """
    first, run = mm[-2], mm[-1] - mm[-2]
    length = np.sqrt(run[0] ** 2 + run[1] ** 2)
    off = mm[:-2] - first
    x = (off[:, 0] * run[0] + off[:, 1] * run[1]) / length
    y = (off[:, 1] * run[0] - off[:, 0] * run[1]) / length
    aside = x - length / 2
    s0, s1, s2 = sound.sum(), (sound * aside).sum(), (sound * aside * aside).sum()
    t0, t1 = (sound * y).sum(), (sound * aside * y).sum()
    tilt = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1)
    return x, y, y - (t0 - tilt * s1) / s0 - tilt * aside, length


@compiled
def _sizes(
    x: Array, away: Array, worn: NDArray[np.bool_], step: float, length: float
) -> tuple[float, float, float, float]:
    """Largest and root mean square distance behind the line, area there and eroded length, both corners included."""
    some = worn.any()
    near, wide = _calm(away, (TOP_CALM_MM if some else SOUND_CALM_MM) / step), _calm(away, AREA_CALM_MM / step)
    top = square = area = eroded = 0.0
    last = len(x) - 1
    for k in range(last + 1):
        low, high = max(k - 1, 0), min(k + 1, last)
        share = min(max((x[high] - x[low]) / (high - low), 0.0), 3 * step)
        if k == 0 or k == last:
            share += min(max(x[0] if k == 0 else length - x[last], 0.0), 3 * step)
        deep = away[k] if worn[k] else (0.0 if some else near[k])
        area += share * max(deep if worn[k] or not some else wide[k], 0.0)
        square += share * deep * deep
        eroded += share if worn[k] else 0.0
        top = max(top, near[k] if worn[k] or not some else 0.0)
    return top, np.sqrt(square / length), area, eroded


@compiled
def _calm(away: Array, wide: float) -> Array:
    """Running mean over `wide` places, the ends repeated."""
    half = max(1, round(wide) | 1) // 2
    last = len(away) - 1
    mean = np.zeros(len(away))
    for k in range(last + 1):
        for aside in range(-half, half + 1):
            mean[k] += away[min(max(k + aside, 0), last)]
    return mean / (2 * half + 1)


def _own(lip: Lip, value: Array) -> dict[str, Array]:
    """Parts (7,) of each figure: places of the edge, sound line, corners, how ragged it is, what is beside the bays."""
    px = lip.trace.patch.px_mm
    worn = lip.worn if lip.worn.any() else np.ones_like(lip.worn)
    clear = float(np.median(np.interp(lip.x_mm, lip.trace.x_mm, lip.trace.clear)[worn]))
    place = float(np.sqrt((EDGE_PX * px) ** 2 + lip.spread_mm**2 + (FAINT_MM / max(clear, 1.0)) ** 2))
    top, rms, area, _, _, length, eroded = value.tolist()
    reach = eroded if lip.worn.any() else length
    deepest = lip.x_mm[int(np.argmax(np.where(worn, lip.away_mm, -np.inf)))] if lip.worn.any() else length / 2
    line, mean = float(lip.u_line(np.array([deepest]))[0]), float(lip.u_line(lip.x_mm[worn]).mean())
    over = [place * np.sqrt(max(ALIKE_MM, px) * reach), 0.15 * EDGE_PX * px * reach, AREA_SHARE * area]
    wander, doubtful = _wander(lip, top)
    rim = RIM_MM * _bordered(lip, worn)
    zero = np.zeros(len(NAMES) - 3)
    zone = np.hypot(1.4 * place, FOLLOW * top)
    return {
        "edge": np.array([
            np.hypot(place, FOLLOW * top), np.hypot(0.35 * place, 0.65 * FOLLOW * top), np.linalg.norm(over),
            zone, zone, 0.85 * px + 0.03, 0.5 + 0.05 * eroded,
        ]),
        "line": np.array([line, mean * min(1.0, eroded / length + 0.3), mean * reach, *zero]),
        "ends": np.array([*_at_corners(lip, rms), *zero]),
        "rim": rim * np.array([1.0, area / (max(rms, 1e-3) * length), reach, *zero]),
        "ragged": np.array([RAGGED * _ragged_mm(lip), 0.0, 0.0, *zero]),
        "wander": np.array([wander, 0.0, BESIDE * doubtful, *zero]),
    }  # fmt: skip


def _at_corners(lip: Lip, rms: float) -> tuple[float, float, float]:
    """What a bay at a corner leaves in doubt of the largest deviation, of the root mean square and of the area."""
    calm = np.where(lip.worn, np.clip(_calm(lip.away_mm, TOP_CALM_MM / lip.step_mm), 0, None), 0.0)
    inside = np.minimum(lip.x_mm, lip.length_mm - lip.x_mm) > NEAR_CORNER_MM
    area = CORNER_MM * np.linalg.norm(calm[[0, -1]])
    square = CORNER_MM * np.linalg.norm(calm[[0, -1]] ** 2)
    beyond = calm.max() - calm[inside].max(initial=0.0)
    return float(beyond), float(square / (2 * max(rms, 1e-3) * lip.length_mm)), float(area)


def _bordered(lip: Lip, worn: NDArray[np.bool_]) -> float:
    """How surely another border runs behind the way in the bays, 0 to 1."""
    behind = np.interp(lip.x_mm, lip.trace.x_mm, np.minimum(lip.trace.behind, 1.0))[worn].mean()
    return float(np.clip((behind - BORDERED[0]) / (BORDERED[1] - BORDERED[0]), 0, 1))


def _wander(lip: Lip, top: float) -> tuple[float, float]:
    """How far a way wanders where the lip is sound, a doubt of the largest deviation; the area that may be it, mm2."""
    calm = _calm(lip.away_mm, AREA_CALM_MM / lip.step_mm)
    own = float(np.std(calm[~lip.worn])) if not lip.worn.all() else 0.0
    chance = float(np.hypot(WANDER * own, STRAY_MM))
    deep = lip.worn & (top > DEEP * chance)
    return own if deep.any() else chance, float(np.clip(calm[~deep], 0, None).sum()) * lip.step_mm


def _ragged_mm(lip: Lip) -> float:
    """How ragged the bays are beyond the sound edge, standard deviation."""
    rest = lip.away_mm - _calm(lip.away_mm, RAGGED_MM / lip.step_mm)
    if not lip.worn.any() or lip.worn.all():
        return 0.0
    noise = 1.4826 * float(np.median(np.abs(rest[~lip.worn])))
    return float(np.sqrt(max(float(np.var(rest[lip.worn])) - noise**2, 0.0)))


def to_finding(lip: Lip, number: int, figures: Mapping[str, Quantity]) -> Finding | None:
    """The washout of a lip, of its figures; None when it is sound, or no deeper than the doubt of its depth."""
    top = figures["max_deviation"]
    if not lip.worn.any() or (isinstance(top, Measured) and top.value <= CERTAIN * top.u95):
        return None
    quantities = {name: figures[name] for name in NAMES[:5]}
    flags = ["faint"] if isinstance(top, Measured) and top.value < FAINT * max(0.12, 3.5 * lip.spread_mm) else []
    if lip.seen < 0.98:
        flags.append("cut-by-frame")
    inside = lip.ends_px[0] + np.linspace(1, 0, 40)[:, None] * (lip.ends_px[1] - lip.ends_px[0])
    return Finding(
        id=f"W{number}", kind="washout", outline_px=np.vstack([lip.px, inside]), quantities=quantities,
        flags=tuple(flags), places_px=_places(lip),
    )


def _places(lip: Lip) -> Array:
    """Where to put the gauge: the deepest place of each bay, deepest first, then halfway down the deepest."""
    bounds = np.flatnonzero(np.diff(np.concatenate([[0], lip.worn.astype(int), [0]]))).reshape(-1, 2)
    tops = [int(a + np.argmax(lip.away_mm[a:b])) for a, b in bounds]
    tops.sort(key=lambda k: -float(lip.away_mm[k]))
    first = next(((a, b) for a, b in bounds if a <= tops[0] < b), (0, len(lip.px)))
    more = [int((tops[0] + end) / 2) for end in (first[0], first[1] - 1)]
    spread = [k for k in more if abs(lip.x_mm[k] - lip.x_mm[tops[0]]) > 2.0]
    return np.asarray(lip.px[[*tops, *spread][:5]])


def washed_texture(lip: Lip) -> Quantity:
    """How rough the picture is beside the washed edge against beside the sound one; no roughness of the metal."""
    patch = lip.trace.patch
    log = log_gray(patch.values)
    fine = np.abs(log - cv2.GaussianBlur(log, (0, 0), 3.0))
    rows = np.round(lip.trace.row[:, None] + np.linspace(0.4, 1.6, 6)[None, :] / patch.step_mm).astype(int)
    rows = np.clip(rows, 0, len(fine) - 1)
    beside = fine[rows, np.round(lip.trace.column).astype(int)[:, None]].mean(axis=1)
    worn = np.interp(lip.trace.x_mm, lip.x_mm, lip.worn.astype(float)) > 0.5
    if worn.sum() < 20 or (~worn).sum() < 20:
        return Unmeasured(reason="no washed and sound edge to compare", hint="feel the lip with a fingernail")
    groups = [beside[mask] for mask in (worn, ~worn)]
    ratio = float(np.median(groups[0]) / max(np.median(groups[1]), 1e-6))
    parts = [max(1.0, len(g) * patch.step_mm / 2.0) for g in groups]
    scatter = [float(np.std(g) / np.sqrt(n) / max(g.mean(), 1e-6)) for g, n in zip(groups, parts, strict=True)]
    how = "picture's grain beside the washed edge over that beside the sound edge; texture only, no roughness"
    return Measured.of(ratio, "1", how=how, scatter=ratio * float(np.hypot(scatter[0], scatter[1])))
