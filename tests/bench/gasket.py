"""What a gasket land costs on a 12 MP photo, against scikit-image's own way of finding its edges.

Run: python -m tests.bench.gasket
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import drawn_plane
from tests.measure.gasket_kit import STATED, draw_land
from wearvision.measure.finders.bites import seek_bites
from wearvision.measure.finders.dark_line import dark_lines
from wearvision.measure.finders.gasket import Ring, roll_out, settled
from wearvision.measure.look import Look
from wearvision.measure.views.gasket_land import see


def rows() -> list[Row]:
    from skimage.filters import sato  # only here: they take long to import
    from skimage.measure import find_contours
    from skimage.segmentation import chan_vese

    cv2.setNumThreads(1)
    plane = drawn_plane(mm_per_px=0.06, size_px=(4000, 3000))
    image = draw_land(plane, bites=(("inner", 60.0, 20.0, 5.0), ("outer", 200.0, 12.0, 3.0)))
    look = Look(gray=image, plane=plane, stated=STATED)
    ring = Ring(centre_mm=np.array([3.0, -2.0]), radii_mm=(38.0, 50.0), covariance=np.eye(4) * 0.01)
    land = settled(roll_out(image, plane, ring, (), blur_px=0.8))
    strip = dark_lines(land).strip.values
    small = np.asarray(cv2.resize(image, None, fx=0.1, fy=0.1, interpolation=cv2.INTER_AREA), dtype=np.float64) / 255
    return [
        *against_stock(
            "gasket land", image, lambda: see(look),
            lambda: seek_bites(settled(roll_out(image, plane, ring, (), blur_px=0.8))),
            {"find_contours": lambda: find_contours(image, 115.0),
             "chan_vese at a tenth": lambda: chan_vese(small, max_num_iter=50)},
        ),
        *against_stock(
            "cracks of a land", image, lambda: dark_lines(land), lambda: dark_lines(land),
            {"sato": lambda: sato(strip, sigmas=[1.0, 2.0])},
        ),
    ]  # fmt: skip


if __name__ == "__main__":
    print(table(rows()))
