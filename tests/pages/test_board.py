"""Board and bench sheet: order, words, safety of the text, nothing fetched, no verdict."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.page_kit import EVIL, VERDICTS, board, groove, picture, words_of
from wearvision.errors import BadInput
from wearvision.pages.board import (
    CSV_COLUMNS,
    NEXT_STEPS,
    PartCard,
    SheetCriterion,
    SheetModel,
    board_csv,
    board_page,
    sheet_page,
)
from wearvision.pages.page import CAUTIONS, DEFERS, bench_lines, say
from wearvision.quantity import Measured, Unmeasured
from wearvision.rules.cautions import cautions_for


def sheet(**more: object) -> SheetModel:
    criteria = (
        SheetCriterion(title="Groove depth", limit="1.6 mm or less", how="depth gauge", points=(3, 7), seen="G1"),
        SheetCriterion(title="Dish", limit="0.25 mm", how="straightedge", readings=3, unit="in"),
        SheetCriterion(title="Cracks", limit="none", how="by eye", checks=(("Any line?", ("no", "yes", EVIL)),)),
        SheetCriterion(title="Threads", limit="sound", how="by eye", choices=("sound",), when_beyond="rework first"),
    )
    model = {
        "tag": EVIL, "part_kind": "casing", "crate": "Crate 7", "rubric": "House rubric", "rubric_digest": "ab" * 32,
        "made_at": "25 Nov 2026", "version": "1.2.3", "pictures": (picture(),), "closeups": (picture(EVIL),),
        "criteria": criteria, "findings": (groove(),), "command": "wearvision read C-1",
    } | more  # fmt: skip
    return SheetModel(**model)  # type: ignore[arg-type] # keyword bag of a test


class Tags(HTMLParser):
    """Checks that tags close in order, and collects addresses."""

    VOID = ("meta", "img", "input", "br", "path", "hr")

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.addresses: list[str] = []
        self.feed(html)
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "srcset", "data")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.open.pop() == tag


@pytest.mark.parametrize("html", [board_page(board()), sheet_page(sheet())], ids=["board", "sheet"])
def test_pages_are_whole_and_fetch_nothing(html: str) -> None:
    addresses = Tags(html).addresses
    assert any(a.startswith("data:image/jpeg;base64,") for a in addresses)
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert "url(" not in html
    assert "@import" not in html
    assert "http" not in re.sub(r"base64,[^\"]*", "", html)


@pytest.mark.parametrize("html", [board_page(board()), sheet_page(sheet())], ids=["board", "sheet"])
def test_text_from_people_is_escaped(html: str) -> None:
    assert "<script>alert" not in html
    assert EVIL in words_of(html)


def test_the_board_goes_by_what_to_do_next() -> None:
    html = board_page(board())
    at = [html.index(f'<section class="group {step.replace(" ", "-")}"') for step in NEXT_STEPS]
    assert at == sorted(at)
    text = words_of(html)
    wanted = (
        "38 of 42 photos measured", "4 parts; 1 photo to retake", "Crate 7", "25 Nov 2026", "Step back.",
        "6 gauge points to take",
        "1 gauge point to take", "3.62 ± 0.06 mm", "Not measured: arc, cut off", "The file ends early.",
        "wearvision 1.2.3", "Weak evidence: look at the part before trusting this mark.",
    )  # fmt: skip
    assert not [words for words in wanted if words not in text]


def test_the_board_says_no_verdict_and_says_who_decides() -> None:
    text = words_of(board_page(board())).lower()
    assert not [word for word in VERDICTS if re.search(rf"\b{word}\b", text)]
    assert "only gauge readings decide" in text


def test_board_and_sheet_carry_the_cautions_and_who_comes_first() -> None:
    for html in (board_page(board()), sheet_page(sheet())):
        text = words_of(html)
        assert all(line in text for _, line in CAUTIONS)
        assert DEFERS in text
    assert {"Energy", "Residual fluid", "Sharp edges", "Lifting"} <= {name for name, _ in CAUTIONS}


def test_a_sheet_with_a_line_of_light_carries_the_caution_about_lasers() -> None:
    line, plain = (words_of(sheet_page(sheet(cautions=bench_lines(cautions_for("casing", {view}))))) for view in
                   ("line-light", "wear-face"))  # fmt: skip
    assert "class 2" in line and "class 2" not in plain
    assert all(text in plain for _, text in CAUTIONS)


def test_an_empty_crate_is_a_page_too() -> None:
    html = board_page(board(parts=(), set_aside=(), photos_total=0, photos_done=0))
    Tags(html)
    assert "0 of 0 photos measured" in words_of(html)


def test_an_unfinished_crate_says_so_and_a_finished_one_does_not() -> None:
    assert "not finished" in words_of(board_page(board()))
    assert "not finished" not in words_of(board_page(board(photos_done=42)))


def test_the_step_must_be_one_of_the_four() -> None:
    with pytest.raises(BadInput, match="reuse"):
        PartCard(tag="x", part_kind="casing", next_step="reuse")  # type: ignore[arg-type] # the mistake under test


def test_csv_has_a_row_per_figure_and_spreadsheets_run_nothing() -> None:
    model = board(parts=(*board().parts, PartCard(tag="=1+1", part_kind="casing", next_step="retake", command="-x")))
    rows = list(csv.DictReader(io.StringIO(board_csv(model))))
    assert tuple(rows[0]) == CSV_COLUMNS
    assert [r["next_step"] for r in rows] == [
        "retake", "retake", "gauge first", "gauge first", "likely beyond", "likely within", "set aside",
    ]  # fmt: skip
    width = next(r for r in rows if r["quantity"] == "width")
    assert (width["tag"], width["value"], width["unit"], width["flags"]) == (EVIL, "3.618", "mm", "faint")
    assert float(width["u95"]) == pytest.approx(1.96 * 0.027, rel=0.01)
    assert next(r for r in rows if r["quantity"] == "arc")["not_measured"] == "cut off"
    assert not [cell for r in rows for cell in r.values() if cell[:1] in ("=", "+", "-", "@")]


def test_the_sheet_leaves_boxes_empty_and_tells_nothing_sealed() -> None:
    html = sheet_page(sheet())
    boxes = re.findall(r'<div class="box">(.*?)</div>', html)
    assert len(boxes) == 2 + 3
    assert all(re.search(r"<i></i>", box) for box in boxes)
    assert [n for box in boxes for n in re.findall(r'<b class="num">(\d+)</b>', box)] == ["3", "7"]
    assert html.count('<div class="tick">') == 3 + 1
    assert "<input" not in html
    assert "If beyond: rework first" in words_of(html)


@given(st.floats(-1e4, 1e4), st.floats(1e-5, 1e3))
def test_a_figure_in_words_never_claims_more_than_was_measured(value: float, u: float) -> None:
    q = Measured(value=value, u=u, unit="mm")
    said, half = say(q, signed=True).removesuffix(" mm").split(" ± ")
    assert float(half) >= q.u95 * (1 - 1e-6)
    assert float(half) <= q.u95 * 1.34
    assert abs(float(said) - value) <= float(half)


def test_figures_in_words() -> None:
    assert say(Measured(value=3.618, u=0.027, unit="mm")) == "3.62 ± 0.06 mm"
    assert say(Measured(value=1076.8, u=9.0, unit="mm2")) == "1077 ± 18 mm²"
    assert say(Measured(value=1076.8, u=90.0, unit="mm2")) == "1080 ± 180 mm²"
    assert say(Measured(value=230.94, u=0.4, unit="deg")) == "230.9 ± 0.8°"
    assert say(Measured(value=65, u=0.0, unit="count")) == "65"
    assert say(Unmeasured(reason="no card")) == "not measured: no card"


def test_a_size_whose_interval_reaches_nought_has_only_an_upper_end() -> None:
    guess = Measured(value=1.8, u=1.37, unit="mm")  # 1.96 u = 2.69
    assert say(guess) == "up to 4.5 mm"
    assert say(guess, signed=True) == "1.8 ± 2.7 mm"
    assert say(Measured(value=0.0, u=0.4, unit="deg"), signed=True) == "0.0 ± 0.8°"
    assert say(Measured(value=-0.004, u=0.4, unit="deg"), signed=True) == "0.0 ± 0.8°", "no nought with a minus sign"
    assert say(Measured(value=-2.0, u=0.1, unit="mm")) == "-2.00 ± 0.20 mm", "never cut off at nought"


def test_what_no_part_shows_is_said_once() -> None:
    common, own = ("depth", "the gauge says how deep"), ("pits", "not searched for")
    parts = tuple(
        PartCard(tag=f"C-{i}", part_kind="casing", next_step="gauge first", not_assessed=(common, *((own,) * (i == 1))))
        for i in range(3)
    )
    text = words_of(board_page(board(parts=parts)))
    assert text.count("the gauge says how deep") == 1
    assert text.count("not searched for") == 1
    assert board(parts=parts[:1]).unseen == ()
