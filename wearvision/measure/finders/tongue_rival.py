"""Another edge behind a lip's bays: the foot of a bright flank passes for the rim, and the rim is the next edge down.

The best way is kept from where it runs in the bays. Where there is no other edge it stays as near to it as it may;
where it goes on into the metal, there is one, and how deep the bay is is in doubt by what lies between.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.tongue_follow import JUMP, STEEP, Followed
from wearvision.measure.finders.tongue_ways import NOWHERE, best_ways

BAY_MM, RUN_MM, RIM_MM = 0.3, 2.0, 1.0
"""A bay lies so far behind the sound line over such a length, this much left out at its ends."""
GAP_MM, BEYOND_MM, SHARE = 0.6, 1.05, 0.2
"""The way is kept so far behind; there is another edge where it then lies so far behind along such a share of a bay."""
BESIDE_MM = 0.25
"""Beside the bays it stays so near."""


def rival_way(found: Followed) -> NDArray[np.int64] | None:
    """Rows (N,) of a way along other edges behind the bays, the best way elsewhere; None where there are none.

    Parameters
    ----------
    found : a way in a band laid along its sound line
    """
    step, pace = found.band.patch.step_mm, found.band.patch.step_mm * found.stride
    worn = found.band.off_mm[found.row] > BAY_MM
    bays = [
        slice(first + round(RIM_MM / pace), last - round(RIM_MM / pace))
        for first, last in np.flatnonzero(np.diff(np.concatenate([[0], worn.astype(int), [0]]))).reshape(-1, 2)
        if (last - first) * pace > RUN_MM + 2 * RIM_MM
    ]
    if not bays:
        return None
    inside = np.zeros(len(worn), dtype=bool)
    for bay in bays:
        inside[bay] = True
    rows, own = found.top + np.arange(found.worth.shape[1]), found.row[:, None]
    near = inside[:, None] & (rows < own + GAP_MM / step)
    near |= ~worn[:, None] & (np.abs(rows - own) > BESIDE_MM / step)
    other = found.top + best_ways(np.where(near, NOWHERE, found.worth)[None], JUMP * step, STEEP * found.stride)[0]
    beyond = [bay for bay in bays if np.mean((other - found.row)[bay] * step > BEYOND_MM) > SHARE]
    if not beyond:
        return None
    keep = ~worn
    for bay in beyond:
        keep[max(bay.start - round(RIM_MM / pace), 0) : bay.stop + round(RIM_MM / pace)] = True
    return np.where(keep, other, found.row)
