"""Bites out of a gasket land: where the land is missing just inside of an edge's circle, and what lies there instead.

Along an arc where the tone inside of the circle is not the land's, the edge is sought further in, as the best way from
the circle and back to it: another tone on the circle's side, the land's beyond, a step between. What was found is a
bite when what lies beside the land runs on into it; it is a stain, or cannot be told, when the old edge still shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import peak_offset
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_tone import band, sample
from wearvision.measure.finders.way import best_way
from wearvision.measure.lips import running_median
from wearvision.measure.plane import Array

INSIDE_MM = (0.08, 0.46)
"""Just inside of a circle, one photo pixel further in."""
CORE, FOOT = 0.35, -0.6
"""An arc is looked at where the tone there is so unlike the land's, out to where it is as the land's."""
LEAST_ARC_MM = 1.2
"""Shortest such arc."""
BRIDGE_MM, WIDE_GAP_MM, SPARE_MM = 1.0, 6.0, 0.8
"""Gaps bridged, also those over which no edge stands, and what is added at either end."""
STANDS = 0.5
"""An edge stands where its step is over this share of the usual one."""
LEAST_LOSS_MM = 0.4
"""Least loss that is looked at."""
LONGEST = 0.45
"""Longest arc, as a share of the lap."""
JUMP_COST = 0.25
"""Cost in mm of moving one mm aside from row to row."""
LAND_WEIGHT = 1.6
"""What land on the wrong side of the way costs, against other tones won."""
EDGE_MM, MOST_STEP = 0.25, 1.0
"""Worth of the land's usual step, mm, and most counted: a shadow's far side is often the stronger."""
ONE_SIDE = 0.8
"""From this mean sign on, what lies beside an arc is darker all along: something bright then is no part of a bite. The
contrary may be: a shadow."""
SKIP_MM, SHADOW_MM = 1.0, 2.8
"""A shadow's line begins so near behind the way, and ends within this."""
BACK_MM, REACH_MM = 0.35, 0.6
"""The way's step is looked for so far back towards the circle, on either side of there: a shadow may lie before it."""
THROUGH_MM = 0.4
"""A way that comes so near the other circle has gone through."""


