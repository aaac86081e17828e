"""What speaks for and against a bite, and how likely it is one.

Each trait is a figure that physics lets differ between a bite and a stain, a shadow or the land's own grain; together
they are weighed as odds. The weights are a logistic regression on drawn lands.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.gasket import Land, usual
from wearvision.measure.finders.land_tone import sample
from wearvision.measure.plane import Array

STANDS = 0.5
"""An edge stands where its step is over this share of the usual one."""
THROUGH_MM = 0.4
"""A way that comes so near the other circle has gone through."""
OTHER = 0.5
"""A place is clearly of what lies beside the land from this on."""
SPOTTED, SAME_TONE = 0.003, 0.45
"""On a land with so many spots of its own, as a share of its middle, what is of their tone, within this share, is as a
spot."""
CORE, FLAT, MOST_STANDS = 0.35, 0.05, 4.0
"""What is left of the old step is told by the rows below this quantile (those by a bite's walls show its feet), held
against the steps within and this share of the usual one, and counts no more than so many times those."""
BASE = -2.34
WEIGHTS = {
    "area": 1.6, "contrast": 0.6, "stands": -2.0, "other": 5.4, "across": -5.8, "many": -1.3, "as_spot": -4.0,
}  # fmt: skip
"""Weights of logarithms of area, contrast and number and of the others as they are, and what is added."""


def traits_of(land: Land, rows: NDArray[np.int64], loss: Array, edge: int, step: float) -> dict[str, float]:
    """Traits of a way into a land, whose usual step in the mean over a few rows is given.

    `loss`: deepest, mm; `arc_mm`: of what is deep; `area`: of what is deep, mm2; `contrast`: of what lies within, in
    spreads of the land's tone; `tone`: the same off the land's, log grey; `stands`: step that is left at the old circle
    over those within; `other`: share of what lies within that is clearly as the ground is; `across`: share of the
    land's width that is missing.
    """
    deep = loss > max(0.25, 0.3 * float(loss.max()))
    way, at, lost = (1.0, -1.0)[edge], rows[deep], loss[deep]
    circle, own = land.sound_mm[edge][at][:, None], land.tones.own[at]
    width = float(np.abs(land.sound_mm[1] - land.sound_mm[0]).mean())
    near = np.minimum(np.linspace(0.25, 0.7, 4), 0.7 * lost[:, None])
    off = sample(land.tones.soft, land.strip, circle + way * near, at).mean(axis=1) - own
    across = circle + way * lost[:, None] * np.linspace(0.05, 0.95, 10)
    other = (sample(land.tones.unlike, land.strip, across, at) > OTHER).mean(axis=1)
    within = sample(land.even, land.strip, circle + way * lost[:, None] * np.linspace(0.2, 0.8, 9), at)
    stands = float(np.quantile(land.even_steps[edge][at], CORE))
    contrast = np.maximum(np.abs(off) / land.tones.spread, 1.0)
    return {
        "loss": float(loss.max()), "arc_mm": float(deep.sum() * land.row_mm), "area": float(lost.sum() * land.row_mm),
        "contrast": float(np.median(contrast)), "tone": float(np.median(off)),
        "stands": stands / (float(np.sqrt((within**2).mean())) + FLAT * step),
        "other": float((other * lost).sum() / lost.sum()), "across": float(loss.max()) / width,
    }  # fmt: skip


def log_odds(traits: dict[str, float], spots: tuple[float, float], many: int) -> float:
    """Logarithm of the odds that it is a bite; `spots`: the land's own, share and tone; `many`: all ways."""
    as_spot = spots[0] > SPOTTED and abs(traits["tone"] - spots[1]) < SAME_TONE * abs(traits["tone"])
    told = {
        "area": float(np.log(traits["area"])), "contrast": float(np.log(traits["contrast"])),
        "stands": min(traits["stands"], MOST_STANDS), "other": traits["other"],
        "across": traits["across"], "many": float(np.log(many)), "as_spot": float(as_spot),
    }  # fmt: skip
    return BASE + sum(WEIGHTS[name] * value for name, value in told.items())


def usual_step(land: Land, edge: int, *, even: bool = False) -> float:
    """Median size of the step at an edge's circle, log grey per column, or of that in the mean over a few rows."""
    return usual((land.even_steps if even else land.steps)[edge], land)
