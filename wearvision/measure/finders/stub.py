"""A stub on a bar: one shape of two flanks, a top, two rounded corners and a base, fitted to sub-pixel edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.edges import Grid, peak_offset, slope
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured

MARGIN_MM = 4.0
GAMMA = 2.2
"""Grey to light (about IEC 61966-2-1): blur adds up in light, and only there does the steepest place keep still."""
FAN = 31
"""Rays round a corner."""
SIDE_SHARE = (0.15, 0.9)
"""Flanks are followed between these shares of the height."""
ALIKE = 4.0
"""Neighbouring points of an edge that share one error."""
TURNS = 40
LEAST_SLOPE = 0.25
"""A point counts when its slope is at least this share of the median one of its edge."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stub:
    """The fitted shape; plane mm.

    Attributes
    ----------
    origin_mm, along, up : (2,) arrays
        Middle of the base, unit vectors along the bar and up the vane.
    shape : (10,) array
        Left flank at the base and lean, right flank and lean, top at the middle and lean, radius left and right, base
        and lean; mm and mm per mm, in (along, up) about the origin.
    covariance : (10, 10) array
    px_mm : float
    spread_mm : float
        Robust standard deviation of the points about the shape.
    """

    origin_mm: Array
    along: Array
    up: Array
    shape: Array
    covariance: Array
    px_mm: float
    spread_mm: float

    @property
    def radius(self) -> tuple[float, float]:
        """Apparent radius of the left and the right corner, mm."""
        return float(self.shape[6]), float(self.shape[7])

    @property
    def radius_u(self) -> tuple[float, float]:
        """Standard uncertainties of the radii from the fit."""
        return float(self.covariance[6, 6] ** 0.5), float(self.covariance[7, 7] ** 0.5)

    @property
    def height_u(self) -> float:
        """Standard uncertainty of the height from the fit."""
        return float((self.covariance[4, 4] + self.covariance[8, 8]) ** 0.5)

    @property
    def thickness_u(self) -> float:
        """Standard uncertainty of the thickness from the fit."""
        return float((self.covariance[0, 0] + self.covariance[2, 2]) ** 0.5)

    def plane_mm(self, along: Array, up: Array) -> Array:
        """Plane points (N, 2) of places in (along, up)."""
        return np.asarray(self.origin_mm + np.outer(along, self.along) + np.outer(up, self.up))

    def _flank(self, k: int, up: float) -> float:
        return float(self.shape[2 * k] + self.shape[2 * k + 1] * up)

    def _top(self, along: float) -> float:
        return float(self.shape[4] + self.shape[5] * (along - self._middle))

    def _base(self, along: float) -> float:
        return float(self.shape[8] + self.shape[9] * along)

    @property
    def _middle(self) -> float:
        return float(self.shape[0] + self.shape[2]) / 2

    def gauge_mm(self) -> Array:
        """Ends of the height at the middle, and of the thickness at half height, (4, 2)."""
        x = self._middle
        low, high = self._base(x), self._top(x)
        half = (low + high) / 2
        return self.plane_mm(
            np.array([x, x, self._flank(0, half), self._flank(1, half)]), np.array([low, high, half, half])
        )

    def places_mm(self) -> Array:
        """Where to gauge the height: the middle of the top, and the bar beside the vane."""
        x = self._middle
        return self.plane_mm(np.array([x]), np.array([self._top(x)]))

    def corner_mm(self, k: int) -> Array:
        """Arc of a corner, from the flank to the top, (N, 2)."""
        r, way = max(self.radius[k], 1e-3), (-1.0, 1.0)[k]
        x = self._flank(k, self._top(self._middle) - r) - way * r
        y = self._top(x) - r
        turn = np.linspace(0, np.pi / 2, 24)
        return self.plane_mm(x + way * r * np.cos(turn), y + r * np.sin(turn))

    def outline_mm(self) -> Array:
        """Closed outline from the left foot over the top to the right foot, (N, 2)."""
        feet = [self._flank(k, self._base(self.shape[2 * k])) for k in (0, 1)]
        foot = [self.plane_mm(np.array([x]), np.array([self._base(x)])) for x in feet]
        return np.vstack([foot[0], self.corner_mm(0), self.corner_mm(1)[::-1], foot[1]])


