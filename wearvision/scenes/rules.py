"""Drawn photos of steel rules with their truth, and photos of regular things that are no rules.

Not path-traced, but honest where measuring is concerned: a pinhole camera with one radial term, marks of their
own widths seen through several samples a pixel, wear, glare, covering, blur, noise, JPEG.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.clutter import BENCHES, PATTERNS, bench, clouds, pattern
from wearvision.scenes.rule_marks import GRADUATIONS, Rule, Scale, face_bitmap

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Rng = np.random.Generator

SAMPLES = 2
"""Samples a pixel, each way."""
UNITS = ("mm", "half-mm", "in8", "in16", "in32", "in64")
PARTNERS = {
    "mm": ("half-mm", "in16", "in32", "in64", "mm"), "half-mm": ("mm", "in16", "in32", "in64"),
    "in8": ("in16", "mm"), "in16": ("mm", "in32", "in8"), "in32": ("mm", "in64", "half-mm"),
    "in64": ("in32", "mm", "half-mm"),
}  # fmt: skip
NUMBERED = {"mm": 10, "half-mm": 20, "in8": 8, "in16": 16, "in32": 32, "in64": 64, "in10": 10, "in50": 50, "comb": 0}


@dataclass(frozen=True, kw_only=True)
class View:
    """Camera before the rule's plane: x_c = rotation X + shift (mm), u = x_c / z_c, px = f (1 + k1 r^2) u + centre."""

    size_px: tuple[int, int]
    focal_px: float
    k1: float
    rotation: Array
    shift: Array

    @property
    def centre(self) -> Array:
        """Principal point, px."""
        return (np.array(self.size_px, dtype=np.float64) - 1) / 2

    def to_px(self, mm: Array) -> Array:
        """Points (N, 2) of the rule's face to pixels."""
        seen = np.asarray(mm) @ self.rotation[:, :2].T + self.shift
        uv = seen[:, :2] / seen[:, 2:]
        return np.asarray(self.focal_px * uv * (1 + self.k1 * (uv**2).sum(axis=1, keepdims=True)) + self.centre)

    def to_mm(self, px: Array) -> Array:
        """Pixels (N, 2) to points of the rule's face, mm."""
        bent = (np.asarray(px) - self.centre) / self.focal_px
        uv = bent.copy()
        for _ in range(8):
            uv = bent / (1 + self.k1 * (uv**2).sum(axis=1, keepdims=True))
        ray = np.column_stack([uv, np.ones(len(uv))]) @ self.rotation
        foot = self.shift @ self.rotation
        return np.asarray(ray[:, :2] * (foot[2] / ray[:, 2:]) - foot[:2])


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    """A drawn photo and what is true of it.

    Attributes
    ----------
    gray : (H, W) uint8
    view : View or None
    rule : Rule or None
        None when there is no rule, or none that may be read.
    tilt_deg : float
    focal35_mm : float or None
        As a phone would write it; None when it wrote nothing.
    height_mm : float
        Of the rule's face above the measured plane.
    what : str
    """

    gray: Bytes
    view: View | None
    rule: Rule | None
    tilt_deg: float
    focal35_mm: float | None
    height_mm: float
    what: str


def draw_rule(seed: int, width_px: int | None = None, unit: str | None = None) -> Photo:
    """A photo of a rule; the same number always gives the same photo."""
    rng = np.random.default_rng([41, seed])
    unit = unit or UNITS[seed % len(UNITS)]
    rule = random_rule(rng, unit, seed)
    size = _size(rng, width_px)
    view, tilt = _view(rng, rule, size)
    image = _behind(rng, size)
    image = lay(image, rule, view)
    return _shoot(rng, image, view, rule, tilt, unit)


def draw_none(seed: int, width_px: int | None = None) -> Photo:
    """A photo of regular things of which none is a rule that may be read."""
    rng = np.random.default_rng([42, seed])
    size = _size(rng, width_px)
    what = (*PATTERNS, "in10", "in50", "comb", "bare")[seed % (len(PATTERNS) + 4)]
    image = bench(rng, str(rng.choice(BENCHES)), size[::-1])
    view, tilt = None, 0.0
    if what in GRADUATIONS:
        rule = random_rule(rng, what, seed)
        view, tilt = _view(rng, rule, size)
        image = lay(image, rule, view)
    elif what != "bare":
        for _ in range(int(rng.integers(1, 4))):
            image = pattern(rng, what, image)
    return _shoot(rng, image, view, None, tilt, what)


