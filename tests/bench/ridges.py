"""What the groove search costs on one unwrapped ring, against scikit-image's ridge filter on the same strip.

Run: python -m tests.bench.ridges
`filters.sato` is what an obvious script would use to bring out grooves; it only filters, it finds nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import cv2
import numpy as np

from tests.measure.face_kit import DrawnGroove, draw_face, drawn_plane
from wearvision.measure.evidence import evidence
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.unwrap import Strip, unwrap

GROOVES = tuple(
    DrawnGroove(radius_mm=r, width_mm=w, start_deg=20.0, arc_deg=arc, depth_mm=1.0)
    for r, w, arc in ((78.0, 3.0, 140.0), (92.0, 5.0, 200.0), (108.0, 2.0, 300.0))
)


def ring() -> Strip:
    """A ring of a 12 MP photo: radii 65 to 120 mm at 0.1 mm a pixel."""
    plane = drawn_plane(mm_per_px=0.1, size_px=(4000, 3000))
    image = draw_face(plane, centre_mm=(-65.0, 0.0), radii_mm=(64.0, 121.0), grooves=GROOVES)
    return unwrap(image, plane, np.array([-65.0, 0.0]), (65.0, 120.0))


def best_ms(call: Callable[[], object], rounds: int = 3) -> float:
    """Least processor time of some rounds, ms."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return 1e3 * min(times)


def main() -> None:
    from skimage.filters import sato  # only here: it takes long to import

    cv2.setNumThreads(1)
    strip = ring()
    found = find_ribbons(strip, evidence(strip), max_width_mm=6.5, least=40.0)
    ours = best_ms(lambda: find_ribbons(strip, evidence(strip), max_width_mm=6.5, least=40.0))
    stock = best_ms(lambda: sato(strip.values, sigmas=(2, 4, 8, 16)), rounds=1)
    rows, columns = strip.values.shape
    print(f"strip {rows} x {columns}: search {ours:.0f} ms, {len(found)} ribbons")
    print(f"sato alone: {stock:.0f} ms, {stock / ours:.0f} x")


if __name__ == "__main__":
    main()
