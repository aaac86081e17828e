"""QR texts: ours come back whole, anybody else's are passed over."""

from __future__ import annotations

from io import BytesIO

import cv2
import numpy as np
import pytest
import segno
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from wearvision.cards import printing as cards
from wearvision.cards import square, tags
from wearvision.cards.layout import cut_box_mm
from wearvision.cards.tags import CardText, PartTag, find_tags, parse_text, read_card_text
from wearvision.errors import BadInput
from wearvision.measure.board import CARD_SQUARE_MM
from wearvision.stated import VIEWS

Gray = NDArray[np.uint8]
CARD_TEXTS = st.builds(
    CardText,
    card=st.integers(0, 4),
    size=st.sampled_from(sorted(CARD_SQUARE_MM)),
    serial=st.from_regex(tags.SERIAL, fullmatch=True),
    view=st.none() | st.sampled_from(VIEWS),
)


@given(CARD_TEXTS)
def test_card_text_comes_back(says: CardText) -> None:
    assert parse_text(says.text) == says


@given(st.from_regex(tags.PART, fullmatch=True))
def test_part_tag_comes_back(part: str) -> None:
    assert parse_text(PartTag(part=part).text) == PartTag(part=part)


@given(st.text() | st.text().map("WV1/".__add__) | st.text().map("WV1/PART/".__add__))
def test_any_text_is_ours_or_nobodys(text: str) -> None:
    found = parse_text(text)
    assert found is None or found.text == text


FOREIGN = [
    "", "https://example.org/WV1/PART/A", "WV1", "WV1/PART", "WV1/PART/", "WV1/PART/../x", "WV1/PART/a/b",
    "WV1/C9/STANDARD/K7", "WV1/C0/HUGE/K7", "WV1/C0/STANDARD/", "WV1/C0/STANDARD/K7/ROOF", "wv1/part/C-1",
    "WV1/C0/standard/K7", "WV1/C0/STANDARD/K7/WEAR-FACE/X", "WV1/C²/STANDARD/K7", "WV1/PART/A\n",
]  # fmt: skip


@pytest.mark.parametrize("text", FOREIGN)
def test_foreign_and_broken_texts_are_passed_over(text: str) -> None:
    assert parse_text(text) is None


def test_unfit_words_are_refused() -> None:
    with pytest.raises(BadInput, match="serial"):
        CardText(card=0, size="small", serial="TOO-LONG-SERIAL")
    with pytest.raises(BadInput, match="part tag"):
        PartTag(part="../secret")


@given(CARD_TEXTS)
@settings(max_examples=20)
def test_fixed_modules_are_those_segno_writes(says: CardText) -> None:
    """Oracle: segno, an encoder that shares no code with the reader; it also proves every text fits."""
    code = segno.make_qr(says.text, error="m", version=2, mode="alphanumeric", boost_error=False)
    modules = np.array([list(row) for row in code.matrix], np.uint8)
    assert np.array_equal(modules[square.KNOWN], square.DARK[square.KNOWN])


def test_fits_are_those_of_opencv() -> None:
    """Oracle: its masked template matching, pixel by pixel."""
    side = (square.QR_MODULES + 6) * square.PER_MODULE
    patch = np.random.default_rng(7).uniform(0, 255, (side, side)).astype(np.float32)
    block = np.ones((square.PER_MODULE, square.PER_MODULE), np.float32)
    light, known = (np.kron(one, block).astype(np.float32) for one in (1.0 - square.DARK, square.KNOWN))
    theirs = cv2.matchTemplate(patch, light, cv2.TM_CCOEFF_NORMED, mask=known)
    assert np.allclose(square._fits(patch), theirs, atol=1e-5)


# ---- reading the label of a card


def photographed(
    px_per_mm: float, tilt: float, sigma_px: float, seed: int, size: str = "standard", serial: str = "K7Q2M4"
) -> tuple[Gray, NDArray[np.float64]]:
    """A card seen under a homography, lit unevenly, blurred and noisy; and board mm -> px of this photo."""
    rng = np.random.default_rng(seed)
    data = cards.card_png(2, size, serial=serial, view="wear-face", dpi=600)
    with Image.open(BytesIO(data)) as picture:
        drawn, scale = np.asarray(picture), picture.info["dpi"][0] / 25.4
    left, top, right, bottom = cut_box_mm(size)
    to_drawn = np.array([[scale, 0, -left * scale - 0.5], [0, scale, -top * scale - 0.5], [0, 0, 1.0]])
    turn = rng.uniform(0, 2 * np.pi)
    cos, sin = np.cos(turn) * px_per_mm, np.sin(turn) * px_per_mm
    side = 1.6 * px_per_mm * (right - left)
    middle = np.array([(left + right) / 2, (top + bottom) / 2])
    shift = side / 2 - np.array([cos * middle[0] - sin * middle[1], sin * middle[0] + cos * middle[1]])
    flat = np.array([[cos, -sin, shift[0]], [sin, cos, shift[1]], [0, 0, 1.0]])
    lean = np.eye(3)
    lean[2, :2] = tilt / side, -tilt / side / 2
    middle_of_view = np.array([[1, 0, -side / 2], [0, 1, -side / 2], [0, 0, 1.0]])
    to_px = np.linalg.inv(middle_of_view) @ lean @ middle_of_view @ flat
    sheet = cv2.warpPerspective(
        cv2.GaussianBlur(drawn, (0, 0), 0.4 * scale / px_per_mm), to_px @ np.linalg.inv(to_drawn),
        (round(side), round(side)), borderValue=120,
    )  # fmt: skip
    light = np.linspace(0.35, 0.9, round(side))[None, :]
    seen = cv2.GaussianBlur(sheet * light + 20, (0, 0), sigma_px) + rng.normal(0, 4, sheet.shape)
    return seen.clip(0, 255).astype(np.uint8), to_px


