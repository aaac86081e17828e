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
from numpy.typing import NDArray

from wearvision.measure.circle_edges import ROW_DEG, mm_per_px_about, ring_edges
from wearvision.measure.circle_fit import FREE, CircleFit, Known, covariance_parts, fit_plane
from wearvision.measure.circle_seek import MOST_TILT_DEG, mirrored, seek
from wearvision.measure.circle_start import KnownCircle, Start, starts_of
from wearvision.measure.lens import Lens
from wearvision.measure.plane import Array, N, Plane
from wearvision.measure.prior import Prior, prior_of
from wearvision.measure.unwrap import Image
from wearvision.quantity import K95, Unmeasured

EDGE_SD_MM = 0.03
"""How far from the measured diameter's radius a clean edge may be seen: it is broken a little. A ragged one may be as
far off as its runs scatter. Common practice, no source."""
EDGE_SD_PX = 0.15
"""The same in pixels, all round alike: where a blurred edge is seen hangs on the photo's tones and sharpening. Common
practice, no source."""
DRAWING_SD = (0.06, 0.0006)
"""How far the other diameter, taken from a drawing, may lie from the part's: mm, and relative to the radius. Common
practice, no source."""
LEVEL_SD_MM, OTHER_SD_MM = 0.3, 3.0
"""Height of the face's other edge against the first, and of a ring of which nothing is stated."""
PLANE_SD_MM = {"rim": 0.1, "bore": 0.2}
"""Of the measured plane against the circle's edge, which is broken; a bore may have a small register. Common practice,
no source."""
LEAST_ARC_DEG = 60.0
WINDOWS_PX = ((0.0, 6.0, 4.0, 3.0), (14.0, 6.0, 4.0, 3.0))
"""Half-widths of the band in which the edge nearest to the circle is taken, from turn to turn; 0: the clearest ring
near by. Either way of beginning finds circles that the other misses."""
LEAST_ROWS = 40
"""Edge points of the known circle, at least: two thirds of 60 degrees."""
MOST_SPREAD_PX, LEAST_WORTH, MOST_PULL = 0.45, 1.6, 9.2
"""Scatter of the edge about its circle, clear edge in full circles, and the sum of squares, in standard deviations, of
what lens, sizes and levels have to give: chi squared of 2 degrees of freedom, 99 %. A wrong edge bends the lens first:
good fits on drawn photos have 0.1 to 0.4 px, 2 or more, and below 5."""
SURE_SPREAD_PX, SURE_WORTH, RIVAL = 0.35, 2.2, 0.9
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
    good = [f for f in _fitted(gray, starts, stated, prior, exclude_px) if _clear(f)]
    if not good:
        return Unmeasured(reason=f"the edge of the {stated.which} is not clear enough", hint=HINT)
    good.sort(key=lambda f: -f.worth)
    best = good[0]
    if any(f.worth > RIVAL * best.worth and abs(math.log(f.distance / best.distance)) > 0.01 for f in good[1:]):
        return Unmeasured(reason=f"two rings may be the {stated.which}", hint=HINT)
    return _answer(best, stated, size, prior.lens_source)


def _fitted(
    gray: Image, starts: Sequence[Start], stated: KnownCircle, prior: Prior, exclude_px: tuple[Array, ...]
) -> Iterator[Fine]:
    """Starts fitted to edges, until one is so clear that no other can be."""
    for start in starts:
        for windows in WINDOWS_PX:
            fine = _fine(gray, start, stated, prior, exclude_px, windows)
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Fine:
    """A plane fitted to edges in full size."""

    fit: CircleFit
    px: Array
    group: NDArray[np.int64]
    worth: float

    @property
    def distance(self) -> float:
        """Distance of the axis over focal length: what the scale hangs on."""
        return float(self.fit.plane.theta[5] / self.fit.plane.focal_px)


