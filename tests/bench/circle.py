"""What a known diameter as the scale costs on a 12 megapixel photo, in gray decodes and against stock calls.

Run: python -m tests.bench.circle
The stock script finds edges with scikit-image's `canny` at a quarter of the size and fits one ellipse by `ransac`: no
plane, no lens, no second circle, no uncertainty.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import RADII_MM, draw_face, drawn_plane
from wearvision.measure.circle import Circle, solve_circle
from wearvision.measure.circle_start import KnownCircle

RIM = KnownCircle(which="rim", diameter_mm=2 * RADII_MM[1], other_mm=2 * RADII_MM[0])
FOCAL35_MM = 38.8
QUARTER = 0.25


def rows() -> list[Row]:
    from skimage.feature import canny  # only here: it takes long to import
    from skimage.measure import EllipseModel, ransac

    cv2.setNumThreads(1)
    image = draw_face(drawn_plane(tilt_deg=12.0, mm_per_px=0.042, size_px=(4000, 3000), known=True))

    def stock() -> object:
        small = cv2.resize(image, None, fx=QUARTER, fy=QUARTER, interpolation=cv2.INTER_AREA)
        points = np.argwhere(canny(small, sigma=2.0))[:, ::-1].astype(float)
        return ransac(points, EllipseModel, min_samples=6, residual_threshold=1.0, max_trials=30, rng=1)

    def ours() -> object:
        return solve_circle(image, RIM, focal35_mm=FOCAL35_MM)

    assert isinstance(ours(), Circle)
    return against_stock("known diameter", image, ours, ours, {"canny and ransac": stock})


if __name__ == "__main__":
    print(table(rows()))
