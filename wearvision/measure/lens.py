"""What a lens does to straight rays, point by point, and what is known of one camera's lens.

Radial distortion with two terms, u (1 + k1 r^2 + k2 r^4), in coordinates normalised by the focal length; the model
of Brown (1971) without its tangential part, as in OpenCV.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled

Array = NDArray[np.float64]
Film = tuple[float, float, float, float, float]
"""Focal length and principal point, px, and the two radial terms."""

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


def undistort(uv: Array, k1: float, k2: float = 0.0) -> Array:
    """What the lens makes these of; (N, 2) normalised coordinates."""
    return _straightened(np.array(uv, dtype=np.float64, order="C"), k1, k2)


def to_film(mm: Array, view: Array, film: Film) -> Array:
    """Points (N, 2) of a plane, mm, to pixels: through `view` (3, 3) to camera coordinates, then through the lens."""
    return _to_film(np.array(mm, dtype=np.float64, order="C").reshape(-1, 2), view, film)


def from_film(px: Array, back: Array, film: Film) -> Array:
    """Pixels (N, 2) to points of a plane, mm; `back` (3, 3) is the inverse of `view` there, up to a factor."""
    return _from_film(np.array(px, dtype=np.float64, order="C").reshape(-1, 2), back, film)


def from_films(px: Array, backs: Array, films: Array) -> Array:
    """`from_film` of the same pixels for many cameras at once, (P, N, 2), from (P, 3, 3) and (P, 5)."""
    at = np.empty((len(backs), *px.reshape(-1, 2).shape))
    at[:] = px.reshape(-1, 2)
    return _from_films(at, backs, films)


@compiled
def _to_film(at: Array, view: Array, film: Film) -> Array:
    focal, cx, cy, k1, k2 = film
    for i in range(len(at)):
        u, v = _through(view, at[i, 0], at[i, 1])
        r2 = u * u + v * v
        bent = 1 + r2 * (k1 + r2 * k2)
        at[i, 0], at[i, 1] = focal * (u * bent) + cx, focal * (v * bent) + cy
    return at


@compiled
def _from_film(at: Array, back: Array, film: Film) -> Array:
    focal, cx, cy, k1, k2 = film
    for i in range(len(at)):
        u, v = (at[i, 0] - cx) / focal, (at[i, 1] - cy) / focal
        share = _straight_share(u, v, k1, k2)
        at[i, 0], at[i, 1] = _through(back, share * u, share * v)
    return at


@compiled
def _from_films(at: Array, backs: Array, films: Array) -> Array:
    for p in range(len(at)):
        _from_film(at[p], backs[p], (films[p, 0], films[p, 1], films[p, 2], films[p, 3], films[p, 4]))
    return at


@compiled
def _straightened(uv: Array, k1: float, k2: float) -> Array:
    for i in range(len(uv)):
        share = _straight_share(uv[i, 0], uv[i, 1], k1, k2)
        uv[i, 0] *= share
        uv[i, 1] *= share
    return uv


@compiled
def _through(matrix: Array, x: float, y: float) -> tuple[float, float]:
    w = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    u = matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]
    v = matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]
    return u / w, v / w


@compiled
def _straight_share(u: float, v: float, k1: float, k2: float) -> float:
    """Share of its radius at which a point lies without the lens, by Newton."""
    far = np.sqrt(u * u + v * v)
    near = far
    for _ in range(8):
        r2 = near * near
        step = (near * (1 + r2 * (k1 + r2 * k2)) - far) / (1 + r2 * (3 * k1 + 5 * k2 * r2))
        near -= step
        if abs(step) < LAST_STEP:  # the next one would be about its square
            break
    return near / far if far > 0 else 1.0
