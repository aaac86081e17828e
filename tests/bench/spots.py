"""What pits and cracks cost on a 12 megapixel face, against stock equivalents, in gray decodes.

Stock: scikit-image's blobs by difference of Gaussians and its Sato ridges, on the same map. Run:
python -m tests.bench.spots
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.bench import decode
from tests.bench.ratio import Row, median_ms, table
from tests.measure.face_kit import STATED, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.cracks import find_cracks
from wearvision.measure.finders.face_map import face_map
from wearvision.measure.finders.pit_search import find_spots

BUDGET = 1.0
"""Decodes meant for map, pits and cracks together; told, not held as a bound while it is missed."""


def rows() -> list[Row]:
    cv2.setNumThreads(1)
    from skimage.feature import blob_dog
    from skimage.filters import sato

    plane = drawn_plane(mm_per_px=0.045, size_px=(4000, 3000))
    gray = draw_face(plane)
    face = find_face(gray, plane, STATED)
    assert isinstance(face, Face)
    flat = face_map(gray, plane, face, ())
    small = (255 - flat.tone) / np.float32(255)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        Image.fromarray(gray).save(path, quality=92)
        spent = median_ms({
            "floor": lambda: decode.floor(path),
            "map": lambda: face_map(gray, plane, face, ()),
            "pits": lambda: find_spots(gray, plane, face, (), flat),
            "cracks": lambda: find_cracks(gray, plane, face, (), flat),
            "blobs": lambda: blob_dog(small, min_sigma=1, max_sigma=14, threshold=0.1),
            "ridges": lambda: sato(small, sigmas=[1.0, 2.0]),
        }, rounds=3)  # fmt: skip
    floor, ours = spent["floor"], sum(spent[name] for name in ("map", "pits", "cracks"))
    return [
        Row(name="map of the face", ratio=spent["map"] / floor, floor_ms=floor),
        Row(name="pits on it", ratio=spent["pits"] / floor, floor_ms=floor),
        Row(name="cracks on it", ratio=spent["cracks"] / floor, floor_ms=floor),
        Row(name="all three over what is meant", ratio=ours / floor / BUDGET, floor_ms=floor),
        Row(name="stock blobs over pits", ratio=spent["blobs"] / spent["pits"], floor_ms=floor, at_least=1.0),
        Row(name="stock ridges over cracks", ratio=spent["ridges"] / spent["cracks"], floor_ms=floor),
    ]  # fmt: skip


if __name__ == "__main__":
    print(table(rows()))
