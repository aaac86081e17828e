"""From linear light to a phone's JPEG: blur, vignette, noise, tone, sharpening, compression, EXIF."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearvision.scenes.spec import Camera, Shot
from wearvision.scenes.stage import Stage

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]

FULL_WELL = 9000.0
"""Electrons at white; with ``noise`` 1 a mid gray has about 2 % noise before in-phone smoothing."""


def develop(stage: Stage, light: Floats, card: NDArray[np.bool_]) -> Bytes:
    """8-bit RGB photo (H, W, 3) of linear light; ``card`` marks card pixels, which set the exposure."""
    shot = stage.shot
    rng = np.random.default_rng([24, stage.seed])
    linear = light * (_exposure(light, card) * shot.exposure)
    linear = linear * np.array(shot.white, dtype=np.float32)
    linear = _blur(linear * _vignette(stage.camera, shot.vignette), shot)
    linear = _noise(rng, linear, shot.noise)
    tone = _tone(linear, shot.contrast)
    soft = cv2.GaussianBlur(tone, (0, 0), 1.2)
    tone = tone + shot.sharpen * (tone - soft)
    return np.asarray(np.clip(tone * 255 + 0.5, 0, 255), dtype=np.uint8)


def _exposure(light: Floats, card: NDArray[np.bool_]) -> float:
    """Gain that puts the card's white near 0.55 or, without a card, the median near 0.2."""
    gray = light.mean(axis=2)
    middle = 0.2 / max(1e-6, float(np.median(gray)))
    if card.mean() < 0.005:
        return middle
    return min(0.55 / max(1e-6, float(np.percentile(gray[card], 92))), 2.5 * middle)


def _vignette(camera: Camera, strength: float) -> Floats:
    y = (np.arange(camera.height_px) - camera.cy_px)[:, None]
    x = (np.arange(camera.width_px) - camera.cx_px)[None, :]
    far = (x * x + y * y) / (camera.width_px**2 + camera.height_px**2) * 4
    return np.asarray((1 - strength * far)[..., None], dtype=np.float32)


def _blur(linear: Floats, shot: Shot) -> Floats:
    blurred = cv2.GaussianBlur(linear, (0, 0), shot.defocus_px)
    if shot.motion_px > 0:
        blurred = cv2.filter2D(blurred, -1, _streak(shot.motion_px, shot.motion_deg))
    return np.asarray(blurred, dtype=np.float32)


def _streak(length_px: float, angle_deg: float) -> Floats:
    """Kernel of a straight shake, drawn by many small dots so that any length and angle works."""
    half = math.ceil(length_px / 2) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1), dtype=np.float32)
    for t in np.linspace(-length_px / 2, length_px / 2, 41):
        x = half + t * math.cos(math.radians(angle_deg))
        y = half + t * math.sin(math.radians(angle_deg))
        i, j = int(x), int(y)
        for dj, wj in ((0, 1 - (y - j)), (1, y - j)):
            for di, wi in ((0, 1 - (x - i)), (1, x - i)):
                kernel[min(j + dj, 2 * half), min(i + di, 2 * half)] += wi * wj
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def _noise(rng: np.random.Generator, linear: Floats, level: float) -> Floats:
    """Shot and read noise, slightly smoothed as demosaicing does."""
    spread = np.sqrt(np.maximum(linear, 0) / FULL_WELL + 2e-6).astype(np.float32) * np.float32(3.0 * level)
    grain = rng.standard_normal(linear.shape, dtype=np.float32)
    gray = rng.standard_normal(linear.shape[:2], dtype=np.float32)[..., None]
    mixed = cv2.GaussianBlur(0.55 * grain + 0.83 * gray, (0, 0), 0.62)
    return np.asarray(linear + spread * mixed, dtype=np.float32)


def _tone(linear: Floats, contrast: float) -> Floats:
    """sRGB curve (IEC 61966-2-1) with a soft shoulder and an S of given strength."""
    held = np.maximum(linear, 0)
    held = np.where(held > 0.7, 0.7 + 0.45 * (1 - np.exp(-(held - 0.7) / 0.45)), held)
    held = np.minimum(held, 1.0)
    curve = np.where(held <= 0.0031308, 12.92 * held, 1.055 * held ** (1 / 2.4) - 0.055)
    return np.asarray(curve + contrast * 0.5 * curve * (1 - curve) * (2 * curve - 1), dtype=np.float32)


def save_jpeg(path: Path, photo: Bytes, camera: Camera, quality: int) -> None:
    """Write the photo with size and whole 35 mm focal length in EXIF (tag 41989), like a phone."""
    exif = Image.Exif()
    exif[274] = 1
    inner = exif.get_ifd(0x8769)
    inner[40962], inner[40963], inner[41989] = camera.width_px, camera.height_px, camera.f35_mm
    Image.fromarray(photo).save(path, quality=quality, subsampling=2, optimize=True, exif=exif)