MOST = {"old": 0.42, "old_rows": 0.6, "runs_on": 0.5, "shut": 0.66, "rough": 2.3}
LEAST = {"step": 0.75, "new": 0.5, "filled": 0.75, "bare": 0.58, "contrast": 2.7, "arc_mm": 1.2}
"""A bite's traits lie below and above these."""
OPEN, OPEN_ROUGH, PALE = 0.5, 3.5, 3.5
"""With `shut` below this the way may zigzag more; it has to be with less contrast than this."""
SPOT_MM, SPOTTED, SAME_TONE = 1.0, 0.003, 0.45
AS_SPOT = {"shut": 0.3, "rough": 0.8, "old_rows": 0.3}
"""On a land with so many spots of its own (share of its middle, after so much is taken off their rims), one that
reaches an edge looks like a bite: what is of their tone, within this share, is held more strictly."""
SURE, SURE_CLEAR, CLEAR, SURE_STEP = 0.2, 0.4, 4.0, 0.25
"""With `shut` below this, or this and so much contrast, the way may be fainter."""
JOIN_MM = 8.0
"""Neighbours nearer than this may be one bite."""
SHALLOW = {"loss": 1.6, "rough": 0.8}
EVEN = {"step": 0.85, "filled": 0.78, "bare": 0.75, "arc_mm": 2.0, "contrast": 3.0}
"""What is so shallow and even may be a bite that its own shadow fills: a step at the old edge is nothing against it."""
SMOOTH = {"old": 0.6, "old_rows": 0.65, "runs_on": 0.7, "shut": 1.0, "rough": 1.0}
CLEAN = {"step": 0.75, "new": 0.5, "filled": 0.9, "bare": 0.9, "contrast": 4.2, "arc_mm": 2.0}
"""Traits of a clean cut: where nothing else zigzags, a shadow may lie between its ground and the old edge."""
STAIN, FAINT = 0.72, 2.6
"""Over this, `old` and `runs_on` together tell a stain: the land's edge stands; next to no contrast tells one too."""
GONE, APART = {"old": 0.5, "shut": 1.3}, {"contrast": 4.5}
"""Unless hardly any of its step is left beside so much contrast: then what lies beyond may be as uneven."""
BLUR = {"new": 0.35, "contrast": 4.2}
"""Below these there is no edge in it: a shade."""
HIDDEN_MM = 2.0
"""So near to what is hidden nothing is told."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bite:
    """An arc where the land may be missing.

    Attributes
    ----------
    edge : int
        0 inner, 1 outer.
    rows : (K,) array
        Rows of the strip, in order.
    loss_mm : (K,) array
        How far the edge lies inside its circle.
    verdict : str
        ``bite``; ``stain`` where the land's edge still stands; ``unsure``; ``none`` where hardly anything is missing.
    traits : dict of str to float
        What speaks for and against it, see `traits_of`; `hidden`: mm of its loss that only a shadow tells.
    """

    edge: int
    rows: NDArray[np.int64]
    loss_mm: Array
    verdict: str
    traits: dict[str, float]

    @property
    def deepest(self) -> int:
        """Row where most is missing."""
        return int(self.rows[int(np.argmax(self.loss_mm))])


def seek_bites(land: Land) -> list[Bite]:
    """Every arc where the land may be bitten into, with its verdict."""
    clear = _clear(land)
    usual = (usual_step(land, 0), usual_step(land, 1))
    arcs: list[tuple[int, NDArray[np.int64]]] = []
    for edge in (0, 1):
        way = (1.0, -1.0)[edge]
        near = sorted(way * (d + land.strip.px_mm) for d in INSIDE_MM)
        inside = band(land.tones.unlike, land.strip, land.sound_mm[edge], *near)
        stands = step_at(land, land.sound_mm[edge]) > STANDS * usual[edge]
        arcs += [(edge, rows) for rows in _arcs(np.where(clear, inside, -1.0), stands, land)]
    spots = _spots(land, [rows for _, rows in arcs])
    found = [_looked_at(land, edge, rows, usual, spots) for edge, rows in arcs]
    kept = _joined(land, [b for b in found if b.verdict != "none"], usual, spots)
    return _alone(kept, land)


def _looked_at(
    land: Land, edge: int, rows: NDArray[np.int64], usual: tuple[float, float], spots: tuple[float, float]
) -> Bite:
    loss = _follow(land, rows, edge, usual[edge])
    if float(loss.max()) < LEAST_LOSS_MM:
        return Bite(edge=edge, rows=rows, loss_mm=loss, verdict="none", traits={"loss": float(loss.max())})
    traits = traits_of(land, rows, loss, edge, usual[edge])
    return Bite(edge=edge, rows=rows, loss_mm=loss, verdict=verdict(traits, spots), traits=traits)


def _joined(land: Land, bites: list[Bite], usual: tuple[float, float], spots: tuple[float, float]) -> list[Bite]:
    """Neighbours as one where together they make a bite: what shows in it may be blotched."""
    lap, out = len(land.deg), list[Bite]()
    for bite in bites:
        last = out[-1] if out else None
        if last is not None and last.edge == bite.edge and "stain" not in (last.verdict, bite.verdict):
            gap = (int(bite.rows[0]) - int(last.rows[-1]) + lap // 2) % lap - lap // 2
            if gap * land.row_mm < JOIN_MM:
                count = (int(bite.rows[-1]) - int(last.rows[0])) % lap + 1
                both = _looked_at(land, bite.edge, (int(last.rows[0]) + np.arange(count)) % lap, usual, spots)
                if both.verdict == "bite" and count < LONGEST * lap:
                    out[-1] = both
                    continue
        out.append(bite)
    return out


def _alone(bites: list[Bite], land: Land) -> list[Bite]:
    """Without what the other edge's bite has taken: of two that share their angles and cross, the wider stands."""
    width = float(np.abs(land.sound_mm[1] - land.sound_mm[0]).mean())
    out: list[Bite] = []
    for bite in sorted(bites, key=lambda b: (b.verdict != "bite", -len(b.rows))):
        deep = set(bite.rows[bite.loss_mm > 0.3].tolist())
        shares = (
            len(deep & set(other.rows.tolist())) > 0.3 * len(deep)
            and float(other.loss_mm.max() + bite.loss_mm.max()) > 0.9 * width
            for other in out if other.edge != bite.edge and other.verdict == "bite"
        )  # fmt: skip
        if not any(shares):
            out.append(bite)
    return out


