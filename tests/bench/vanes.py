"""What counting and comparing the vanes of a 12 megapixel photo costs, in gray decodes and against stock calls.

Run: python -m tests.bench.vanes
The stock script unrolls the disc with scikit-image's `warp_polar` and correlates it with itself round the circle: it
tells the number at best, and follows no vane.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import CENTRE_MM, DISC_MM, DrawnVane, draw_vanes
from wearvision.measure.finders.vanes import measure_vanes
from wearvision.measure.plane import Array
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM})


def rows() -> list[Row]:
    from skimage.transform import warp_polar  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(tilt_deg=4.0, mm_per_px=0.04, size_px=(4000, 3000))
    image = draw_vanes(plane, (DrawnVane(), DrawnVane(shift_mm=3.0), *(DrawnVane(),) * 4))
    centre = plane.to_px(np.array([CENTRE_MM]))[0]

    def stock() -> Array:
        polar = warp_polar(image, center=centre[::-1], radius=DISC_MM / 0.04, output_shape=(1440, 1400))
        spectrum = np.abs(np.fft.rfft(polar - polar.mean(axis=0), axis=0)) ** 2
        return np.asarray(np.fft.irfft(spectrum.sum(axis=1)))

    def ours() -> object:
        return measure_vanes(image, plane, STATED)

    return against_stock("vanes in plan", image, ours, ours, {"warp_polar": stock})


if __name__ == "__main__":
    print(table(rows()))
