"""What counting and comparing the vanes of a 12 megapixel photo costs, in gray decodes and against stock calls.

Run: python -m tests.bench.vanes
The stock script unrolls the disc with scikit-image's `warp_polar` and correlates it with itself round the circle: it
tells the number at best, and follows no vane.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ridges import best_ms
from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import CENTRE_MM, DISC_MM, DrawnVane, draw_vanes
from wearvision.measure.finders.vanes import Vanes, measure_vanes
from wearvision.measure.plane import Array
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM})


def main() -> None:
    from skimage.transform import warp_polar  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(tilt_deg=4.0, mm_per_px=0.04, size_px=(4000, 3000))
    image = draw_vanes(plane, (DrawnVane(), DrawnVane(shift_mm=3.0), *(DrawnVane(),) * 4))
    coded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    decode = best_ms(lambda: cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE))
    ours = best_ms(lambda: measure_vanes(image, plane, STATED))
    centre = plane.to_px(np.array([CENTRE_MM]))[0]

    def stock() -> Array:
        polar = warp_polar(image, center=centre[::-1], radius=DISC_MM / 0.04, output_shape=(1440, 1400))
        spectrum = np.abs(np.fft.rfft(polar - polar.mean(axis=0), axis=0)) ** 2
        return np.asarray(np.fft.irfft(spectrum.sum(axis=1)))

    other = best_ms(stock, rounds=1)
    found = measure_vanes(image, plane, STATED)
    number = found.layout.number if isinstance(found, Vanes) else 0
    print(f"{number} vanes: {ours:.0f} ms, {ours / decode:.1f} gray decodes of {decode:.0f} ms")
    print(f"warp_polar and correlation alone: {other:.0f} ms, {other / ours:.2f} x")


if __name__ == "__main__":
    main()