def _clear(land: Land) -> NDArray[np.bool_]:
    """Rows in view that have no hidden ones near."""
    near = max(1, round(HIDDEN_MM / land.row_mm))
    hidden = np.concatenate([~land.seen[-near:], ~land.seen, ~land.seen[:near]]).astype(np.float64)
    return np.asarray(np.convolve(hidden, np.ones(2 * near + 1), mode="valid") < 0.5)


def _spots(land: Land, arcs: list[NDArray[np.int64]]) -> tuple[float, float]:
    """Share of the land's middle that is of another tone where no arc is, and how far that tone is from its own."""
    free = land.seen.copy()
    for rows in arcs:
        free[rows] = False
    if not free.any() or not land.tones.middle.any():
        return 0.0, 0.0
    size = [max(1, round(SPOT_MM / step)) for step in (land.row_mm, land.strip.step_mm)]
    solid = cv2.erode((land.tones.unlike > 0.5).astype(np.uint8), np.ones(size, np.uint8))
    spot = solid[free][:, land.tones.middle] > 0
    off = (land.tones.soft[free] - land.tones.own[free][:, None])[:, land.tones.middle]
    return float(spot.mean()), float(np.median(off[spot])) if spot.any() else 0.0


def usual_step(land: Land, edge: int) -> float:
    """Median size of the step at an edge's circle, log grey per column."""
    near = step_at(land, land.sound_mm[edge])[land.seen]
    return max(0.004, float(np.median(near))) if len(near) else 1.0


def step_at(land: Land, radius_mm: Array, rows: NDArray[np.int64] | None = None, reach_mm: float = 0.25) -> Array:
    """Steepest change of log grey per column within so many mm of a radius in each row."""
    near = sample(land.rise, land.strip, radius_mm[:, None] + np.linspace(-reach_mm, reach_mm, 5), rows)
    return np.asarray(np.abs(near).max(axis=1))


def _arcs(unlike: Array, stands: NDArray[np.bool_], land: Land) -> list[NDArray[np.int64]]:
    """Rows of each arc where the tone is not the land's; over a short gap where no edge stands they are one."""
    lap, per_mm = len(unlike), 1 / land.row_mm
    calm = _smooth(unlike, max(1, round(0.5 * per_mm)), closed=land.strip.closed)
    core = calm > CORE
    if not core.any() or core.all():
        return []
    turn = int(np.flatnonzero(~core)[0]) if land.strip.closed else 0
    core, calm, stands = np.roll(core, -turn), np.roll(calm, -turn), np.roll(stands, -turn)
    spare, foot = max(2, round(SPARE_MM * per_mm)), max(FOOT, float(np.median(calm)) + 0.2)
    spans: list[tuple[int, int]] = []
    for part in np.split(np.flatnonzero(core), np.flatnonzero(np.diff(np.flatnonzero(core)) > 1) + 1):
        first, last = int(part[0]), int(part[-1])
        while first > 0 and calm[first - 1] > foot:
            first -= 1
        while last < lap - 1 and calm[last + 1] > foot:
            last += 1
        if spans and _one(spans[-1][1], first, stands, per_mm):
            spans[-1] = (spans[-1][0], max(last, spans[-1][1]))
        else:
            spans.append((first, last))
    return [
        (np.arange(max(0, first - spare), min(lap - 1, last + spare) + 1) + turn) % lap for first, last in spans
        if (last - first + 1) / per_mm >= LEAST_ARC_MM and last - first <= LONGEST * lap
    ]  # fmt: skip


