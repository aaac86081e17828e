"""What the groove search costs on one unwrapped ring, against scikit-image's ridge filter on the same strip.

Run: python -m tests.bench.ridges
`filters.sato` is what an obvious script would use to bring out grooves; it only filters, it finds nothing.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, against_stock, table
from tests.measure.face_kit import DrawnGroove, draw_face, drawn_plane
from wearvision.measure.evidence import evidence
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.unwrap import unwrap

GROOVES = tuple(
    DrawnGroove(radius_mm=r, width_mm=w, start_deg=20.0, arc_deg=arc, depth_mm=1.0)
    for r, w, arc in ((78.0, 3.0, 140.0), (92.0, 5.0, 200.0), (108.0, 2.0, 300.0))
)


def rows() -> list[Row]:
    from skimage.filters import sato  # only here: it takes long to import

    cv2.setNumThreads(1)
    plane = drawn_plane(mm_per_px=0.1, size_px=(4000, 3000))
    image = draw_face(plane, centre_mm=(-65.0, 0.0), radii_mm=(64.0, 121.0), grooves=GROOVES)
    strip = unwrap(image, plane, np.array([-65.0, 0.0]), (65.0, 120.0))

    def ours() -> object:
        return find_ribbons(strip, evidence(strip), max_width_mm=6.5, least=40.0)

    return against_stock(
        "grooves sought in a ring", image, ours, ours, {"sato": lambda: sato(strip.values, sigmas=(2, 4, 8, 16))}
    )


if __name__ == "__main__":
    print(table(rows()))
