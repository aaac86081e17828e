"""The report's model refuses what must not be printed; its page prints all the rest."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.page_kit import EVIL, EXPECTED, VERDICTS, criterion, open_report, report, words_of
from wearvision.errors import BadInput
from wearvision.pages.page import CAUTIONS, DEFERS
from wearvision.pages.report import CriterionView, PhotoView, ReportView, SealedView, report_html


def test_the_page_holds_everything_of_the_model() -> None:
    text = words_of(report_html(report()))
    assert not [words for words in EXPECTED if words not in text]
    assert all(line in text for _, line in CAUTIONS)
    assert DEFERS in text


def test_own_cautions_stand_in_for_the_general_ones() -> None:
    text = words_of(report_html(report(cautions=(("Laser", "Never at eyes."),))))
    assert "Never at eyes." in text
    assert CAUTIONS[0][1] not in text


def test_without_a_verdict_no_word_of_one_is_printed() -> None:
    html = report_html(open_report())
    text = words_of(html).lower()
    assert "no verdict: these readings are missing" in text
    assert "groove depth: points 4, 5" in text
    assert not [word for word in VERDICTS if re.search(rf"\b{word}\b", text)]


@pytest.mark.parametrize("change", [{"verdict": None}, {"missing": ("point 4",)}])
def test_a_report_has_a_verdict_or_lacks_readings_never_both_or_neither(change: dict[str, object]) -> None:
    with pytest.raises(BadInput, match="exactly one"):
        report(**change)


def test_nothing_sealed_opens_before_a_reading() -> None:
    sealed = SealedView(point="1", estimate="1.9 mm", how="line-light", opened_at="10:15")
    with pytest.raises(BadInput, match="sealed"):
        CriterionView(title="Groove depth", limit="1/16", sealed=(sealed,))
    with pytest.raises(BadInput, match="sealed"):
        replace(criterion(), entries=())


def test_the_first_reading_stays_visible_beside_the_one_that_replaced_it() -> None:
    html = report_html(report())
    first, second = html.index("1.588 mm"), html.index("1.390 mm")
    assert first < second
    assert '<tr class="past">' in html


def test_text_from_people_is_escaped() -> None:
    view = report(tag=EVIL, losses=(EVIL,), criteria=(replace(criterion(), title=EVIL),), chain_head=EVIL)
    html = report_html(view)
    assert "<script" not in html
    assert EVIL in words_of(html)


def test_the_chain_head_is_there_as_qr_code() -> None:
    html = report_html(report())
    assert '<svg class="qr"' in html or 'class="qr"' in html
    assert "svg" not in report_html(report(chain_head=""))


def test_a_photo_names_its_file_once() -> None:
    photo = report().photos[0]
    named = replace(photo, picture=replace(photo.picture, caption="a.jpg"))
    assert named.words == "a.jpg, 0.12 mm per pixel"
    assert photo.words == "a wear face, a.jpg, 0.12 mm per pixel"
    assert isinstance(named, PhotoView)


def test_the_model_is_frozen() -> None:
    view: ReportView = report()
    with pytest.raises(AttributeError):
        view.verdict = None  # type: ignore[misc] # the mistake under test