def _one(last: int, first: int, stands: NDArray[np.bool_], per_mm: float) -> bool:
    """Whether two arcs are one: hardly apart, or no edge stands between them."""
    gap = (first - last) / per_mm
    return gap < BRIDGE_MM or (gap < WIDE_GAP_MM and float(stands[last : first + 1].mean()) < 0.4)


def _smooth(values: Array, half: int, *, closed: bool) -> Array:
    pad = np.concatenate([values[-half:], values, values[:half]]) if closed else np.pad(values, half, mode="edge")
    return np.convolve(pad, np.full(2 * half + 1, 1 / (2 * half + 1)), mode="valid")


def _follow(land: Land, rows: NDArray[np.int64], edge: int, usual: float) -> Array:
    """How far the edge lies inside its circle in each row of an arc, from the circle and back to it."""
    step = land.strip.step_mm
    width = float(abs(land.sound_mm[1] - land.sound_mm[0]).mean())
    depth = np.arange(0.0, width + 0.5 * step, step)
    way = (1.0, -1.0)[edge]
    radius = land.sound_mm[edge][rows][:, None] + way * depth[None, :]
    unlike = sample(land.tones.unlike, land.strip, radius, rows)
    steep = np.minimum(np.abs(sample(land.rise, land.strip, radius, rows)) / usual, MOST_STEP)
    won = np.where(unlike < 0, LAND_WEIGHT * unlike, unlike)
    tone = sample(land.tones.soft, land.strip, radius, rows) - land.tones.own[rows][:, None]
    if _on_dark(land, rows, edge):
        won[(unlike > 0) & (tone > 0)] = 0.0
    worth = np.cumsum(won, axis=1) * step + EDGE_MM * steep
    worth[:, 0] += 0.02
    worth[[0, -1], 1:] = -1e6
    path = _past_shadow(best_way(worth, JUMP_COST * step), (unlike > 0) & (tone < 0), step)
    reach = max(1, round(0.25 / step))
    index = np.clip(path[:, None] + np.arange(-reach, reach + 1), 1, worth.shape[1] - 2)
    every = np.arange(len(rows))
    best = index[every, np.argmax(steep[every[:, None], index], axis=1)]
    offset = peak_offset(*(steep[every, best + k] for k in (-1, 0, 1)))
    fine = (best + offset) * step
    loss = np.where(path <= 1, 0.0, np.where(path >= worth.shape[1] - 2, width, fine))
    return running_median(np.maximum(loss, 0.0), 3)


def _past_shadow(path: NDArray[np.int64], dark: NDArray[np.bool_], step_mm: float) -> NDArray[np.int64]:
    """The way moved on to the far end of a dark line just behind it, where the land's shadow lies between."""
    skip, most = max(2, round(SKIP_MM / step_mm)), round(SHADOW_MM / step_mm)
    out = path.copy()
    for row, column in enumerate(path.tolist()):
        if column < 2:
            continue
        start = np.flatnonzero(dark[row, column : column + skip])
        if not len(start):
            continue
        ends = np.flatnonzero(~dark[row, column + int(start[0]) : column + most])
        if len(ends):
            out[row] = column + int(start[0]) + int(ends[0])
    moved = running_median((out - path).astype(np.float64), 9)
    return path + np.rint(moved).astype(np.int64)


def _on_dark(land: Land, rows: NDArray[np.int64], edge: int) -> bool:
    """Whether what lies beside an arc is darker than the land all along."""
    way = (-1.0, 1.0)[edge]
    radius = land.sound_mm[edge][rows][:, None] + way * np.linspace(0.3, 1.5, 5)
    tone = sample(land.tones.soft, land.strip, radius, rows) - land.tones.own[rows][:, None]
    return float(np.sign(tone).mean()) < -ONE_SIDE


