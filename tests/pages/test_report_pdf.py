"""The PDF: same content as the page, repeatable bytes, numbered pages, long words that stay on the paper."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pymupdf
import pytest

from tests.page_kit import DIGEST, EVIL, EXPECTED, HEAD, VERDICTS, criterion, entry, open_report, picture, report
from wearvision.pages.pdf_page import Words, register_fonts
from wearvision.pages.report import PhotoView, TableView
from wearvision.pages.report_pdf import report_pdf


def pages(data: bytes) -> list[str]:
    with pymupdf.open(stream=data) as document:
        return [" ".join(page.get_text().split()) for page in document]


def test_the_pdf_holds_everything_of_the_model() -> None:
    text = " ".join(pages(report_pdf(report())))
    assert not [words for words in EXPECTED if words not in text]


def test_equal_models_give_equal_bytes() -> None:
    assert report_pdf(report()) == report_pdf(report())
    assert report_pdf(report()) != report_pdf(report(chain_length=413))


def test_without_a_verdict_no_word_of_one_is_printed() -> None:
    text = " ".join(pages(report_pdf(open_report()))).lower()
    assert "no verdict: these readings are missing" in text
    assert not [word for word in VERDICTS if word in text]


def test_every_page_knows_its_number_and_the_part() -> None:
    view = report(criteria=(criterion(),) * 9, photos=report().photos * 5)
    texts = pages(report_pdf(view))
    assert len(texts) > 3
    for number, text in enumerate(texts, 1):
        assert f"page {number} of {len(texts)}" in text
        assert "CAS-0139" in text


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_nothing_runs_off_the_paper(paper: str) -> None:
    long = "An unbroken-" + "x" * 300 + " and then " + "many words " * 120
    worst = replace(
        criterion(), title=long, limit=long, demand=long, entries=(entry("9" * 40, long, "1 mm" * 9, reason=long),)
    )
    view = report(
        tag="T" * 90, crate=long, losses=(long,), rubric=long, rule=long,
        criteria=(worst,),
        tables=(TableView(title=long, columns=("a", "b" * 60), rows=((long, long),)),),
        photos=tuple(PhotoView(picture=replace(picture(long), width_px=w, height_px=h), file=long, sha256=DIGEST)
                     for w, h in ((80, 4000), (8000, 60), (80, 60))),
    )  # fmt: skip
    with pymupdf.open(stream=report_pdf(view, paper=paper)) as document:  # type: ignore[arg-type] # from parametrize
        for page in document:
            for x0, y0, x1, y1, *_ in page.get_text("words"):
                assert x0 >= 40
                assert x1 <= page.rect.width - 40
                assert 10 <= y0 < y1 <= page.rect.height - 10


def test_a_long_list_of_missing_readings_flows_over_pages() -> None:
    view = open_report(missing=tuple(f"Criterion {i}: point {i}" for i in range(150)))
    assert "Criterion 149: point 149" in " ".join(pages(report_pdf(view)))


def test_markup_in_a_text_is_printed_not_obeyed() -> None:
    text = " ".join(pages(report_pdf(report(tag=EVIL, losses=(EVIL, "A < b & <b>c</b>")))))
    assert EVIL in text
    assert "A < b & <b>c</b>" in text


def test_names_keep_their_letters_or_the_report_says_so() -> None:
    register_fonts()
    words = Words()
    assert words.clean("Łukasz Müller, ±0.02 mm ≤ 3") == "Łukasz Müller, ±0.02 mm ≤ 3"
    assert not words.lost
    assert words.clean("Dvořák") == "Dvorák"
    assert words.lost
    last = pages(report_pdf(report(follow_ups=("ask \u4e2d about it\x07",))))[-1]
    assert "outside this file's fonts" in last
    assert "outside this file's fonts" not in pages(report_pdf(report()))[-1]


def test_a_camera_reads_the_chain_head_from_the_page() -> None:
    # read back by OpenCV's own QR reader
    with pymupdf.open(stream=report_pdf(report())) as document:
        pixmap = document[-1].get_pixmap(dpi=200, colorspace="gray")
    image = np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.width)
    read, _, _ = cv2.QRCodeDetector().detectAndDecode(image)
    assert read == f"wearvision CAS-0139 chain 412 {HEAD}"


def test_fonts_travel_with_the_file_and_nothing_calls_out() -> None:
    data = report_pdf(report())
    with pymupdf.open(stream=data) as document:
        blocks = [block for page in document for block in page.get_text("dict")["blocks"]]
        used = {span["font"] for block in blocks for line in block.get("lines", ()) for span in line["spans"]}
        embedded = {name for page in document for _, kind, _, name, *_ in page.get_fonts() if kind != "n/a"}
        assert used == {"BitstreamVeraSans-Roman", "BitstreamVeraSans-Bold"}
        assert all(any(name.endswith(font) for name in embedded) for font in used)
        assert not [link for page in document for link in page.get_links()]
    assert b"/JavaScript" not in data
