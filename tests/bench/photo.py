"""One drawn 12 megapixel photo, measured: in decodes of it, and against the plain script.

The photo is drawn, not rendered or taken: a ring of 242 mm with three grooves and rust, a standard card beside it.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench import decode
from tests.bench.plain import plain
from tests.bench.ratio import Row, median_ms
from tests.measure.face_kit import DrawnGroove, draw_face, drawn_plane
from wearvision import photos
from wearvision.app.measuring import measure_photo
from wearvision.stated import Stated

MM_PER_PX = 0.1
SIZE_PX = (4000, 3000)
STATED = Stated(
    part_kind="casing", view="wear-face", card_size="standard",
    nominal={"face_inner_diameter_mm": 128.0, "face_outer_diameter_mm": 242.0},
)  # fmt: skip


def drawn() -> NDArray[np.uint8]:
    plane = drawn_plane(mm_per_px=MM_PER_PX, size_px=SIZE_PX)
    grooves = tuple(
        DrawnGroove(radius_mm=r, width_mm=w, start_deg=20.0, arc_deg=arc, depth_mm=1.0)
        for r, w, arc in ((78.0, 3.0, 140.0), (92.0, 5.0, 200.0), (108.0, 2.0, 300.0))
    )
    image = draw_face(plane, centre_mm=(-65.0, 0.0), radii_mm=(64.0, 121.0), grooves=grooves)
    board = cv2.aruco.CharucoBoard((7, 5), 15.0, 10.5, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100))
    card = board.generateImage((1050, 750))
    image[1000:1850, 2750:3900] = 235
    image[1050:1800, 2800:3850] = cv2.GaussianBlur(np.clip(card, 20, 235), (0, 0), 0.8)
    return image


def rows() -> list[Row]:
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        cv2.imwrite(str(path), drawn(), [cv2.IMWRITE_JPEG_QUALITY, 92])
        found = measure_photo(path, STATED).public
        if not found["usable"] or len(found["findings"]) < 3:
            raise SystemExit(f"the drawn photo is not measured as it should be: {found['retake']}")
        ms = median_ms(
            {
                "floor": lambda: decode.floor(path),
                "load": lambda: photos.load(path),
                "measure": lambda: measure_photo(path, STATED),
            },
            rounds=5,
        )
        ms |= median_ms({"plain": lambda: plain(path)}, rounds=1)
    floor = ms["floor"]
    return [
        Row(name="load a 12 MP photo, checked and hashed", ratio=ms["load"] / floor, floor_ms=floor),
        Row(name="measure a 12 MP wear face", ratio=ms["measure"] / floor, floor_ms=floor, at_most=5.0),
        Row(name="plain script on the same photo", ratio=ms["plain"] / floor, floor_ms=floor),
        Row(name="plain script / measure", ratio=ms["plain"] / ms["measure"], floor_ms=floor, at_least=15.0),
    ]
