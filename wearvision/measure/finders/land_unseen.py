"""Stretches of a gasket land along which an edge is not seen where it once was: a bite there may not show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.bite_traits import usual_step
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_tone import band

SHOWS = 0.2
"""An edge shows where its step, in the mean over a few rows, is over this share of the usual one."""
BESIDE_MM = (0.3, 3.0)
"""A bite would show, though the edge does not, where most of what lies so far beside it is unlike the land: beyond a
shadow of the land's own tone, say."""
LONGEST_MM = 10.0
"""Over less than this it may fail to show anywhere: ground changes its tone from darker to lighter than the land."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """Rows (K,), in order, along which an edge (0 inner, 1 outer) is not seen."""

    edge: int
    rows: NDArray[np.int64]


def unseen(land: Land, bites: list[Bite], told: NDArray[np.bool_]) -> list[Stretch]:
    """Stretches that are too long to mean nothing, longest first, but for what may be a bite.

    `told`: (2, N), where either edge can be told.
    """
    out = list[Stretch]()
    for edge, way in ((0, -1.0), (1, 1.0)):
        circle = land.sound_mm[edge]
        shows = land.even_steps[edge] > SHOWS * usual_step(land, edge, even=True)
        beside = band(land.tones.unlike, land.strip, circle, *sorted(way * d for d in BESIDE_MM))
        hidden = land.seen & ~(shows & told[edge]) & (beside < 0)
        for bite in bites:
            if bite.edge == edge and bite.verdict != "stain":
                hidden[bite.rows] = False
        out += [Stretch(edge=edge, rows=rows) for rows in _runs(hidden) if len(rows) * land.row_mm > LONGEST_MM]
    return sorted(out, key=lambda stretch: -len(stretch.rows))


def _runs(flags: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Rows of each run of a lap's flags (N,)."""
    lap = len(flags)
    if not flags.any():
        return []
    turn = 0 if flags.all() else int(np.flatnonzero(~flags)[0])
    rows = np.flatnonzero(np.roll(flags, -turn))
    return [(part + turn) % lap for part in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)]
