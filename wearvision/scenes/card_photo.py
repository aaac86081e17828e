"""Quickly drawn photos of a turned face with a card beside it: no path tracing, but right where measuring looks.

A pinhole camera with one radial term sees a plane and a card that may lie high and be bent; several samples a pixel,
blur, shake, glare, noise, JPEG.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.clutter import bench, clouds
from wearvision.scenes.drawing import card_bitmap
from wearvision.scenes.rules import View

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Rng = np.random.Generator
SAMPLES, NODE_PX, PX_PER_SQUARE = 2, 8, 300
CARD_MM = (115.0, 85.0)
BOUNCES = 4
"""Rounds in which a ray finds the height of a bent card; a bend of 6 mm is then met within 0.01 mm."""


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A printed card on the plane.

    Attributes
    ----------
    at_mm, turn_deg : middle and turn on the plane
    scale : printed mm per drawn mm
    height_mm : of its printed side above the plane
    bow_mm : rise of its middle over its ends
    """

    at_mm: tuple[float, float]
    turn_deg: float
    scale: float
    height_mm: float
    bow_mm: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Light:
    """How the picture is taken: defocus and shake (px), glare spots (middle px, radius px), noise, JPEG quality."""

    blur_px: float
    shake_px: float = 0.0
    shake_deg: float = 0.0
    glare: tuple[tuple[float, float, float], ...] = ()
    noise: float = 2.0
    quality: int = 92


def draw(rng: Rng, view: View, radii_mm: tuple[float, float], card: Laid, light: Light) -> NDArray[np.uint8]:
    """The photo: a face of two radii about the plane's origin, and the card."""
    return _taken(rng, _with_card(_face(rng, view, radii_mm), view, card), light)