def fit_stub(
    gray: Image, plane: Plane, base_mm: Array, along: Array, up: Array, wide_mm: float, high_mm: float, *,
    blur_px: float,
) -> Stub | Unmeasured:  # fmt: skip
    """Fit the shape near a coarse one (its base's middle, directions, width and height)."""
    start = base_mm - along * (wide_mm / 2 + 2.5 * MARGIN_MM) + up * (high_mm + MARGIN_MM)
    size = (wide_mm + 5 * MARGIN_MM, high_mm + 2 * MARGIN_MM)
    patch = patch_of(gray, plane, start, along, size, down=-up)
    patch = patch_of(gray, plane, start, along, size, down=-up, step_mm=0.5 * patch.px_mm)
    steep = _gradient(patch, blur_px)
    shape = np.array([-wide_mm / 2, 0, wide_mm / 2, 0, high_mm, 0, 0.3, 0.3, 0, 0], dtype=np.float64)
    fitted = None
    for reach in (1.2, 0.5, 0.35):
        points, part = _points(patch, steep, shape, base_mm, along, up, reach)
        if min(int(np.sum(part == k)) for k in range(4)) < 8:
            return Unmeasured(reason="the outline of the vane cannot be followed", hint="a plain background behind it")
        fitted = _fit(points, part, shape)
        shape = fitted[0]
    assert fitted is not None
    return Stub(
        origin_mm=base_mm, along=along, up=up, shape=fitted[0], covariance=fitted[1], px_mm=patch.px_mm,
        spread_mm=fitted[2],
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Steep:
    """Slope of the light along columns and rows of a patch."""

    across: Grid
    down: Grid


def _gradient(patch: Patch, blur_px: float) -> _Steep:
    sigma = _filter_px(blur_px) * patch.px_mm / patch.step_mm
    light = np.asarray((patch.values / np.float32(255)) ** np.float32(GAMMA), dtype=np.float32)
    return _Steep(across=slope(light, sigma), down=np.ascontiguousarray(slope(np.ascontiguousarray(light.T), sigma).T))


def _filter_px(blur_px: float) -> float:
    return max(1.0, 0.8 * blur_px)


def spread_px(blur_px: float) -> float:
    """Blur of the picture and of the slope filter together, photo px."""
    return float(np.hypot(blur_px, _filter_px(blur_px)))


def _points(
    patch: Patch, steep: _Steep, shape: Array, base_mm: Array, along: Array, up: Array, reach_mm: float
) -> tuple[Array, Array]:  # fmt: skip
    """Edge points (N, 2) in (along, up) and the part each belongs to: 0, 1 flanks, 2 top, 3 base, 4, 5 corners."""
    left, lean_l, right, lean_r, top, lean_t, r_l, r_r, base, lean_b = shape
    middle, high = (left + right) / 2, top - base
    sides = np.linspace(base + SIDE_SHARE[0] * high, base + SIDE_SHARE[1] * high, 60)
    width = right - left
    tops = np.linspace(left + 0.08 * width, right - 0.08 * width, 60)
    bars = np.concatenate([np.linspace(left - 7, left - 0.8, 50), np.linspace(right + 0.8, right + 7, 50)])
    starts, normals, part = [], [], []
    for k, (at, lean, way) in enumerate(((left, lean_l, -1.0), (right, lean_r, 1.0))):
        starts.append(np.column_stack([at + lean * sides, sides]))
        normals.append(np.tile([way, 0.0], (len(sides), 1)))
        part.append(np.full(len(sides), k))
    starts.append(np.column_stack([tops, top + lean_t * (tops - middle)]))
    normals.append(np.tile([0.0, 1.0], (len(tops), 1)))
    part.append(np.full(len(tops), 2))
    starts.append(np.column_stack([bars, base + lean_b * bars]))
    normals.append(np.tile([0.0, 1.0], (len(bars), 1)))
    part.append(np.full(len(bars), 3))
    for k, (radius, way) in enumerate(((r_l, -1.0), (r_r, 1.0))):
        turn = np.linspace(0.05, np.pi / 2 - 0.05, FAN)
        ray = np.column_stack([way * np.cos(turn), np.sin(turn)])
        x = (left + lean_l * (top - radius) if k == 0 else right + lean_r * (top - radius)) - way * radius
        centre = np.array([x, top + lean_t * (x - middle) - radius])
        starts.append(centre + radius * ray)
        normals.append(ray)
        part.append(np.full(FAN, 4 + k))
    start, normal = np.vstack(starts), np.vstack(normals)
    points, size = _edges(patch, steep, start, normal, base_mm, along, up, reach_mm)
    label = np.concatenate(part)
    good = np.isfinite(points).all(axis=1)
    for k in range(6):
        mine = good & (label == k)
        if mine.any():
            good &= ~mine | (size >= LEAST_SLOPE * float(np.median(size[mine])))
    return points[good], label[good]


def _edges(
    patch: Patch, steep: _Steep, start: Array, normal: Array, base_mm: Array, along: Array, up: Array, reach_mm: float
) -> tuple[Array, Array]:  # fmt: skip
    """Steepest place along short rays, (N, 2) in (along, up), and how steep; nan where it lies at a ray's end."""
    step = patch.step_mm / 2
    t = np.arange(-reach_mm, reach_mm + step / 2, step)
    where = start[:, None, :] + t[None, :, None] * normal[:, None, :]
    mm = base_mm + where[..., :1] * along + where[..., 1:] * up
    grid = patch.to_grid(mm.reshape(-1, 2))
    across, down = (_sample(image, grid).reshape(where.shape[:2]) for image in (steep.across, steep.down))
    gx = np.einsum("ni,i->n", normal[:, :1] * along + normal[:, 1:] * up, patch.across)
    gy = np.einsum("ni,i->n", normal[:, :1] * along + normal[:, 1:] * up, patch.down)
    told = across * gx[:, None] + down * gy[:, None]
    sign = np.sign(np.median(told[np.arange(len(told)), np.argmax(np.abs(told), axis=1)]))
    size = told * sign * (1 - 0.15 * np.abs(t / reach_mm))[None, :]
    top = np.argmax(size, axis=1)
    inner = np.clip(top, 1, len(t) - 2)
    rows = np.arange(len(top))
    offset = peak_offset(size[rows, inner - 1], size[rows, inner], size[rows, inner + 1])
    at = t[0] + step * (inner + offset)
    points = start + at[:, None] * normal
    points[(top == 0) | (top == len(t) - 1) | (size[rows, top] <= 0)] = np.nan
    return points, size[rows, top]


def _sample(image: Grid, grid: Array) -> Array:
    """Bilinear values at (column, row), borders repeated."""
    rows, columns = image.shape
    x, y = np.clip(grid[:, 0], 0, columns - 1.001), np.clip(grid[:, 1], 0, rows - 1.001)
    i, j = x.astype(int), y.astype(int)
    fx, fy = x - i, y - j
    upper = image[j, i] * (1 - fx) + image[j, i + 1] * fx
    lower = image[j + 1, i] * (1 - fx) + image[j + 1, i + 1] * fx
    return np.asarray(upper * (1 - fy) + lower * fy, dtype=np.float64)


def _distance(points: Array, part: Array, shape: Array) -> Array:
    """Signed distance (N,) of points from the shape: the bar's top for the base, else the rounded stub."""
    left, lean_l, right, lean_r, top, lean_t, r_l, r_r, base, lean_b = shape
    x, y = points.T
    middle = (left + right) / 2
    on_left = (left + lean_l * y - x) / np.hypot(1, lean_l)
    side = np.where(x < middle, on_left, (x - right - lean_r * y) / np.hypot(1, lean_r))
    over = (y - top - lean_t * (x - middle)) / np.hypot(1, lean_t)
    radius = np.where(x < middle, r_l, r_r)
    q = np.stack([side + radius, over + radius])
    stub = np.hypot(*np.maximum(q, 0)) + np.minimum(q.max(axis=0), 0) - radius
    bar = (y - base - lean_b * x) / np.hypot(1, lean_b)
    return np.asarray(np.where(part == 3, bar, stub))


def _fit(points: Array, part: Array, start: Array) -> tuple[Array, Array, float]:
    """Robust least squares (Tukey's biweight): shape, covariance, spread."""
    shape = start.copy()
    half = max(0.5, 0.5 * (start[2] - start[0]))
    prior = np.array([0, 1 / 0.1**2, 0, 1 / 0.1**2, 0, 1 / 0.15**2, 1 / 3.0**2, 1 / 3.0**2, 0, 1 / 0.1**2])
    covariance: Array = np.eye(10)
    spread = 1.0
    for turn in range(TURNS):
        residual = _distance(points, part, shape)
        jacobian = np.empty((len(points), 10))
        for i in range(10):
            moved = shape.copy()
            moved[i] += 1e-5
            jacobian[:, i] = (_distance(points, part, moved) - residual) / 1e-5
        spread = max(0.004, 1.4826 * float(np.median(np.abs(residual))))
        wide = spread * (4.0 if turn > 8 else 8.0)
        weight = np.clip(1 - (residual / wide) ** 2, 0, None) ** 2 / spread**2 / ALIKE
        normal = (jacobian * weight[:, None]).T @ jacobian + np.diag(prior)
        pull = np.where(np.arange(10) >= 6, 0.0, shape) * prior
        pull[8:] = shape[8:] * prior[8:]
        step = -np.linalg.solve(normal, (jacobian * weight[:, None]).T @ residual + pull)
        shape = shape + np.clip(step, -0.5, 0.5)
        shape[6:8] = np.clip(shape[6:8], 1e-3, min(half, 0.98 * max(0.5, shape[4] - shape[8])))
        covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        if float(np.abs(step).max()) < 1e-5 and turn > 12:
            break
    return shape, covariance, spread
