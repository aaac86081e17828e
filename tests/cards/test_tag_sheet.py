"""Part tags: printed, rasterised, laid beside a part under perspective, and read again."""

from __future__ import annotations

import cv2
import numpy as np
import pymupdf
import pytest

from wearvision.app.intake import _astray
from wearvision.cards.tag_sheet import LABEL_MM, tags_pdf
from wearvision.cards.tags import find_tags
from wearvision.errors import BadInput

TAGS = ["C-1042", "B-0331 left", "IMP.7+a_b#9", "A" * 40]


def _raster(data: bytes, page: int = 0, dpi: int = 150) -> np.ndarray:
    pixels = pymupdf.open(stream=data)[page].get_pixmap(dpi=dpi, colorspace="gray")
    return np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width).copy()


def test_every_printed_tag_is_read_from_its_label() -> None:
    dpi = 150
    sheet = _raster(tags_pdf(TAGS), dpi=dpi)
    px = dpi / 25.4
    for k, tag in enumerate(TAGS):
        left, top = 12 + k % 3 * LABEL_MM[0], 12 + k // 3 * LABEL_MM[1]
        label = sheet[int(top * px) : int((top + LABEL_MM[1]) * px), int(left * px) : int((left + LABEL_MM[0]) * px)]
        assert find_tags(np.pad(label, 40, constant_values=255)) == [tag]


def test_the_words_stand_beside_the_square_and_stay_on_the_label() -> None:
    words = pymupdf.open(stream=tags_pdf(TAGS))[0].get_text("words")
    right = (12 + 3 * LABEL_MM[0]) / 25.4 * 72
    assert {"C-1042", "B-0331", "left"} <= {w[4] for w in words}
    assert max(w[2] for w in words) < right


def test_many_tags_take_several_pages_and_the_same_bytes() -> None:
    tags = [f"P-{k}" for k in range(50)]
    data = tags_pdf(tags)
    assert data == tags_pdf(tags)
    assert len(pymupdf.open(stream=data)) == 3


def _scene(tags: list[str], tilt: float) -> np.ndarray:
    """A rough picture of 12 megapixels with labels of 62 mm lying in it at 0.12 mm per pixel, seen askew."""
    rng = np.random.default_rng(3)
    scene = cv2.GaussianBlur(rng.normal(110, 30, (1500, 2000)).astype(np.float32), (0, 0), 3)
    scene = cv2.resize(np.clip(scene, 0, 255).astype(np.uint8), (4000, 3000))
    for k, tag in enumerate(tags):
        label = _raster(tags_pdf([tag]), dpi=300)[143:612, 143:872]
        height, width = label.shape
        wide, x, y = LABEL_MM[0] / 0.12, 500 + 1800 * k, 700 + 900 * k
        tall = wide * height / width
        low = [[wide * (1 - tilt), tall], [-0.1 * wide, tall * (1 - tilt)]]
        corner = np.array([[0, 0], [wide, 30], *low]) + np.array([x, y])
        here = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
        move = cv2.getPerspectiveTransform(here, corner.astype(np.float32))
        mask = cv2.warpPerspective(np.full(label.shape, 255, np.uint8), move, (4000, 3000))
        scene = np.where(mask > 127, cv2.warpPerspective(label, move, (4000, 3000)), scene).astype(np.uint8)
    return np.clip(cv2.GaussianBlur(scene, (0, 0), 1.0) + rng.normal(0, 3, scene.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("tilt", [0.0, 0.15])
def test_a_tag_lying_in_a_photo_is_read(tilt: float) -> None:
    assert find_tags(_scene(["C-1042"], tilt)) == ["C-1042"]


def test_two_tags_in_one_photo_are_both_read() -> None:
    assert find_tags(_scene(["C-1042", "B-0331"], 0.08)) == ["B-0331", "C-1042"]


@pytest.mark.parametrize(
    ("stated", "seen", "says"),
    [
        ("A", (), ""), ("A", ("A",), ""), ("", ("A",), ""), ("A", ("B",), "says B, but it lies with A"),
        ("A", ("A", "B"), "two part tags"), ("", ("A", "B"), "two part tags"), ("", (), "belongs to no part"),
    ],
)  # fmt: skip
def test_contradictions_are_asked(stated: str, seen: tuple[str, ...], says: str) -> None:
    why = _astray(stated, seen)
    assert says in why and bool(why) == bool(says)


@pytest.mark.parametrize("tags", [[], ["A", "A"], ["no/slash"], [""]])
def test_what_cannot_be_a_tag_is_refused(tags: list[str]) -> None:
    with pytest.raises(BadInput):
        tags_pdf(tags)
