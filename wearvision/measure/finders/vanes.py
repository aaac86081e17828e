"""Vanes of an impeller in plan, each against its own siblings: shift at the tip, bend, shortening, a missing vane.

Found by `measure/vanes`: axis (`hub`, `rim`), number and common line (`find`, `refine`, `settle`), edges (`bends`,
`trace`, `traces`), what differs (`siblings`, `shape`, `ends`). What is told of each vane stands in `vanes_told.py`.
What all vanes share cannot be seen this way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Copies
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.measure.vanes.ends import LATE_MM, ends
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.present import STRETCH_MM
from wearvision.measure.vanes.settle import Settled, settle
from wearvision.measure.vanes.shape import Shape, shapes
from wearvision.measure.vanes.siblings import against_siblings, centred, left_over, offsets
from wearvision.measure.vanes.traces import Traces
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated


@dataclass(frozen=True, kw_only=True, eq=False)
class Vanes:
    """All vanes of one disc, measured.

    Attributes
    ----------
    layout : Layout
    traces : Traces
    centre_mm : (2,) array
        Centre after all vanes were traced.
    centre_cov_mm2 : (2, 2) array
        Covariance of it, as far as the traced edges tell.
    tip_mm : float
        Where the siblings end, along the line.
    shapes : tuple of Shape
    short_mm, short_u_mm : (N,) arrays
    standing, stub, doubted : (N,) bool
        Which vanes are there at all, of which only the inner part, and which may be missing all the same.
    held : float
        How well the vanes that are there lie alike, 0 to 1.
    apart : float
        Logarithm of the edge at vanes over that in the gaps between; nan where no gap is seen.
    """

    layout: Layout
    traces: Traces
    centre_mm: Array
    tip_mm: float
    shapes: tuple[Shape, ...]
    short_mm: Array
    short_u_mm: Array
    centre_cov_mm2: Array
    standing: NDArray[np.bool_]
    stub: NDArray[np.bool_]
    doubted: NDArray[np.bool_]
    held: float
    apart: float


def measure_vanes(
    gray: Image, plane: Plane, stated: Stated, cards_px: tuple[Array, ...] = (), *, blur_px: float = 0.8,
    copies: Copies | None = None,
) -> Vanes | Unmeasured:
    """Find, trace and compare the vanes.

    Parameters
    ----------
    gray : (H, W) uint8
    plane : Plane
        The plane of the vanes' tops.
    stated : Stated
        `disc_diameter_mm` and `vane_thickness_mm` help; `vane_count` is one more number to try, and where another
        hardly stands out nothing is told.
    cards_px : outlines in photo px that hide the part
    copies : smaller copies of the photo, where it has some
    """
    count, diameter = (stated.nominal.get(n) for n in ("vane_count", "disc_diameter_mm"))
    found = settle(
        gray, plane, cards_px, blur_px, diameter_mm=diameter, number=round(count) if count else None,
        thickness_mm=stated.nominal.get("vane_thickness_mm"), copies=copies,
    )  # fmt: skip
    return found if isinstance(found, Unmeasured) else _compared(found)


def _compared(found: Settled) -> Vanes:
    """Each vane against its siblings."""
    traces, layout, shown = found.traces, found.layout, found.shown
    seems, tip = found.tip_mm, found.tip_mm - LATE_MM
    stub, there = np.isfinite(shown.end_mm), ~shown.gone
    place, place_u = ends(found.end_score, traces, seems)
    place, place_u = np.where(stub, shown.end_mm, place), np.where(stub, STRETCH_MM / 12**0.5, place_u)
    whole = there & ~stub
    places, sd = offsets(traces)
    off, moved, cov = centred(places, sd, traces, tip, left_over(layout))
    short = np.zeros(len(off))
    along, (differences, doubts) = traces.line.along_mm, against_siblings(off, sd, whole)
    differences[~whole] = np.nan  # what was followed is no vane
    for k in range(len(off)):
        others = [place[j] for j in range(len(off)) if j != k and whole[j]]
        short[k] = (np.median(others) if others else seems) - place[k] if there[k] else tip - traces.line.along_mm[0]
    return Vanes(
        layout=layout, traces=traces, centre_mm=layout.centre_mm + moved, tip_mm=tip, short_mm=short,
        shapes=shapes(differences, along, tip, np.hypot(doubts, sd)), short_u_mm=place_u, centre_cov_mm2=cov,
        standing=there, stub=stub, doubted=shown.doubted, held=traces.alike(whole), apart=shown.apart,
    )  # fmt: skip
