"""Places of marks once more, from all rows that every mark crosses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.rule.lattice import Lattice, fit_law, peaks_of, sigma_of
from wearvision.measure.rule.marks import PRESENT, Marks
from wearvision.measure.rule.strip import Strip

Array = NDArray[np.float64]
MATCH = 0.2


def refined(strip: Strip, lattice: Lattice, marks: Marks) -> Lattice:
    """The lattice with its places taken from the mean of the zone's rows, leaning with the marks."""
    low, high = strip.row(marks.zone_px[0]), strip.row(marks.zone_px[1])
    rows = np.arange(low, high + 1)
    total = np.zeros(len(strip.t_px))
    for row in rows:
        moved = strip.t_px + marks.lean.shift(strip.t_px, float(strip.s_px[row]))
        total += np.interp(moved, strip.t_px, strip.values[row])
    profile = (total / len(rows)).astype(np.float32)
    period = float(lattice.period_px(np.array(np.median(lattice.t_px))))
    place, strength = peaks_of(profile, strip.t_px, sigma_of(period))
    told = lattice.number(place)
    whole = np.rint(told)
    good = (np.abs(told - whole) < MATCH) & (whole >= marks.n[0]) & (whole <= marks.n[-1])
    good &= strength > PRESENT * np.median(strength[good]) if good.any() else good
    order = np.lexsort((strength[good], whole[good]))
    number = whole[good][order]
    last = np.append(number[1:] != number[:-1], True) if len(number) else np.zeros(0, dtype=bool)
    n, t = number[last].astype(np.int64), place[good][order][last]
    if len(n) < len(lattice.n) // 2:
        return lattice
    law, scatter = fit_law(n, t)
    return Lattice(law=law, n=n, t_px=t, scatter=scatter, strength=lattice.strength)
