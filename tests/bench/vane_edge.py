"""What a vane in profile costs on 12 megapixels, against its stock equivalent, in gray decodes.

Stock: scikit-image's contours at Otsu's level over the whole photo. Run: python -m tests.bench.vane_edge
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.bench import decode
from tests.bench.ratio import Row, median_ms, table
from tests.measure.vane_kit import SIZE_PX, Tones, camera, draw
from wearvision.measure.finders.vane_edge import find_vane_edge
from wearvision.measure.finders.vane_edge_search import sizes_of
from wearvision.measure.plane import N, Plane
from wearvision.scenes.vane_profile import Section

FULL_PX = (4000, 3000)


def rows() -> list[Row]:
    cv2.setNumThreads(1)
    from skimage.filters import threshold_otsu
    from skimage.measure import find_contours

    photo = draw(Section(height_mm=9.0, thickness_mm=6.5, radius_mm=(1.2, 0.6)), camera(4.0, 60.0, 2.0), Tones())
    across, down = (full - size for full, size in zip(FULL_PX, SIZE_PX, strict=True))
    sides = (down // 2, down - down // 2, across // 2, across - across // 2)
    gray = np.asarray(cv2.copyMakeBorder(photo.gray, *sides, cv2.BORDER_REPLICATE))
    theta = photo.plane.theta.copy()
    theta[8:10] += [across // 2, down // 2]
    plane = Plane(theta=theta, sources={"corner": np.diag([1e-9] * N)}, size_px=FULL_PX, source="card")
    cards = tuple(card + np.array([across // 2, down // 2]) for card in photo.cards_px)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        Image.fromarray(gray).save(path, quality=92)
        spent = median_ms({
            "floor": lambda: decode.floor(path),
            "told": lambda: find_vane_edge(gray, plane, cards, sizes_of(9.0, 6.5), blur_px=photo.blur_px),
            "untold": lambda: find_vane_edge(gray, plane, cards, sizes_of(None, None), blur_px=photo.blur_px),
            "stock": lambda: find_contours(gray, threshold_otsu(gray)),
        }, rounds=3)  # fmt: skip
    floor = spent["floor"]
    return [
        Row(name="vane in profile, sizes stated", ratio=spent["told"] / floor, floor_ms=floor),
        Row(name="vane in profile, nothing stated", ratio=spent["untold"] / floor, floor_ms=floor),
        Row(name="stock contours / vane in profile", ratio=spent["stock"] / spent["told"], floor_ms=floor),
    ]


if __name__ == "__main__":
    print(table(rows()))
