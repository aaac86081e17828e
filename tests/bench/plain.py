"""The plain script: what one writes on a first afternoon with stock calls, kept to be measured against."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from skimage.filters import sato, threshold_otsu
from skimage.io import imread
from skimage.measure import label, regionprops
from skimage.util import img_as_float


def plain(path: Path) -> list[float]:
    """Widths of dark ridges in mm, by the card's scale; wrong in many ways, slow in all."""
    gray = img_as_float(imread(path, as_gray=True))
    board = cv2.aruco.CharucoBoard((7, 5), 15.0, 10.5, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100))
    corners = cv2.aruco.CharucoDetector(board).detectBoard((255 * gray).astype(np.uint8))[0]
    if corners is None:
        raise SystemExit("the plain script finds no card")
    points = corners.reshape(-1, 2)
    mm_per_px = 15.0 / float(np.linalg.norm(points[1] - points[0]))
    ridges = sato(gray, sigmas=(2, 4, 8), black_ridges=True)
    regions = regionprops(label(ridges > threshold_otsu(ridges)))
    return [r.axis_minor_length * mm_per_px for r in regions if r.area > 500]
