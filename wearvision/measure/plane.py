"""The measured plane: the one owner of millimetres and pixels.

A plane is a pinhole camera with two radial terms looking at a flat world, with everything that is not known
exactly kept as a parameter of one Gaussian:

    rotation (3), translation (3, mm), log focal (1), k1 (1), principal point (2, px), log print scale (1),
    card height (1, mm), k2 (1)

The corners inform some of them, priors the rest; `sources` keeps the covariance by named source, so that any
figure computed from the plane gets its uncertainty, part by part, from `propagate`. The print scale and the
card height act on the world: the plane measured lies `height` below the printed side, and
drawn millimetres are `exp(log print)` real ones.

Plane coordinates: mm, x and y along the card's own axes, origin at its origin (see board.py), z = 0
is the measured plane.
Camera model: x_c = R X + t, normalised (u, v) = (x, y)/z, distorted by 1 + k1 r^2 + k2 r^4, pixel = f (u, v) + c.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.lens import Film, from_film, from_films, to_film
from wearvision.quantity import Measured, Unit

Array = NDArray[np.float64]
NAMES = ("rx", "ry", "rz", "tx", "ty", "tz", "log_f", "k1", "cx", "cy", "log_print", "height", "k2")
N = len(NAMES)
STEP = np.array([1e-6] * 3 + [1e-3] * 3 + [1e-5, 1e-5, 1e-2, 1e-2, 1e-6, 1e-3, 1e-5])
"""Steps of the differences, small against every curvature here, large against rounding."""


def shrunk_px(px: Array, factor: float) -> Array:
    """Places of a photo in a copy whose pixels are means over blocks of `factor`: (0, 0) is the first one's centre."""
    return np.asarray((px + 0.5) / factor - 0.5)


