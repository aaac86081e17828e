"""Scale from a turned circle of known diameter: the rim or the bore of a face, measured with a caliper.

The rings of the part are sought (`circle_seek`), the one of the stated diameter is told from the others, and the
plane is fitted to sub-pixel edges of it and of a second ring of the same axis (`circle_fit`): the second one settles
which way the face is tilted, by where its centre is seen, whatever the focal length. With one ring alone the tilt has
two answers that mirror each other; what that costs is carried as `tilt`. Less than 60 degrees of the circle in view
is no answer: an ellipse is not to be told from such an arc.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.circle_edges import ring_edges
from wearvision.measure.circle_fit import covariance_parts
from wearvision.measure.circle_seek import seek
from wearvision.measure.circle_settle import Edges, Fine, Look, alike, begin, go_on
from wearvision.measure.circle_start import KnownCircle, Start, starts_of
from wearvision.measure.lens import Lens
from wearvision.measure.plane import Array, N, Plane
from wearvision.measure.prior import Prior, prior_of
from wearvision.measure.unwrap import Image
from wearvision.quantity import K95, Unmeasured

PLANE_SD_MM = {"rim": 0.1, "bore": 0.2}
"""Of the measured plane against the circle's edge, which is broken; a bore may have a small register. Common practice,
no source."""
LEAST_ARC_DEG = 60.0
BEGIN_PX, NEARER_PX = (0.0, 14.0), (6.0, 4.0, 3.0)
"""Half-widths of the band in which the edge nearest to the circle is taken: at first (0: the clearest ring near by;
either way of beginning finds circles that the other misses), and from turn to turn."""
PROMISE = 0.4
"""Beginnings worth less than this share of the best one are not followed."""
MOST_SPREAD_PX, LEAST_WORTH, MOST_PULL = 0.45, 1.6, 9.2
"""Scatter of the edge about its circle, clear edge in full circles, and the sum of squares, in standard deviations, of
what lens, sizes and levels have to give: chi squared of 2 degrees of freedom, 99 %. A wrong edge bends the lens first:
good fits on drawn photos have 0.1 to 0.4 px, 2 or more, and below 5."""
SURE_SPREAD_PX, SURE_WORTH, RIVAL = 0.35, 2.2, 0.9
BEYOND = 1.3
"""How much further off the other of two tilts may be than to first order: so much wider, nearly all intervals hold on
drawn circles of all tilts to 30 degrees (`scenes scales`)."""
HINT = "state both diameters of the face, have all of it in the picture, or lay a card beside it"


@dataclass(frozen=True, kw_only=True, eq=False)
class Circle:
    """What a known diameter gave.

    Attributes
    ----------
    plane : Plane
        Source `diameter`, origin in the circle's axis.
    arc_deg : float
        How much of the circle was used.
    second : bool
        Whether a second ring settled the tilt.
    edge_px : (M, 2) array
        Edge points used, photo px.
    radii_mm : (K,) array
        Of the rings used, the known one first.
    """

    plane: Plane
    arc_deg: float
    second: bool
    edge_px: Array
    radii_mm: Array


def solve_circle(
    gray: Image, stated: KnownCircle, *, focal35_mm: float | None = None, lens: Lens | None = None,
    exclude_px: tuple[Array, ...] = (),
) -> Circle | Unmeasured:  # fmt: skip
    """The measured plane from one circle of known diameter.

    Parameters
    ----------
    gray : (H, W) uint8
    stated : Stated
    focal35_mm : 35 mm film focal length of EXIF; a prior, never a scale
    lens : a calibration of this camera, in the photo's frame
    exclude_px : outlines in photo pixels that hide the part.
    """
    size = (gray.shape[1], gray.shape[0])
    prior = prior_of(size, focal35_mm, lens=lens)
    families = seek(gray, prior, exclude_px)
    families = [f for f in families if f.worth > 0.6 * families[0].worth]
    if not families:
        return Unmeasured(reason="no circle is seen", hint=HINT)
    starts = list(starts_of(families, stated))
    if not starts:
        return Unmeasured(reason=f"no ring is surely the {stated.which}", hint=HINT)

    def look(plane: Plane, radius_mm: float, height_mm: float, window_px: float) -> Edges:
        return ring_edges(gray, plane, radius_mm, height_mm, window_px, exclude_px)

    good = [f for f in _fitted(look, starts, stated, prior) if _clear(f)]
    if not good:
        return Unmeasured(reason=f"the edge of the {stated.which} is not clear enough", hint=HINT)
    good.sort(key=lambda f: -f.worth)
    best = good[0]
    if any(f.worth > RIVAL * best.worth and abs(math.log(f.distance / best.distance)) > 0.01 for f in good[1:]):
        return Unmeasured(reason=f"two rings may be the {stated.which}", hint=HINT)
    return answer(best, stated, size, prior.lens_source)


def _fitted(look: Look, starts: Sequence[Start], stated: KnownCircle, prior: Prior) -> Iterator[Fine]:
    """Starts fitted to edges, the most promising first, until one is so clear that no other can be."""
    begun: list[Fine] = []
    for start in starts:
        for window in BEGIN_PX:
            first = begin(look, start, stated, prior, window)
            if first is not None and not any(alike(first, other) for other in begun):
                begun.append(first)
    begun.sort(key=lambda f: -f.worth)
    for first in begun:
        if first.worth < PROMISE * begun[0].worth:
            return
        fine = go_on(look, first, stated, prior, NEARER_PX)
        if fine is not None:
            yield fine
            if fine.worth > SURE_WORTH and float(fine.fit.spread_px.max()) < SURE_SPREAD_PX:
                return


def _clear(fine: Fine) -> bool:
    """Whether the edges are those of circles, and of the sizes and the lens that were expected."""
    enough = LEAST_WORTH * (1.0 if len(fine.fit.radii_mm) > 1 else 0.5)
    return bool(
        fine.fit.spread_px.max() <= MOST_SPREAD_PX and fine.worth >= enough and np.sum(fine.fit.pulls**2) < MOST_PULL
    )


def _arc_deg(fine: Fine, circle: int) -> float:
    """How much of a circle its agreeing edge points cover, in steps of 5 degrees."""
    mine = (fine.group == circle) & (fine.fit.weights > 0.3)
    mm = fine.fit.plane.to_mm(fine.px[mine])
    cells = np.unique(np.floor(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) / 5.0))
    return float(5.0 * len(cells))


def answer(fine: Fine, stated: KnownCircle, size: tuple[int, int], lens_source: str) -> Circle | Unmeasured:
    """What a fit says of the plane, with all that is in doubt; nothing from too short an arc."""
    fit = fine.fit
    arc = _arc_deg(fine, 0)
    if arc < LEAST_ARC_DEG:
        return Unmeasured(reason=f"only {arc:.0f} degrees of the {stated.which} are clear, 60 are needed", hint=HINT)
    second = len(fit.radii_mm) > 1 and _arc_deg(fine, 1) >= LEAST_ARC_DEG
    sources = covariance_parts(fit, fine.group, fine.px)
    lift = np.zeros((N, N))
    lift[11, 11] = PLANE_SD_MM[stated.which] ** 2
    sources["height"] = sources["height"] + lift
    if not second:
        sources["tilt"] = _either_way(fit.plane)
    miss = fit.spread_px[0]
    plane = replace(fit.plane, sources=sources, size_px=size, source="diameter", rms_px=float(miss),
        lens_source=lens_source)
    return Circle(
        plane=plane, arc_deg=arc, second=second, edge_px=fine.px[fit.weights > 0.3], radii_mm=fit.radii_mm
    )


def _either_way(plane: Plane) -> Array:
    """What it costs that the tilt may be the other way: the perspective may have the other sign.

    Distance and focal length grow together while the perspective fades; twice that turns its sign. The 95 % interval
    reaches as far as the other answer, which is less steep.
    """
    way = np.zeros(N)
    way[5], way[6] = plane.theta[5], 1.0
    return np.outer(way, way) * (2 * BEYOND / K95) ** 2
