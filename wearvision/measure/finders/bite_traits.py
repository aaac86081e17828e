"""What speaks for and against a bite: whether the old edge still stands, how the way into it looks, what lies in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_tone import sample
from wearvision.measure.plane import Array

STANDS = 0.5
"""An edge stands where its step is over this share of the usual one."""
BACK_MM, REACH_MM = 0.35, 0.6
"""The way's step is looked for so far back towards the circle, on either side of there: a shadow may lie before it."""
THROUGH_MM = 0.4
"""A way that comes so near the other circle has gone through."""
MOST = {"old": 0.42, "old_rows": 0.6, "runs_on": 0.5, "shut": 0.66, "rough": 2.3}
LEAST = {"step": 0.75, "new": 0.5, "filled": 0.75, "bare": 0.58, "contrast": 2.7, "arc_mm": 1.2}
"""A bite's traits lie below and above these."""
OPEN, OPEN_ROUGH, PALE = 0.5, 3.5, 3.5
"""With `shut` below this the way may zigzag more; it has to be with less contrast than this."""
SPOTTED, SAME_TONE = 0.003, 0.45
AS_SPOT = {"shut": 0.3, "rough": 0.8, "old_rows": 0.3}
"""On a land with so many spots of its own, as a share of its middle, one that reaches an edge looks like a bite: what
is of their tone, within this share, is held more strictly."""
SURE, SURE_CLEAR, CLEAR, SURE_STEP = 0.2, 0.4, 4.0, 0.25
"""With `shut` below this, or this and so much contrast, the way may be fainter."""
SHALLOW = {"loss": 1.6, "rough": 0.8}
EVEN = {"step": 0.85, "filled": 0.78, "bare": 0.75, "arc_mm": 2.0, "contrast": 3.0}
"""What is so shallow and even may be a bite that its own shadow fills: a step at the old edge is nothing against it."""
SMOOTH = {"old": 0.6, "old_rows": 0.65, "runs_on": 0.7, "shut": 1.0, "rough": 1.0}
CLEAN = {"step": 0.75, "new": 0.5, "filled": 0.9, "bare": 0.9, "contrast": 4.2, "arc_mm": 2.0}
"""Traits of a clean cut: where nothing else zigzags, a shadow may lie between its ground and the old edge."""
LIKELY = ({"rough": 1.0}, {"step": 0.95, "new": 0.95, "bare": 0.94, "filled": 0.65, "arc_mm": 7.0, "contrast": 2.9})
"""Traits of what may be a stain, but is most likely a bite: long and even, a clear edge all along its way."""
STAIN, FAINT = 0.72, 2.6
"""Over this, `old` and `runs_on` together tell a stain: the land's edge stands; next to no contrast tells one too."""
GONE, APART = {"old": 0.5, "shut": 1.3}, {"contrast": 4.5}
"""Unless hardly any of its step is left beside so much contrast: then what lies beyond may be as uneven."""
BLUR = {"new": 0.35, "contrast": 4.2}
"""Below these there is no edge in it: a shade."""


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


def likely(traits: dict[str, float]) -> bool:
    """Whether what is unsure is most likely a bite."""
    return _fits(traits, *LIKELY)


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


def usual_step(land: Land, edge: int) -> float:
    """Median size of the step at an edge's circle, log grey per column."""
    near = step_at(land, land.sound_mm[edge])[land.seen]
    return max(0.004, float(np.median(near))) if len(near) else 1.0


def step_at(land: Land, radius_mm: Array, rows: NDArray[np.int64] | None = None, reach_mm: float = 0.25) -> Array:
    """Steepest change of log grey per column within so many mm of a radius in each row."""
    near = sample(land.rise, land.strip, radius_mm[:, None] + np.linspace(-reach_mm, reach_mm, 5), rows)
    return np.asarray(np.abs(near).max(axis=1))
