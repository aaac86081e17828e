"""A photo whose greys show nothing but its card: what stands out in red light is told all the same, end to end."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from wearvision import photos
from wearvision.app.measuring import measure_photo
from wearvision.crates.crate import read_crate

CRATE = Path(__file__).parents[2] / "demo_images" / "crate"
LEVEL, MARGIN_PX = 110, 60
"""Grey of all that is no card, and how far round the card a photo stays as it is."""


def only_in_red(photo: Path, card_px: np.ndarray, to: Path) -> Path:
    """A copy whose red light is that of a demo photo, paler, and whose greys are even away from its card."""
    gray = photos.load(photo).gray
    red = 60 + gray.astype(float) / 2
    rest = (1000 * LEVEL - 299 * red) / 701  # by the weights of ITU-R BT.601, which make a photo's greys
    there = np.zeros_like(gray)
    cv2.fillConvexPoly(there, cv2.convexHull(card_px.astype(np.float32)).astype(np.int32), 255)
    there = cv2.dilate(there, np.ones((2 * MARGIN_PX, 2 * MARGIN_PX), np.uint8))[..., None] > 0
    colour = np.where(there, gray[..., None], np.stack([red, rest, rest], axis=2))
    Image.fromarray(np.clip(np.rint(colour), 0, 255).astype(np.uint8)).save(to)
    return to


@pytest.mark.parametrize(("name", "figure"), [("vane.jpg", "height"), ("back.jpg", "tip_shift")])
def test_a_photo_that_tells_only_in_red_is_told(tmp_path: Path, name: str, figure: str) -> None:
    photo = next(p for p in read_crate(CRATE).photos if p.path.name == name and "2231" in p.path.as_posix())
    plain = measure_photo(photo.path, photo.stated)
    again = measure_photo(
        only_in_red(photo.path, np.array(plain.drawing["card_px"]), tmp_path / "red.png"), photo.stated
    )
    first, second = (
        max((f["quantities"][figure] for f in one.public["findings"] if "value" in f["quantities"].get(figure, {})),
            key=lambda q: abs(q["value"]))
        for one in (plain, again)
    )  # fmt: skip
    assert abs(second["value"] - first["value"]) < max(first["u95"], second["u95"])
