"""What a line of light costs on a 12 MP photo, against scikit-image's ridge filter on the same band.

Run: python -m tests.bench.light
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import drawn_plane
from tests.measure.test_light_section import ELEVATION, drawn_line
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import LightLine, find_line
from wearvision.measure.look import Look
from wearvision.measure.views.line_light import see
from wearvision.stated import Stated


def rows() -> list[Row]:
    from skimage.filters import sato  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(mm_per_px=0.06, size_px=(4000, 3000))
    along = np.linspace(-45, 45, 2400)
    image = drawn_line(plane, 1.2 * np.clip((2.5 - np.abs(along - 8)) / 0.6, 0, 1), along)
    line = find_line(Ground(gray=image, plane=plane))
    assert isinstance(line, LightLine)
    band = line.patch.values
    look = Look(gray=image, plane=plane, stated=Stated(view="line-light", nominal={"light_elevation_deg": ELEVATION}))
    return against_stock(
        "line of light", image, lambda: see(look), lambda: find_line(Ground(gray=image, plane=plane)),
        {"sato on its band": lambda: sato(band, sigmas=(2, 4, 6), black_ridges=False)},
    )  # fmt: skip


if __name__ == "__main__":
    print(table(rows()))