def random_rule(rng: Rng, unit: str, seed: int) -> Rule:
    """A rule whose first scale has this unit; half of them and more have a second one."""
    partners = PARTNERS.get(unit, ())
    units = [unit, str(rng.choice(partners))] if partners and rng.random() < 0.6 else [unit]
    scales = [_scale(rng, u) for u in units]
    deepest = sum(max(s.lengths_mm) for s in scales)
    width = max(float(rng.uniform(13, 30)), deepest + 3.2 * len(scales))
    if len(scales) == 2 and rng.random() < 0.3:
        scales.reverse()
    return Rule(
        scales=tuple(scales), length_mm=float(rng.choice([100.0, 152.4, 160.0, 310.0])), width_mm=width,
        metal=float(rng.uniform(0.5, 0.8)), ink=float(rng.uniform(0.08, 0.25)),
        wear=float(rng.choice([0.0, rng.uniform(0, 0.9)])), jitter_mm=float(rng.uniform(0.003, 0.02)),
        stretch=float(rng.uniform(-1, 1)), seed=seed,
    )  # fmt: skip


def _scale(rng: Rng, unit: str) -> Scale:
    period, _, usual = GRADUATIONS[unit]
    whole = float(rng.uniform(0.85, 1.15))
    lengths = [whole * length * float(rng.uniform(0.97, 1.03)) for length in usual]
    if len(lengths) > 3 and rng.random() < 0.08:
        lengths[-1] = lengths[-2]
    return Scale(
        unit=unit, lengths_mm=tuple(lengths), width_mm=float(rng.uniform(0.16, 0.24)) * min(1.0, period**0.5),
        from_far_end=bool(rng.random() < 0.3), numbered=NUMBERED[unit] if rng.random() < 0.85 else 0,
        halved_mm=float(rng.uniform(10, 30)) if unit in ("mm", "in16") and rng.random() < 0.06 else 0.0,
    )  # fmt: skip


def _size(rng: Rng, width_px: int | None) -> tuple[int, int]:
    width = width_px or int(rng.choice([1600, 2000, 2400]))
    return (width, round(0.75 * width)) if rng.random() < 0.7 else (round(0.75 * width), width)


def _view(rng: Rng, rule: Rule, size: tuple[int, int]) -> tuple[View, float]:
    """A camera that sees the rule's finest marks at 4.5 px or more, anywhere and turned anyhow."""
    focal = max(size) * float(rng.uniform(0.68, 0.85))
    finest = min(s.period_mm for s in rule.scales)
    coarsest = min(finest / 4.8, 0.22)
    mm_per_px = float(np.exp(rng.uniform(np.log(0.055), np.log(max(coarsest, 0.06)))))
    tilt, turn = np.radians(rng.uniform(0, 35)), rng.uniform(0, 2 * np.pi)
    axis = np.array([np.cos(turn), np.sin(turn), 0])
    lean = np.asarray(cv2.Rodrigues(tilt * axis)[0])
    spin = np.asarray(cv2.Rodrigues(np.array([0, 0, rng.uniform(0, 2 * np.pi)]))[0])
    rotation = np.asarray(lean @ spin, dtype=np.float64)
    seen = 0.5 * min(max(size) * mm_per_px * 0.8, rule.length_mm)
    along = float(np.clip(rng.uniform(0, rule.length_mm), seen, max(seen, rule.length_mm - seen)))
    at = np.array([along, rule.width_mm / 2])
    where = (rng.uniform(0.3, 0.7, 2) - 0.5) * size / focal
    sight = np.array([*where, 1.0])
    shift = focal * mm_per_px * sight - rotation[:, :2] @ at
    k1 = float(rng.uniform(-0.02, 0.02)) if rng.random() < 0.5 else 0.0
    return View(size_px=size, focal_px=focal, k1=k1, rotation=rotation, shift=shift), float(np.degrees(tilt))


def _behind(rng: Rng, size: tuple[int, int]) -> Floats:
    image = bench(rng, str(rng.choice(BENCHES)), size[::-1])
    if rng.random() < 0.25:
        image = pattern(rng, str(rng.choice(("thread", "knurl", "grating"))), image)
    return image


