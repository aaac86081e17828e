"""The printed card against OpenCV's own board, after a renderer has put it on paper."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from wearvision.cards import printing as cards
from wearvision.cards.drawing import cells
from wearvision.cards.layout import cut_box_mm, qr_square_mm
from wearvision.cards.tags import CardText, read_card_text
from wearvision.errors import BadInput
from wearvision.measure.board import CARD_SQUARE_MM, card

DPI = 600
SIZES = sorted(CARD_SQUARE_MM)
pymupdf = pytest.importorskip("pymupdf", reason="the test extra is not installed")


def printed(pdf: bytes, dpi: int = DPI) -> NDArray[np.uint8]:
    """What a perfect printer would put on paper, by MuPDF."""
    with pymupdf.open(stream=pdf) as book:
        assert book.page_count == 1
        picture = book[0].get_pixmap(dpi=dpi, colorspace=pymupdf.csGRAY)
        return np.frombuffer(picture.samples, np.uint8).reshape(picture.height, picture.stride).copy()


def their_board(number: int, size: str) -> Any:
    """OpenCV's own ChArUco board of the same figures, sizes in mm."""
    spec = card(number, size)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    ids = np.arange(spec.first_id, spec.first_id + spec.marker_count)
    return cv2.aruco.CharucoBoard((7, 5), spec.square_mm, spec.marker_mm, book, ids)


