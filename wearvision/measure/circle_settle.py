"""From a rough start to a plane fitted to the edges of one circle or two: edges, fit, edges nearer by, and so on."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.circle_edges import ROW_DEG, mm_per_px_about
from wearvision.measure.circle_fit import FREE, SETTLED, TURNS, CircleFit, Known, fit_plane
from wearvision.measure.circle_seek import MOST_TILT_DEG, mirrored
from wearvision.measure.circle_start import KnownCircle, Start
from wearvision.measure.plane import Array, Plane
from wearvision.measure.prior import Prior

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
FIRST_SETTLED, FIRST_TURNS = 1e-3, 10
"""Step below which a fit ends that only says where to look for the edges once more (see `circle_fit.SETTLED`), and its
turns at most."""
LEAST_ROWS = 40
"""Edge points of the known circle, at least: two thirds of 60 degrees."""
OTHER_TILT = 1.5
"""Of the scatter about one circle, how much more the mirrored tilt may have and still be the one taken."""

Edges = tuple[Array, Array]
"""Edge points of one circle, photo px (M, 2), and their strength (M,)."""
Look = Callable[[Plane, float, float, float], Edges]
"""Edges about a circle of a plane: its radius and height in mm, and the half-width of the band in px."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fine:
    """A plane fitted to edges in full size; `known` is what was known of each ring."""

    fit: CircleFit
    known: tuple[Known, ...]
    px: Array
    group: NDArray[np.int64]
    strength: Array

    @property
    def distance(self) -> float:
        """Distance of the axis over focal length: what the scale hangs on."""
        return float(self.fit.plane.theta[5] / self.fit.plane.focal_px)

    @property
    def worth(self) -> float:
        """How much clear edge lies on the fitted circles, in full circles, less what the priors had to give."""
        told = np.minimum(self.strength, 3.0) * self.fit.weights * ROW_DEG / 360.0
        return float(np.sum(told / (1 + self.fit.spread_px[self.group] ** 2)))


def begin(look: Look, start: Start, stated: KnownCircle, prior: Prior, window_px: float) -> Fine | None:
    """The first edges of a start, and what they make of it; `None` where it leads nowhere."""
    known = _known(stated, start.radii_mm, [EDGE_SD_MM] * len(start.radii_mm))
    return _step(look, start.plane, known, stated, prior, np.array(start.radii_mm), np.zeros(len(known)), window_px)


def go_on(look: Look, fine: Fine, stated: KnownCircle, prior: Prior, windows_px: Sequence[float]) -> Fine | None:
    """Edges ever nearer by, and the fit to the last of them."""
    at: Fine | None = fine
    for turn, window in enumerate(windows_px):
        if at is None:
            return None
        fit, last = at.fit, turn == len(windows_px) - 1
        ragged = [
            math.hypot(float(runs), EDGE_SD_PX) * mm_per_px_about(fit.plane, float(radius))
            for runs, radius in zip(fit.runs_px, fit.radii_mm, strict=True)
        ]
        known = _known(stated, [k.radius_mm for k in at.known], ragged)
        at = _step(look, fit.plane, known, stated, prior, fit.radii_mm, fit.heights_mm, window, last=last)
    return at if at is None or len(at.known) > 1 else _steeper(at, stated, prior)


def _step(
    look: Look, plane: Plane, known: Sequence[Known], stated: KnownCircle, prior: Prior, radii: Array, heights: Array,
    window_px: float, *, last: bool = False,
) -> Fine | None:  # fmt: skip
    """Edges about circles, and the plane through them."""
    rows = [look(plane, r, h, window_px) for r, h in zip(radii.tolist(), heights.tolist(), strict=True)]
    if len(rows[0][0]) < LEAST_ROWS:
        return None
    px, strength = np.vstack([r[0] for r in rows]), np.concatenate([r[1] for r in rows])
    group = np.repeat(np.arange(len(rows)), [len(r[0]) for r in rows])
    scale_sd = stated.sd_mm / stated.diameter_mm
    fit = fit_plane(
        px, group, plane, known, prior, scale_sd=scale_sd, turns=TURNS if last else FIRST_TURNS,
        settled=SETTLED if last else FIRST_SETTLED,
    )  # fmt: skip
    found = fit.plane
    if not np.isfinite(found.theta).all() or found.tilt_deg > MOST_TILT_DEG or found.theta[5] <= 0:
        return None
    return Fine(fit=fit, known=tuple(known), px=px, group=group, strength=strength)


def _steeper(fine: Fine, stated: KnownCircle, prior: Prior) -> Fine:
    """Of the two tilts of one circle the steeper one, when it fits nearly as well: its interval holds the other."""
    scale_sd = stated.sd_mm / stated.diameter_mm
    other = fit_plane(fine.px, fine.group, mirrored(fine.fit.plane), fine.known, prior, scale_sd=scale_sd)
    fits = other.spread_px[0] < OTHER_TILT * fine.fit.spread_px[0]
    if not (fits and fine.fit.plane.tilt_deg < other.plane.tilt_deg < MOST_TILT_DEG):
        return fine
    return Fine(fit=other, known=fine.known, px=fine.px, group=fine.group, strength=fine.strength)


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


ALIKE = 5e-4
"""Radians, and shares of the distance, by which planes differ that count as one."""


def alike(one: Fine, other: Fine) -> bool:
    """Whether two beginnings lead to the same edges: their circles lie within a part of a pixel of each other."""
    a, b = one.fit.plane.theta, other.fit.plane.theta
    off = np.abs(a[:6] - b[:6]) / [1, 1, 1, b[5], b[5], b[5]]
    return bool(off.max() < ALIKE and abs(a[6] - b[6]) < ALIKE)