WANTED = CardText(card=2, size="standard", serial="K7Q2M4", view="wear-face")


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("px_per_mm", "tilt", "sigma_px"), [(3.4, 0.1, 0.8), (6.0, 0.6, 1.2), (12.0, 0.3, 3.0)])
def test_a_label_is_read_where_the_markers_are_readable(
    px_per_mm: float, tilt: float, sigma_px: float, seed: int
) -> None:
    """3.4 px/mm is the 35 px marker of the card search's own limit."""
    gray, to_px = photographed(px_per_mm, tilt, sigma_px, seed)
    assert read_card_text(gray, to_px) == WANTED


@pytest.mark.parametrize("size", sorted(CARD_SQUARE_MM))
def test_the_label_tells_the_size_whatever_was_assumed(size: str) -> None:
    gray, to_px = photographed(6.0, 0.2, 1.0, 1, size)
    for assumed in CARD_SQUARE_MM:
        ratio = CARD_SQUARE_MM[size] / CARD_SQUARE_MM[assumed]
        found = read_card_text(gray, to_px @ np.diag([ratio, ratio, 1.0]), assumed)
        assert found is not None
        assert found.size == size


def test_a_callable_does_as_well_and_two_modules_off_is_near_enough() -> None:
    gray, to_px = photographed(6.0, 0.2, 1.0, 2)
    off = to_px @ np.array([[1, 0, 1.9], [0, 1, -1.9], [0, 0, 1.0]])

    def mapped(mm: NDArray[np.float64]) -> NDArray[np.float64]:
        return cv2.perspectiveTransform(mm.reshape(-1, 1, 2), off).reshape(-1, 2).astype(float)

    assert read_card_text(gray, mapped) == WANTED


def test_dirt_on_a_tenth_of_the_label_does_no_harm() -> None:
    gray, to_px = photographed(8.0, 0.1, 1.0, 3)
    at = cv2.perspectiveTransform(np.array([[[125.0, 11.0]]]), to_px).ravel()
    cv2.circle(gray, (round(at[0]), round(at[1])), round(2.2 * 8), 60, -1)
    assert read_card_text(gray, to_px) == WANTED


def test_no_label_no_text() -> None:
    gray, to_px = photographed(6.0, 0.1, 1.0, 4)
    noise = np.random.default_rng(0).integers(0, 255, gray.shape).astype(np.uint8)
    for picture in (noise, np.full_like(gray, 128), np.zeros_like(gray)):
        assert read_card_text(picture, to_px) is None
    assert read_card_text(gray[:40], to_px) is None
    assert read_card_text(gray, np.zeros((3, 3))) is None
    assert read_card_text(gray, to_px @ np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])) is None  # mirrored


# ---- part tags


def labelled(texts: list[str], side_px: int = 400) -> Gray:
    """A gray 12 megapixel bench with stickers on it."""
    rng = np.random.default_rng(5)
    bench = cv2.resize(rng.normal(110, 25, (95, 126)).astype(np.float32), (4032, 3024), interpolation=cv2.INTER_CUBIC)
    for index, text in enumerate(texts):
        code = segno.make_qr(text, error="m")
        modules = 1 - np.array([list(row) for row in code.matrix], np.uint8)
        tag = np.kron(np.pad(modules, 4, constant_values=1) * 200 + 30, np.ones((8, 8))).astype(np.float32)
        across = side_px / tag.shape[0]
        turn = 0.4 + index
        cos, sin = np.cos(turn) * across, np.sin(turn) * across
        place = np.array([[cos, -sin, 700 + 1100 * index], [sin, cos, 1200]])
        mask = cv2.warpAffine(np.ones_like(tag), place, (4032, 3024)) > 0.5
        bench = np.where(mask, cv2.warpAffine(tag, place, (4032, 3024), flags=cv2.INTER_AREA), bench)
    return (bench + rng.normal(0, 4, bench.shape)).clip(0, 255).astype(np.uint8)


def test_contradicting_tags_are_all_told_and_foreign_ones_not() -> None:
    gray = labelled(["WV1/PART/C-1043", "https://example.org", "WV1/PART/C-1042"])
    assert find_tags(gray) == ["C-1042", "C-1043"]


def test_what_is_hidden_is_not_sought() -> None:
    gray = labelled(["WV1/PART/C-1043", "WV1/PART/C-1042"])
    assert find_tags(gray, [np.array([[300.0, 900], [1200, 900], [1200, 1900], [300, 1900]])]) == ["C-1042"]


def test_no_tag_no_text() -> None:
    assert find_tags(labelled([])) == []
    assert find_tags(np.zeros((3, 5), np.uint8)) == []
    assert find_tags(np.full((2000, 1500), 255, np.uint8)) == []


def test_a_detector_that_stumbles_reads_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    class Stumbling:
        def detectAndDecodeMulti(self, gray: Gray) -> None:
            raise cv2.error("assertion failed")

    monkeypatch.setattr(cv2, "QRCodeDetector", Stumbling)
    assert find_tags(labelled(["WV1/PART/C-1043"])) == []