def _known(stated: KnownCircle, radii_mm: Sequence[float], ragged_mm: Sequence[float]) -> list[Known]:
    """What is known of each ring, given how its edge scatters in runs."""
    out = [Known(radius_mm=radii_mm[0], sd_mm=math.hypot(EDGE_SD_MM, ragged_mm[0]), unit=True)]
    for radius, ragged in zip(radii_mm[1:], ragged_mm[1:], strict=True):
        if stated.other_mm is None:
            out.append(Known(radius_mm=radius, sd_mm=FREE, height_sd_mm=OTHER_SD_MM))
        else:
            sd = math.hypot(EDGE_SD_MM, ragged, DRAWING_SD[0] + DRAWING_SD[1] * radius)
            out.append(Known(radius_mm=radius, sd_mm=sd, height_sd_mm=LEVEL_SD_MM))
    return out


def _fine(
    gray: Image, start: Start, stated: KnownCircle, prior: Prior, exclude_px: tuple[Array, ...],
    windows_px: tuple[float, ...],
) -> Fine | None:  # fmt: skip
    """Edges, fit, edges nearer by, and so on."""
    plane, radii, heights = start.plane, np.array(start.radii_mm), np.zeros(len(start.radii_mm))
    known = _known(stated, start.radii_mm, [EDGE_SD_MM] * len(radii))
    scale_sd = stated.sd_mm / stated.diameter_mm
    fit: CircleFit | None = None
    px, group, strength = np.zeros((0, 2)), np.zeros(0, dtype=np.int64), np.zeros(0)
    for turn, window in enumerate(windows_px):
        rings = zip(radii.tolist(), heights.tolist(), strict=True)
        rows = [ring_edges(gray, plane, radius, height, window, exclude_px) for radius, height in rings]
        px = np.vstack([r[0] for r in rows])
        group = np.repeat(np.arange(len(rows)), [len(r[0]) for r in rows])
        strength = np.concatenate([r[1] for r in rows])
        if len(rows[0][0]) < LEAST_ROWS:
            return None
        last = turn == len(windows_px) - 1
        fit = fit_plane(px, group, plane, known, prior, scale_sd=scale_sd, turns=40 if last else 10)
        plane, radii, heights = fit.plane, fit.radii_mm, fit.heights_mm
        if not np.isfinite(plane.theta).all() or plane.tilt_deg > MOST_TILT_DEG or plane.theta[5] <= 0:
            return None
        ragged = [
            math.hypot(float(runs), EDGE_SD_PX) * mm_per_px_about(plane, float(radius))
            for runs, radius in zip(fit.runs_px, radii, strict=True)
        ]
        known = _known(stated, start.radii_mm, ragged)
    assert fit is not None
    if len(radii) == 1:  # of the two answers the steeper one: its interval holds the other
        other = fit_plane(px, group, mirrored(fit.plane), known, prior, scale_sd=scale_sd)
        if other.spread_px[0] < 1.5 * fit.spread_px[0] and fit.plane.tilt_deg < other.plane.tilt_deg < MOST_TILT_DEG:
            fit = other
    return Fine(fit=fit, px=px, group=group, worth=_worth(fit, group, strength))


def _worth(fit: CircleFit, group: NDArray[np.int64], strength: Array) -> float:
    """How much clear edge lies on the fitted circles, in full circles, less what the priors had to give."""
    total = 0.0
    for k in range(len(fit.radii_mm)):
        mine = group == k
        told = np.minimum(strength[mine], 3.0) * fit.weights[mine] * ROW_DEG / 360.0
        total += float(told.sum()) / (1 + fit.spread_px[k] ** 2)
    return total


def _arc_deg(fine: Fine, circle: int) -> float:
    """How much of a circle its agreeing edge points cover, in steps of 5 degrees."""
    mine = (fine.group == circle) & (fine.fit.weights > 0.3)
    mm = fine.fit.plane.to_mm(fine.px[mine])
    cells = np.unique(np.floor(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) / 5.0))
    return float(5.0 * len(cells))


def _answer(fine: Fine, stated: KnownCircle, size: tuple[int, int], lens_source: str) -> Circle | Unmeasured:
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
    return np.outer(way, way) * (2 / K95) ** 2