def verdict(traits: dict[str, float], spots: tuple[float, float]) -> str:
    """``bite``, ``stain`` or ``unsure``; `spots` are the land's own, as share and tone."""
    shut = traits["old"] + traits["runs_on"]
    pale = traits["contrast"] < PALE
    like_spot = spots[0] > SPOTTED and abs(traits["tone"] - spots[1]) < SAME_TONE * abs(traits["tone"])
    most = {**MOST, **({"rough": OPEN_ROUGH} if shut < OPEN else {}), **({"shut": OPEN} if pale else {})}
    most |= AS_SPOT if like_spot else {}
    faint = shut < SURE or (shut < SURE_CLEAR and traits["contrast"] > CLEAR)
    least = {**LEAST, **({"step": SURE_STEP, "new": SURE_STEP} if faint and not like_spot else {})}
    if _fits(traits, most, least) or (not like_spot and _fits(traits, SMOOTH, CLEAN)):
        return "bite"
    if _fits(traits, SHALLOW, EVEN):
        return "unsure"
    stands = shut > STAIN and not _fits(traits, GONE, APART)
    stain = stands or traits["contrast"] < FAINT
    return "stain" if stain or all(traits[n] < v for n, v in BLUR.items()) else "unsure"


def _fits(traits: dict[str, float], most: dict[str, float], least: dict[str, float]) -> bool:
    return all(traits[n] < v for n, v in most.items()) and all(traits[n] > v for n, v in least.items())


def traits_of(
    land: Land, rows: NDArray[np.int64], loss: Array, edge: int, usual: float
) -> dict[str, float]:
    """What speaks for and against a bite.

    `old`: step left at the old circle over the usual one; `old_rows`: share of rows with one; `runs_on`: difference of
    tone across it over the land's contrast with what lies inside; `shut`: both; `step`, `new`: share of the way with a
    step, and the usual one; `filled`: share of what is inside that is not as the land; `bare`: share of the land just
    beyond the way that is as the land; `rough`: how much the way zigzags; `contrast`: in spreads of the land's tone;
    `tone`: off the land's, log grey.
    """
    deep = loss > max(0.25, 0.3 * float(loss.max()))
    way, at, lost = (1.0, -1.0)[edge], rows[deep], loss[deep]
    circle, other, own = land.sound_mm[edge][at], land.sound_mm[1 - edge][at], land.tones.own[at]
    soft, unlike, strip = land.tones.soft, land.tones.unlike, land.strip
    off = np.linspace(0.25, 0.7, 4)
    within = sample(soft, strip, circle[:, None] + way * np.minimum(off, 0.7 * lost[:, None]), at).mean(axis=1)
    beyond = sample(soft, strip, circle[:, None] - way * off, at).mean(axis=1)
    contrast = np.maximum(np.abs(within - own), land.tones.spread)
    reach = min(0.25, 0.3 * float(np.median(lost)))
    new, share = circle + way * lost, np.linspace(0.1, 0.85, 6)
    stop = np.abs(other - new) > THROUGH_MM
    size = step_at(land, new - BACK_MM * way, at, REACH_MM)[stop] / usual
    rest = new[stop, None] + way * np.linspace(0.4, 1.2, 4)
    old, runs_on = _mean_step(land, circle, at, reach) / usual, float(np.median(np.abs(within - beyond) / contrast))
    return {
        "loss": float(loss.max()), "arc_mm": float(deep.sum() * land.row_mm), "old": old, "runs_on": runs_on,
        "old_rows": float((step_at(land, circle, at, reach) > STANDS * usual).mean()), "shut": old + runs_on,
        "step": float((size > 0.35).mean()) if stop.any() else 1.0,
        "new": float(np.median(size)) if stop.any() else 1.0,
        "filled": float((sample(unlike, strip, circle[:, None] + way * lost[:, None] * share, at) > 0).mean()),
        "bare": float((sample(unlike, strip, rest, at[stop]) < 0).mean()) if stop.any() else 1.0,
        "rough": float(np.mean(np.abs(np.diff(loss, 2)))) / land.row_mm,
        "contrast": float(np.median(contrast)) / land.tones.spread, "tone": float(np.median(within - own)),
    }  # fmt: skip


def _mean_step(land: Land, radius_mm: Array, rows: NDArray[np.int64], reach_mm: float) -> float:
    """Steepest change near a line through rows, of their mean."""
    near = sample(land.rise, land.strip, radius_mm[:, None] + np.linspace(-reach_mm, reach_mm, 5), rows)
    return float(np.abs(near.mean(axis=0)).max())
