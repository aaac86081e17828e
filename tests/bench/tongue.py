"""What a volute lip costs on a 12 MP photo, against scikit-image's cheapest way through the same band.

Run: python -m tests.bench.tongue
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ridges import best_ms
from tests.measure.face_kit import drawn_plane
from tests.measure.lip_kit import bay, draw_lip
from wearvision.measure.finders.tongue_seek import seek_lips
from wearvision.measure.finders.tongue_trace import trace_lip
from wearvision.measure.look import Look
from wearvision.measure.views.tongue import see
from wearvision.stated import Stated


def main() -> None:
    from skimage.graph import route_through_array  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(mm_per_px=0.06, size_px=(4000, 3000))
    image = draw_lip(plane, bay)
    look = Look(gray=image, plane=plane, stated=Stated(view="tongue", nominal={"lip_length_mm": 50.0}))
    leads = seek_lips(image, plane, (), 50.0)
    trace = next(t for lead in leads for t in trace_lip(image, plane, lead, (), blur_px=0.8))
    cost = 1.0 / (1.0 + np.abs(np.gradient(trace.patch.values, axis=0)))
    row = cost.shape[0] // 3
    ours = best_ms(lambda: trace_lip(image, plane, leads[0], (), blur_px=0.8))
    stock = best_ms(lambda: route_through_array(cost, (row, 0), (row, cost.shape[1] - 1)), rounds=1)
    jpeg = _jpeg(image)
    decode = best_ms(lambda: cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE))
    whole, seek = best_ms(lambda: see(look)), best_ms(lambda: seek_lips(image, plane, (), 50.0))
    print(f"one edge followed {ours:.0f} ms (rolling out included); route_through_array {stock:.0f} ms, "
          f"{stock / ours:.1f} x")  # fmt: skip
    print(f"sought {seek:.0f} ms; whole view {whole:.0f} ms = {whole / decode:.1f} gray decodes of {decode:.0f} ms")


def _jpeg(image: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.imencode(".jpg", image)[1])


if __name__ == "__main__":
    main()
