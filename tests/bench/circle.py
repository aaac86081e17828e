"""What a known diameter as the scale costs on a 12 megapixel photo, in gray decodes and against stock calls.

Run: python -m tests.bench.circle
The stock script finds edges with scikit-image's `canny` at a quarter of the size and fits an ellipse to each long
contour with OpenCV's `fitEllipse`: no plane, no lens, no second circle, no uncertainty.
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
QUARTER, LONG_PX = 0.25, 200


def rows() -> list[Row]:
    from skimage.feature import canny  # only here: it takes long to import

    cv2.setNumThreads(1)
    image = draw_face(drawn_plane(tilt_deg=12.0, mm_per_px=0.042, size_px=(4000, 3000), known=True))

    def stock() -> object:
        small = cv2.resize(image, None, fx=QUARTER, fy=QUARTER, interpolation=cv2.INTER_AREA)
        edges = canny(small, sigma=2.0).astype(np.uint8)
        contours, _ = cv2.findContours(edges, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        return [cv2.fitEllipse(contour) for contour in contours if len(contour) > LONG_PX]

    def ours() -> object:
        return solve_circle(image, RIM, focal35_mm=FOCAL35_MM)

    assert isinstance(ours(), Circle)
    return against_stock("known diameter", image, ours, ours, {"canny and fitEllipse": stock})


if __name__ == "__main__":
    print(table(rows()))
