"""What a volute lip costs on a 12 MP photo, against scikit-image's cheapest way through the same band.

Run: python -m tests.bench.tongue
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import drawn_plane
from tests.measure.lip_kit import bay, draw_lip
from wearvision.measure.finders.tongue_band import ROUGH_MM, band_of, sight_of
from wearvision.measure.finders.tongue_follow import follow
from wearvision.measure.finders.tongue_seek import seek_lips
from wearvision.measure.finders.tongue_trace import trace_lip
from wearvision.measure.look import Look
from wearvision.measure.views.tongue import see
from wearvision.stated import Stated


def rows() -> list[Row]:
    from skimage.graph import route_through_array  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(mm_per_px=0.06, size_px=(4000, 3000))
    image = draw_lip(plane, bay)
    small = cv2.resize(image, (1000, 750), interpolation=cv2.INTER_AREA)
    colour = np.asarray(np.dstack([small] * 3), dtype=np.uint8)
    look = Look(gray=image, plane=plane, stated=Stated(view="tongue", nominal={"lip_length_mm": 50.0}), colour=colour)
    sight = sight_of(look)
    lead = seek_lips(sight.rough.gray, sight.rough.plane, (), 50.0)[0][0]
    coarse = follow(band_of(sight, lead.left_mm, lead.right_mm, ROUGH_MM), 50.0, stride=2, rounds=2)
    assert coarse is not None
    found = trace_lip(sight, coarse, 50.0)
    assert found is not None
    values = found[0].band.patch.values
    cost = 1.0 / (1.0 + np.abs(np.gradient(values, axis=0)))
    row = cost.shape[0] // 3
    return against_stock(
        "lip", image, lambda: see(look), lambda: trace_lip(sight, coarse, 50.0),
        {"route_through_array": lambda: route_through_array(cost, (row, 0), (row, cost.shape[1] - 1))},
    )  # fmt: skip


if __name__ == "__main__":
    print(table(rows()))
