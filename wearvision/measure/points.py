"""Scale from two points a stated distance apart: last resort, the tilt is not corrected.

The plane is taken as frontal. What a tilt up to a bound may do stays in the uncertainty: a line along the tilt looks
shorter by the cosine of it, and away from the two points the perspective makes things larger or smaller.
"""

from __future__ import annotations

import math

import numpy as np

from wearvision.errors import BadInput
from wearvision.measure.adjust import LENS_ROWS
from wearvision.measure.lens import Lens
from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import prior_of
from wearvision.quantity import K95

CLICK_SD_PX = 1.0
"""Of a place told by hand or eye, each way. Common practice, no source."""
DISTANCE_SD_MM = 0.1
"""Of the stated distance. Common practice, no source."""
TILT_BOUND_DEG = 20.0
"""Tilt that a person who holds the phone square does not exceed. Common practice, no source."""
LEAST_PX = 50.0
DOUBT = ("tilt", "not corrected: two points show no tilt; the intervals carry one of up to {:.0f} degrees")
FLAG = "no-tilt-correction"


def from_two_points(
    points: tuple[float, float, float, float, float], size_px: tuple[int, int], *, focal35_mm: float | None = None,
    lens: Lens | None = None, tilt_bound_deg: float = TILT_BOUND_DEG,
) -> Plane:  # fmt: skip
    """A frontal plane through two points.

    Parameters
    ----------
    points : (x1, y1, x2, y2, distance)
        Photo pixels, and mm between them. The plane's origin lies half way.
    tilt_bound_deg : float
        Tilt whose effect the 95 % interval covers.

    Raises
    ------
    BadInput
        When a point is out of the picture, or they are too near to each other.
    """
    ends, distance_mm = np.array(points[:4], dtype=np.float64).reshape(2, 2), points[4]
    if (ends < -0.5).any() or (ends > np.array(size_px) - 0.5).any():
        raise BadInput("a point lies out of the picture", got=ends.tolist(), do=f"picture is {size_px} px")
    length = float(np.hypot(*(ends[1] - ends[0])))
    if length < LEAST_PX:
        raise BadInput("the two points are too near to each other", got=f"{length:.0f} px", do="take points far apart")
    prior = prior_of(size_px, focal35_mm, lens=lens)
    theta, middle = np.zeros(N), ends.mean(axis=0)
    theta[LENS_ROWS] = prior.lens
    depth = prior.focal_px * distance_mm / length
    theta[3:5] = (middle - theta[8:10]) / prior.focal_px * depth
    theta[5] = depth
    start = Plane(theta=theta, sources={}, size_px=size_px, source="two-points")
    # the lens bends the line a little: scale until the distance is that of the two points
    theta[3:6] *= distance_mm / float(np.hypot(*np.diff(start.to_mm(ends), axis=0)[0]))
    spread = {name: np.zeros(N) for name in ("edge", "distance", "tilt")}
    spread["edge"][10] = math.sqrt(2) * CLICK_SD_PX / length
    spread["distance"][10] = DISTANCE_SD_MM / distance_mm
    bound = math.radians(tilt_bound_deg)
    spread["tilt"][10] = (1 / math.cos(bound) - 1) / K95
    spread["tilt"][:2] = bound / 2
    sources = {name: np.diag(one**2) for name, one in spread.items()}
    cover = np.zeros((N, N))
    cover[np.ix_(LENS_ROWS, LENS_ROWS)] = np.linalg.inv(prior.lens_precision)
    cover[6, :] = cover[:, 6] = 0.0  # the stated distance fixes the scale, whatever the focal length
    return Plane(
        theta=theta, sources=sources | {"lens": cover}, size_px=size_px, source="two-points",
        doubts=((DOUBT[0], DOUBT[1].format(tilt_bound_deg)),), lens_source=prior.lens_source,
    )  # fmt: skip