def _grid(view: View, low: NDArray[np.int64], high: NDArray[np.int64]) -> tuple[Array, Array]:
    """Plane points (H, W, 2) at nodes over a box of pixels, and how many samples it has across and down."""
    x, y = ((np.arange((b - a) * SAMPLES) + 0.5) / SAMPLES - 0.5 + a for a, b in zip(low, high, strict=True))
    nodes = [np.linspace(v[0], v[-1], max(2, len(v) // NODE_PX)) for v in (x, y)]
    mm = view.to_mm(np.stack(np.meshgrid(*nodes), axis=-1).reshape(-1, 2)).reshape(len(nodes[1]), len(nodes[0]), 2)
    return mm, np.array([len(x), len(y)])


def _spread(knots: Array, size: Array) -> Floats:
    """Bilinear between nodes at the corners and evenly between, in floating point."""
    out: Array = knots
    for axis, count in ((0, int(size[1])), (1, int(size[0]))):
        at = np.linspace(0, knots.shape[axis] - 1, count)
        first = np.minimum(at.astype(int), out.shape[axis] - 2)
        share = np.expand_dims(at - first, tuple(k for k in range(3) if k != axis))
        out = out.take(first, axis) * (1 - share) + out.take(first + 1, axis) * share
    return np.asarray(out, dtype=np.float32)


def _face(rng: Rng, view: View, radii_mm: tuple[float, float]) -> Floats:
    """Bench, and a turned ring with marks of the tool and stains."""
    width, height = view.size_px
    knots, size = _grid(view, np.zeros(2, dtype=np.int64), np.array(view.size_px, dtype=np.int64))
    mm = _spread(knots, size // SAMPLES)
    radius = np.hypot(mm[..., 0], mm[..., 1])
    soft = float(np.median(np.abs(np.diff(radius, axis=1)))) * 1.5 + 1e-6
    stain = clouds(rng, (height, width), 9)
    metal = float(rng.uniform(0.4, 0.6)) * (1 + 0.03 * np.sin(2 * np.pi * radius / 0.9) + 0.10 * stain)
    lit = np.clip((radius - radii_mm[0]) / soft + 0.5, 0, 1) * np.clip((radii_mm[1] - radius) / soft + 0.5, 0, 1)
    ground = 0.5 * bench(rng, "concrete", (height, width))
    return np.asarray(ground * (1 - lit) + metal * lit, dtype=np.float32)


def _with_card(image: Floats, view: View, card: Laid) -> Floats:
    """The picture with the card in it."""
    cos, sin = np.cos(np.radians(card.turn_deg)), np.sin(np.radians(card.turn_deg))
    turn = np.array([[cos, -sin], [sin, cos]])
    half = np.array(CARD_MM) * card.scale / 2
    edge = np.linspace(-1, 1, 40)
    rim = np.vstack([np.column_stack(p) for s in (-1, 1) for p in ((edge, 0 * edge + s), (0 * edge + s, edge))])
    seen = np.vstack([
        _lifted(view, h).to_px(rim * half @ turn.T + card.at_mm) for h in (card.height_mm, card.height_mm + card.bow_mm)
    ])
    low = np.clip(np.floor(seen.min(axis=0)) - 3, 0, view.size_px).astype(np.int64)
    high = np.clip(np.ceil(seen.max(axis=0)) + 4, 0, view.size_px).astype(np.int64)
    if np.any(high - low < 8):
        return image
    plain, size = _grid(view, low, high)
    mm = plain
    foot = -view.shift @ view.rotation
    for _ in range(BOUNCES):
        own = (mm - card.at_mm) @ turn / half
        rise = card.height_mm + card.bow_mm * np.clip(1 - own[..., :1] ** 2, 0, 1)
        # a ray from the lens at `foot` meets height h a share h / lens height sooner
        mm = plain + (foot[:2] - plain) * rise / abs(foot[2])
    local = _spread((mm - card.at_mm) @ turn / card.scale + np.array(CARD_MM) / 2, size)
    return _printed(image, local, low, high)


def _printed(image: Floats, local: Floats, low: NDArray[np.int64], high: NDArray[np.int64]) -> Floats:
    """The card's print, by drawn mm (H, W, 2) of the samples of a box."""
    bitmap = card_bitmap(0, PX_PER_SQUARE)
    per_mm = bitmap.shape[1] / CARD_MM[0]
    fine = local.shape[1] * 1.4 / max(float(np.ptp(local[..., 0])), 1.0)
    shrunk = max(1, int(per_mm / max(fine, 1e-3)))
    size = (bitmap.shape[1] // shrunk, bitmap.shape[0] // shrunk)
    print_ = cv2.resize(bitmap, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    at = local * np.array([size[0] / CARD_MM[0], size[1] / CARD_MM[1]], dtype=np.float32) - np.float32(0.5)
    grey = cv2.remap(print_, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.all((local >= 0) & (local <= np.array(CARD_MM)), axis=2).astype(np.float32)
    box = tuple((high - low).tolist())
    share, grey = (cv2.resize(v, box, interpolation=cv2.INTER_AREA) for v in (cover, (0.12 + 0.66 * grey) * cover))
    out = image.copy()
    spot = out[low[1] : high[1], low[0] : high[0]]
    spot[:] = spot * (1 - share) + grey
    return out


def _lifted(view: View, height_mm: float) -> View:
    """The camera before a plane so much higher."""
    return View(
        size_px=view.size_px, focal_px=view.focal_px, k1=view.k1, rotation=view.rotation,
        shift=view.shift - view.rotation[:, 2] * height_mm,
    )  # fmt: skip


def _taken(rng: Rng, image: Floats, light: Light) -> NDArray[np.uint8]:
    """Lamp, lens, shake, sensor, file."""
    height, width = image.shape
    value = image * (1 + 0.12 * clouds(rng, image.shape, 2)) * 250
    if light.glare:
        y, x = np.mgrid[:height, :width].astype(np.float32)
        for cx, cy, radius in light.glare:
            value = value + 600 * np.exp(-(((x - cx) ** 2 + (y - cy) ** 2) / radius**2) ** 2)
    value = cv2.GaussianBlur(np.asarray(value, dtype=np.float32), (0, 0), light.blur_px)
    if light.shake_px > 1:
        count = int(np.ceil(light.shake_px)) | 1
        kernel = np.zeros((count, count), dtype=np.float32)
        way = np.array([np.cos(np.radians(light.shake_deg)), np.sin(np.radians(light.shake_deg))]) * (count - 1) / 2
        ends = [tuple(int(v) for v in np.rint(count // 2 + s * way)) for s in (-1, 1)]
        cv2.line(kernel, ends[0], ends[1], 1.0)
        value = cv2.filter2D(value, -1, kernel / kernel.sum())
    gray = np.asarray(np.clip(value + 0.5, 0, 255), dtype=np.uint8)
    gray = np.clip(value + 0.5, 0, 255).astype(np.uint8)
    done = cv2.imencode(".jpg", gray, [cv2.IMWRITE_JPEG_QUALITY, light.quality])[1]
    return np.asarray(cv2.imdecode(done, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