def corners_px(gray: NDArray[np.uint8], number: int, size: str) -> NDArray[np.float64]:
    """All 24 inner corners as OpenCV finds them, refined at full size."""
    small = cv2.resize(gray, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    found, ids, _, _ = cv2.aruco.CharucoDetector(their_board(number, size)).detectBoard(small)
    assert ids is not None
    order = np.argsort(ids.ravel())
    assert ids.ravel()[order].tolist() == list(range(24))
    rough = (found.reshape(-1, 2)[order] + 0.5) * 4 - 0.5
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    fine = cv2.cornerSubPix(gray, rough.reshape(-1, 1, 2).astype(np.float32), (9, 9), (-1, -1), stop)
    return fine.reshape(-1, 2).astype(float)


@pytest.mark.parametrize(("number", "page"), [(0, "A4"), (4, "Letter")])
@pytest.mark.parametrize("size", SIZES)
def test_opencv_reads_every_corner_at_its_drawn_place(size: str, number: int, page: str) -> None:
    """Spacing within 0.05 %; bound of one corner: a quarter of a 600 dpi pixel, 0.01 mm."""
    spec = card(number, size)
    gray = printed(cards.card_pdf(number, size, serial="K7Q2M4", view="gasket-land", page=page))
    px = corners_px(gray, number, size)
    mm = px * 25.4 / DPI
    drawn = spec.inner_corners_mm()
    for axis in (0, 1):
        slope = np.polyfit(drawn[:, axis], mm[:, axis], 1)[0]
        assert slope == pytest.approx(1.0, abs=5e-4)
    shift = (mm - drawn).mean(axis=0)
    assert np.abs(mm - drawn - shift).max() < 0.02
    scale = DPI / 25.4
    to_px = np.array([[scale, 0, shift[0] * scale], [0, scale, shift[1] * scale], [0, 0, 1.0]])
    says = CardText(card=number, size=size, serial="K7Q2M4", view="gasket-land")
    assert read_card_text(gray, to_px, size) == says


def test_inner_corners_are_those_of_opencv() -> None:
    theirs = np.asarray(their_board(0, "standard").getChessboardCorners()).reshape(-1, 3)[:, :2]
    assert card(0).inner_corners_mm() == pytest.approx(theirs, abs=1e-5)


@pytest.mark.parametrize("number", range(5))
def test_every_pixel_of_the_png_is_that_of_opencv(number: int) -> None:
    """Oracle: CharucoBoard.generateImage at the same whole-pixel scale."""
    data = cards.card_png(number, serial="A1", dpi=300)
    with Image.open(BytesIO(data)) as picture:
        ours = np.asarray(picture)
        dpi = picture.info["dpi"]
    assert dpi == pytest.approx((304.8, 304.8), abs=1e-3)  # 12 px/mm
    theirs = their_board(number, "standard").generateImage((7 * 180, 5 * 180))
    board = ours[60 : 60 + 900, 60 : 60 + 1260]
    assert ours.shape == (85 * 12, 144 * 12)
    assert np.array_equal(board, theirs)
    assert (ours[:60] == 255).all()
    assert (ours[-60:, :1380] == 255).all()
    assert (ours[:, :60] == 255).all()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("dpi", [60, 300, 600])
def test_a_png_reads_itself(size: str, dpi: float) -> None:
    with Image.open(BytesIO(cards.card_png(3, size, serial="B2-7", dpi=dpi))) as picture:
        gray, scale = np.asarray(picture), picture.info["dpi"][0] / 25.4
    left, top, _, _ = cut_box_mm(size)
    to_px = np.array([[scale, 0, -left * scale - 0.5], [0, scale, -top * scale - 0.5], [0, 0, 1.0]])
    assert read_card_text(gray, to_px, size) == CardText(card=3, size=size, serial="B2-7")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_check_bars_are_100_mm_and_nothing_runs_off_the_page(size: str, page: str) -> None:
    with pymupdf.open(stream=cards.card_pdf(1, size, serial="K7Q2M4", page=page)) as book:
        paper = book[0].rect
        bars = [
            drawing["rect"]
            for drawing in book[0].get_drawings()
            if len(drawing["items"]) == 3 and drawing["fill"] == (0.0, 0.0, 0.0)
        ]
        lengths = sorted((round(r.width * 25.4 / 72, 4), round(r.height * 25.4 / 72, 4)) for r in bars)
        assert lengths == [(4.0, 100.0), (100.0, 4.0)]
        boxes = [d["rect"] for d in book[0].get_drawings()]
        boxes += [pymupdf.Rect(b[:4]) for b in book[0].get_text("blocks")]
        safe = pymupdf.Rect(20, 20, paper.width - 20, paper.height - 20)  # 7 mm
        assert all(safe.contains(box) for box in boxes)
        words = [pymupdf.Rect(w[:4]) for w in book[0].get_text("words")]
        assert not any(bar.intersects(word) for bar in bars for word in words)


def test_no_hairline_inside_black_or_white() -> None:
    """Touching cells drawn apart leave gray seams; every pixel well inside a marker cell is pure."""
    gray = printed(cards.card_pdf(0, serial="K7Q2M4"), dpi=200)
    px = corners_px(cv2.resize(gray, None, fx=4, fy=4, interpolation=cv2.INTER_NEAREST), 0, "standard") / 4
    x0, y0, x1, y1 = px[0][0], px[0][1], px[23][0], px[23][1]
    inside = gray[round(y0) : round(y1), round(x0) : round(x1)]
    edges = cv2.morphologyEx(inside, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    assert np.isin(inside[~edges], (0, 255)).all()
    assert ((inside > 40) & (inside < 215)).mean() < 0.06


def test_runs_cover_exactly_the_filled_cells() -> None:
    rng = np.random.default_rng(0)
    filled = rng.random((9, 7)) < 0.5
    seen = np.zeros_like(filled)
    for left, top, right, bottom in (cells(filled, 1.0, 2.0, 0.5) - [1, 2, 1, 2]) / 0.5:
        seen[round(top) : round(bottom), round(left) : round(right)] = True
    assert np.array_equal(seen, filled)


def test_the_same_card_has_the_same_bytes_and_no_scaling() -> None:
    one = cards.card_pdf(0, serial="K7Q2M4")
    assert one == cards.card_pdf(0, serial="K7Q2M4")
    assert b"/PrintScaling /None" in one


def test_layout_of_the_standard_card() -> None:
    assert cut_box_mm() == pytest.approx((-5, -5, 139, 80))
    assert qr_square_mm("standard") == pytest.approx(np.array([[110, 0], [134, 0], [134, 24], [110, 24.0]]))
    assert qr_square_mm("large") == pytest.approx(qr_square_mm("standard") * 5 / 3)


def test_serials() -> None:
    one = cards.new_serial("2025-03-04", "bench 2")
    assert one == cards.new_serial("2025-03-04", "bench 2")
    assert len({cards.new_serial(str(n)) for n in range(300)}) == 300
    assert CardText(card=0, size="small", serial=one).serial == one
    assert not set(one) & set("ILOU")


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: cards.card_pdf(5, serial="A"), "no such card"),
        (lambda: cards.card_pdf(0, "huge", serial="A"), "no such card size"),
        (lambda: cards.card_pdf(0, serial="a b"), "serial"),
        (lambda: cards.card_pdf(0, serial=""), "serial"),
        (lambda: cards.card_pdf(0, serial="A", view="roof"), "unknown view"),  # type: ignore[arg-type] # wrong on purpose
        (lambda: cards.card_pdf(0, serial="A", page="A3"), "no such page"),
        (lambda: cards.card_png(0, serial="A", dpi=5), "60 to 1200"),
        (lambda: cards.card_png(0, serial="A", dpi=float("nan")), "60 to 1200"),
    ],
)
def test_refused(call: Any, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        call()
