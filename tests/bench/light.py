"""What a line of light and a straightedge's shadow cost on a 12 MP photo, against scikit-image on the same ground.

The stock of a line is a ridge filter on its band, that of a shadow Canny's edges and a Hough search on the coarse map.

Run: python -m tests.bench.light
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import drawn_plane
from tests.measure.test_light_section import ELEVATION, drawn_line
from tests.measure.test_shadow_edge import drawn_shadow, groove
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import LightLine, find_line
from wearvision.measure.finders.shadow_line import find_shadow
from wearvision.measure.finders.shadow_seek import seek
from wearvision.measure.look import Look
from wearvision.measure.views.line_light import see
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

SIZE_PX, WIDE_MM = (4000, 3067), 153.0
"""12 megapixels, as wide on the plane as the shadow is drawn."""


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
    told = against_stock(
        "line of light", image, lambda: see(look), lambda: find_line(Ground(gray=image, plane=plane)),
        {"sato on its band": lambda: sato(band, sigmas=(2, 4, 6), black_ridges=False)},
    )  # fmt: skip
    return [*told, *_shadow_rows()]


def _shadow_rows() -> list[Row]:
    """A shadow drawn at the scale of the tests and enlarged to 12 megapixels; the face is not sought."""
    from skimage.feature import canny  # only here: it takes long to import
    from skimage.transform import probabilistic_hough_line

    small = drawn_plane()
    image = cv2.resize(drawn_shadow(small, groove(1.2)), SIZE_PX, interpolation=cv2.INTER_CUBIC)
    plane = drawn_plane(mm_per_px=WIDE_MM / SIZE_PX[0], size_px=SIZE_PX)
    ground = Ground(gray=np.asarray(image, dtype=np.uint8), plane=plane)
    patch, _ = ground.map()

    def followed() -> None:
        lines = find_shadow(ground)
        assert not isinstance(lines, Unmeasured)
        next(lines)

    return against_stock(
        "shadow without the face", ground.gray, followed, lambda: seek(ground),
        {"canny and a Hough search of the map": lambda: probabilistic_hough_line(
            canny(patch.values, sigma=1.2), line_length=60, line_gap=10, rng=1
        )},
    )  # fmt: skip


if __name__ == "__main__":
    print(table(rows()))
