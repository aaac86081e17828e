"""What a lens does to straight rays, and what is known of one camera's lens.

Radial distortion with two terms, u (1 + k1 r^2 + k2 r^4), in coordinates normalised by the focal length; the model
of Brown (1971) without its tangential part, as in OpenCV.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LENS = ("log_f", "k1", "cx", "cy", "k2")
"""Parameters of a lens: ln of the focal length in px, radial terms, principal point in px."""


LAST_STEP = 1e-8
"""Step of `undistort` after which it ends, in focal lengths."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lens:
    """What calibration found out about a camera, in the frame of one photo.

    Attributes
    ----------
    mean : (5,) array
        In the order of `LENS`.
    covariance : (5, 5) array
        Of one photo's lens: that of the calibration and what focusing changes from photo to photo.
    size_px : (width, height)
        Of the photos it holds for.
    sigma_px : float
        Scatter of a chessboard corner in the photos it came from.
    """

    mean: Array
    covariance: Array
    size_px: tuple[int, int]
    sigma_px: float

    def __post_init__(self) -> None:
        for name in ("mean", "covariance"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def turned(self, matrix: Array, shift: Array, size_px: tuple[int, int]) -> Lens:
        """The same lens in a frame whose pixels are `matrix` @ pixels + `shift`, an upright turn or a mirror."""
        whole = np.eye(len(LENS))
        whole[2:4, 2:4] = matrix
        mean = whole @ self.mean
        mean[2:4] += shift
        return Lens(
            mean=mean, covariance=whole @ self.covariance @ whole.T, size_px=size_px, sigma_px=self.sigma_px
        )


def distort(uv: Array, k1: float, k2: float) -> Array:
    """Ideal normalised coordinates (N, 2) to those the lens makes of them."""
    r2 = uv[:, :1] ** 2 + uv[:, 1:] ** 2
    return np.asarray(uv * (1 + r2 * (k1 + r2 * k2)))


def undistort(uv: Array, k1: float, k2: float = 0.0) -> Array:
    """Inverse of `distort` by Newton on the radius; (N, 2) normalised coordinates."""
    far = np.sqrt(uv[:, :1] ** 2 + uv[:, 1:] ** 2)
    near = far.copy()
    for _ in range(8):
        r2 = near * near
        step = (near * (1 + r2 * (k1 + r2 * k2)) - far) / (1 + r2 * (3 * k1 + 5 * k2 * r2))
        near -= step
        if np.max(np.abs(step), initial=0.0) < LAST_STEP:  # the next one would be about its square
            break
    return np.asarray(uv * np.divide(near, far, out=np.ones_like(far), where=far > 0))