@dataclass(frozen=True, kw_only=True, eq=False)
class Plane:
    """Where the measured plane lies, and how well that is known.

    Attributes
    ----------
    theta : (13,) array
        Parameters in the order of `NAMES`; rotation vector and translation are those of the *printed* side
        in *drawn* millimetres.
    sources : mapping of str to (13, 13) array
        Covariance of `theta` by source (`corner`, `print`, `height`, `lens`, `paper`); their sum is the whole.
    size_px : (width, height)
    source : str
        `card`, `board`, `stated`, ...
    rms_px : float
        Root mean square of the corner residuals.
    bend_mm : float
        How far the card was found to bend.
    boards : tuple of str
        Names of the boards it came from, the first carrying origin and axes.
    doubts : tuple of (board, sentence)
        Boards that were not believed, or not wholly, and why.
    lens_source : str
        `exif`, `none` (neither stated nor known), or `calibrated`.
    """

    theta: Array
    sources: Mapping[str, Array]
    size_px: tuple[int, int]
    source: str
    rms_px: float = 0.0
    bend_mm: float = 0.0
    boards: tuple[str, ...] = ()
    doubts: tuple[tuple[str, str], ...] = ()
    lens_source: str = "none"

    def __post_init__(self) -> None:
        theta = np.array(self.theta, dtype=np.float64).reshape(N)
        theta.setflags(write=False)
        object.__setattr__(self, "theta", theta)
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))

    @property
    def covariance(self) -> Array:
        """Whole covariance of `theta`, (13, 13)."""
        return np.sum(np.stack(list(self.sources.values())), axis=0) if self.sources else np.zeros((N, N))

    @cached_property
    def pose(self) -> tuple[Array, Array]:
        """Rotation (3, 3) and translation (3,) of the measured plane, real millimetres."""
        return _pose(self.theta)

    @cached_property
    def _camera(self) -> tuple[Array, Array, Film]:
        """Plane mm (x, y, 1) to camera coordinates, (3, 3), the way back up to a factor, and what the lens does."""
        rotation, shift = self.pose
        return np.column_stack([rotation[:, 0], rotation[:, 1], shift]), *_way_back(self.theta, rotation, shift)

    @cached_property
    def _ahead(self) -> tuple[Plane, ...]:
        """The plane with each of its parameters one `STEP` further."""
        return tuple(replace(self, theta=theta) for theta in self.theta + np.diag(STEP))

    @cached_property
    def _all_ways(self) -> tuple[Array, Array]:
        """The ways back from pixels, and the films, of this plane and of those one step ahead, (14, 3, 3), (14, 5)."""
        ways = [_way_back(theta, *_pose(theta)) for theta in (self.theta, *(self.theta + np.diag(STEP)))]
        return np.stack([back for back, _ in ways]), np.array([film for _, film in ways])

    @cached_property
    def _by_source(self) -> Array:
        """The covariances of all sources, (S, 13, 13)."""
        return np.array(list(self.sources.values())).reshape(-1, N, N)

    @property
    def focal_px(self) -> float:
        """Focal length, px."""
        return float(np.exp(self.theta[6]))

    @property
    def homography(self) -> Array:
        """Plane mm (x, y, 1) to undistorted pixels, (3, 3), last element 1."""
        k = np.array([[self.focal_px, 0, self.theta[8]], [0, self.focal_px, self.theta[9]], [0, 0, 1]])
        h = k @ self._camera[0]
        return np.asarray(h / h[2, 2])

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plane's normal, degrees."""
        rotation, _ = self.pose
        return float(np.degrees(np.arccos(np.clip(abs(rotation[2, 2]), 0.0, 1.0))))

    @property
    def distance_mm(self) -> float:
        """Distance from the lens to the plane along its normal."""
        rotation, shift = self.pose
        return float(abs(rotation[:, 2] @ shift))

    def shrunk(self, factor: float, size_px: tuple[int, int]) -> Plane:
        """The plane in a copy of the photo that is smaller by a factor; its uncertainty is that of the photo."""
        theta = self.theta.copy()
        theta[6] -= np.log(factor)
        theta[8:10] = shrunk_px(theta[8:10], factor)
        return replace(self, theta=theta, size_px=size_px)

    def to_px(self, mm: Array) -> Array:
        """Plane points (N, 2) in mm to photo pixels (N, 2)."""
        view, _, film = self._camera
        return to_film(mm, view, film)

    def to_mm(self, px: Array) -> Array:
        """Photo pixels (N, 2) to plane points (N, 2) in mm."""
        _, back, film = self._camera
        return from_film(px, back, film)

    def mm_per_px(self, at_px: Array) -> Measured:
        """Local scale 1/sqrt(|det J|) of plane -> pixel at a pixel, mm."""
        at = np.asarray(at_px, dtype=np.float64).reshape(1, 2)

        def scale(quad: Array) -> Array:
            along, down = (quad[:, 1::2] - quad[:, ::2]).transpose(1, 0, 2) / 2
            return np.asarray(np.sqrt(np.abs(along[:, :1] * down[:, 1:] - along[:, 1:] * down[:, :1])))

        around = at + np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]])
        return _as_measured(self.propagate_points(around, scale), "mm", how="scale of the plane")[0]

    def propagate(self, figure: Callable[[Plane], Array]) -> tuple[Array, dict[str, Array]]:
        """Value (K,) of a figure of the plane and its standard uncertainty (K,) by source.

        `figure` maps a plane to K numbers with *pixels* held fixed; it is differentiated by the parameters
        with steps so small that looking ahead alone is exact to 1e-4 of a derivative.
        """
        return self._spread(np.stack([np.asarray(figure(p), dtype=np.float64).ravel() for p in (self, *self._ahead)]))

    def propagate_points(self, px: Array, figure: Callable[[Array], Array]) -> tuple[Array, dict[str, Array]]:
        """`propagate` of figures of plane points at pixels (N, 2), for all planes at once.

        `figure` maps points (P, N, 2) in mm, as P planes tell them, to K numbers of each, (P, K).
        """
        return self._spread(figure(from_films(np.asarray(px, dtype=np.float64), *self._all_ways)))

    def _spread(self, figures: Array) -> tuple[Array, dict[str, Array]]:
        """What `propagate` gives, from the figures (14, K) of this plane and of those one step ahead."""
        value = figures[0]
        jacobian = (figures[1:] - value).T / STEP
        squares = np.sum((jacobian @ self._by_source) * jacobian, axis=2)
        return value, dict(zip(self.sources, np.sqrt(np.maximum(squares, 0)), strict=True))

    def measured(self, figure: Callable[[Plane], Array], unit: Unit, *, how: str = "", **more: float) -> list[Measured]:
        """`propagate`, as measured quantities; `more` adds further named parts to each."""
        return _as_measured(self.propagate(figure), unit, how=how, **more)


def _pose(theta: Array) -> tuple[Array, Array]:
    """Rotation and translation of the measured plane, real millimetres."""
    rotation = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], dtype=np.float64)
    shift = np.exp(theta[10]) * theta[3:6]
    return rotation, shift + rotation[:, 2] * theta[11]


def _way_back(theta: Array, rotation: Array, shift: Array) -> tuple[Array, Film]:
    """Camera coordinates to plane mm up to a factor, (3, 3), and what the lens does."""
    x, y, z = (shift @ rotation).tolist()
    log_f, k1, cx, cy, *_, k2 = theta[6:].tolist()
    return np.array([[z, 0, -x], [0, z, -y], [0, 0, 1]]) @ rotation.T, (float(np.exp(log_f)), cx, cy, k1, k2)


def _as_measured(
    figures: tuple[Array, Mapping[str, Array]], unit: Unit, *, how: str, **more: float
) -> list[Measured]:
    """Figures (K,) with their standard uncertainties by source, and further parts common to all."""
    value, parts = figures
    return [
        Measured.of(float(v), unit, how=how, **{k: float(u[i]) for k, u in parts.items()}, **more)
        for i, v in enumerate(value)
    ]