def lay(image: Floats, rule: Rule, view: View) -> Floats:
    """The picture with the rule in it."""
    width, height = view.size_px
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array([rule.length_mm, rule.width_mm])
    sides = np.linspace(corners, np.roll(corners, -1, axis=0), 40).reshape(-1, 2)
    sides = sides[(sides @ view.rotation[2, :2] + view.shift[2]) > 0.2 * view.shift[2]]
    seen = view.to_px(sides)
    low = np.clip(np.floor(seen.min(axis=0)) - 4, 0, [width, height]).astype(int)
    high = np.clip(np.ceil(seen.max(axis=0)) + 5, 0, [width, height]).astype(int)
    x, y = ((np.arange(n * SAMPLES) + 0.5) / SAMPLES - 0.5 + start for n, start in zip(high - low, low, strict=True))
    per_mm = 1.4 * SAMPLES / float(np.median(_mm_per_px(view, seen)))
    margin = 2.0
    face, cover = face_bitmap(rule, per_mm, margin)
    out = image.copy()
    for top in range(0, len(y), 256):
        rows = y[top : top + 256]
        at = (_mm_grid(view, x, rows) + np.float32(margin)) * np.float32(per_mm) - np.float32(0.5)
        share, grey = (cv2.remap(v, at[..., 0], at[..., 1], cv2.INTER_LINEAR) for v in (cover, face))
        small = (len(x) // SAMPLES, len(rows) // SAMPLES)
        share, grey = (cv2.resize(v, small, interpolation=cv2.INTER_AREA) for v in (share, grey * share))
        first = low[1] + top // SAMPLES
        spot = out[first : first + len(share), low[0] : high[0]]
        spot[:] = spot * (1 - share) + grey
    return out


def _mm_grid(view: View, x: Array, y: Array, step: int = 8) -> Floats:
    """Plane points (H, W, 2) of a grid of pixels; bilinear between every eighth: right within 0.002 px."""
    nodes = [np.linspace(v[0], v[-1], max(2, len(v) // step)) for v in (x, y)]
    knots = view.to_mm(np.stack(np.meshgrid(*nodes), axis=-1).reshape(-1, 2)).reshape(len(nodes[1]), len(nodes[0]), 2)
    for axis, at in ((0, y), (1, x)):
        knots = _between(knots, np.linspace(0, knots.shape[axis] - 1, len(at)), axis)
    return np.asarray(knots, dtype=np.float32)


def _between(knots: Array, at: Array, axis: int) -> Array:
    """Linear interpolation along one axis, in floating point (OpenCV's remap rounds places to 1/32)."""
    first = np.minimum(at.astype(int), knots.shape[axis] - 2)
    share = np.expand_dims(at - first, tuple(k for k in range(3) if k != axis))
    return np.asarray(knots.take(first, axis) * (1 - share) + knots.take(first + 1, axis) * share)


def _mm_per_px(view: View, px: Array) -> Array:
    inside = px[((px >= 0) & (px < np.array(view.size_px))).all(axis=1)]
    px = inside if len(inside) else view.centre.reshape(1, 2)
    return np.asarray(np.linalg.norm(view.to_mm(px + np.array([1.0, 0.0])) - view.to_mm(px), axis=1))


def _shoot(rng: Rng, image: Floats, view: View | None, rule: Rule | None, tilt: float, what: str) -> Photo:
    """Cover, light, lens and sensor."""
    if view is not None and rule is not None and rng.random() < 0.35:
        image = _cover(rng, image, rule, view)
    height, width = image.shape
    image = image * (1 + 0.25 * clouds(rng, image.shape, 2))
    for _ in range(int(rng.choice([0, 0, 1, 2]))):
        y, x = np.mgrid[:height, :width].astype(np.float32)
        cx, cy, spread = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(40, 220)
        image = image + float(rng.uniform(0.2, 0.9)) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * spread**2))
    light = np.asarray(image * float(rng.uniform(220, 290)), dtype=np.float32)
    soft = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.45, 1.2)))
    noisy = soft + rng.uniform(1.0, 5.0) * rng.standard_normal(image.shape).astype(np.float32)
    gray = np.clip(noisy + 0.5, 0, 255).astype(np.uint8)
    done = cv2.imencode(".jpg", gray, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(78, 96))])[1]
    focal35 = None
    if view is not None and rng.random() < 0.7:
        focal35 = float(round(view.focal_px * np.sqrt((43.267 / np.hypot(width, height)) * 36 / max(width, height))))
    return Photo(
        gray=np.asarray(cv2.imdecode(done, cv2.IMREAD_GRAYSCALE), dtype=np.uint8), view=view, rule=rule,
        tilt_deg=tilt, focal35_mm=focal35, height_mm=float(rng.normal(0.7, 0.3)), what=what,
    )  # fmt: skip


def _cover(rng: Rng, image: Floats, rule: Rule, view: View) -> Floats:
    """A round part that lies over some of the rule."""
    radius = float(rng.uniform(0.05, 0.16)) * rule.length_mm
    across = (-0.6 * radius, rule.width_mm / 2, rule.width_mm + 0.6 * radius)
    at = np.array([rng.uniform(0, rule.length_mm), rng.choice(across)])
    turn = np.linspace(0, 2 * np.pi, 120)
    rim = at + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    mask = np.zeros(image.shape, dtype=np.uint8)
    outline = np.rint(view.to_px(rim) * 16).astype(np.int32).reshape(-1, 1, 2)
    cv2.fillPoly(mask, [outline], 255, cv2.LINE_AA, 4)
    share = mask.astype(np.float32) / 255
    return np.asarray(image * (1 - share) + share * bench(rng, "lathe", image.shape), dtype=np.float32)
