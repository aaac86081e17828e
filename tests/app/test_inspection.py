"""Readings from a file: understood as a whole, kept as a whole, and no way to sound out what is sealed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import app_kit as app
from tests import sheet_kit as kit
from wearvision.app.inspection import enter_csv, open_ready, read_gauges, still_missing
from wearvision.errors import BadInput
from wearvision.finding import Finding
from wearvision.rules.reading import GaugeReading

HEAD = "point,reading,gauge,zero_checked,reason,second,note\n"


def groove() -> Finding:
    return kit.finding("G1", sealed_mm=0.6)


def enter(folder: Path, text: str | bytes, *findings: Finding, filled: bool = False) -> list[str]:
    """What the readings of a file leave in the log, as `kind point typed`."""
    with app.bench(folder) as shop:
        sheet = app.lay(shop, *findings)
        known = app.gauges(folder)
        if filled:
            (folder / "all.csv").write_text("\n".join(app.rows(sheet)), encoding="utf-8")
            enter_csv(shop, app.TAG, folder / "all.csv", known, app.now(), by="A. Fitter")
        before = len(shop.ledger.load(app.TAG).log.entries)
        (folder / "r.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
        try:
            enter_csv(shop, app.TAG, folder / "r.csv", known, app.now(), by="A. Fitter")
        except BadInput:
            assert len(shop.ledger.load(app.TAG).log.entries) == before
            raise
        added = shop.ledger.load(app.TAG).log.entries[before:]
        return [f"{e.kind} {e.what.point} {e.what.typed}" for e in added if isinstance(e.what, GaugeReading)]


@pytest.mark.parametrize("typed", ["0.60 mm", "9.0 mm"])
def test_a_file_cannot_sound_out_the_sealed_estimate(tmp_path: Path, typed: str) -> None:
    """Readings that agree with the estimate and readings that do not are refused in the very same words."""
    lines = [f"{n},{typed},DG-07,yes,,," for n in (1, 2, 3)]
    text = HEAD + "\n".join([*lines, lines[0], "99,1 mm,DG-07,yes,,,"])
    with pytest.raises(BadInput) as error:
        enter(tmp_path, text, groove())
    assert error.value.line().startswith("r.csv:5: point 1 stands twice in this file;")


@pytest.mark.parametrize(
    ("row", "kept"),
    [
        ("1,0.31 mm,DG-07,yes,misread the scale,,", ["amendment 1 0.31 mm"]),
        ("1,0.31 mm,DG-07,yes,,yes,", ["second 1 0.31 mm"]),
        ("1,0.31 mm,DG-07,yes,the first was on rust,yes,", ["second 1 0.31 mm"]),
    ],
)
def test_a_later_row_says_itself_what_it_is(tmp_path: Path, row: str, kept: list[str]) -> None:
    assert enter(tmp_path, HEAD + row, filled=True) == kept


@pytest.mark.parametrize(
    ("text", "filled", "says"),
    [
        (HEAD + "1,0.31 mm,DG-07,yes,,,", True, "point 1 is already entered; give a reason"),
        (HEAD + "1,0.31 mm,DG-07,yes,,yes,", False, "point 1 has no first reading yet"),
        (HEAD + "1,1,6 mm,DG-07,yes,,,rust", False, "more values than columns"),
        (HEAD + f"{'9' * 5000},1 mm,DG-07,yes,,,", False, "a point is a whole number"),
        ("point,reading,reading,gauge\n1,1 mm,2 mm,DG-07\n", False, "named twice"),
        ("punkt,reading\n1,1 mm\n", False, "unknown column"),
        ("", False, "unknown column"),
        (HEAD + '1,"1 mm,DG-07,yes\n', False, "check the quotes"),
        (
            "point,reading,gauge,zero_checked,at\n1,1 mm,DG-07,yes,2001-01-01T08:00\n",
            False,
            "before its sheet was laid",
        ),
        ("point,reading,gauge,zero_checked,at\n1,1 mm,DG-07,yes,soon\n", False, "not a date"),
        (b"point,note\n1,\xff\n", False, "no UTF-8 text at line 2"),
    ],
)
def test_a_file_that_cannot_be_kept_whole_is_not_kept(
    tmp_path: Path, text: str | bytes, filled: bool, says: str
) -> None:
    with pytest.raises(BadInput, match=says):
        enter(tmp_path, text, filled=filled)


@pytest.mark.parametrize(
    "text",
    [
        b"\xef\xbb\xbfpoint,reading,gauge,zero_checked\r\n1,\"1,6 mm\",DG-07,yes\r\n\r\n",
        b"point;reading;gauge;zero_checked\r\n1;1,6 mm;DG-07;yes\r\n",
        b" point , reading,gauge,zero_checked\n1, 1,DG-07,yes".replace(b" 1,", b' "1,6 mm",'),
    ],
)  # fmt: skip
def test_files_as_spreadsheets_write_them(tmp_path: Path, text: bytes) -> None:
    assert enter(tmp_path, text) == ["first 1 1,6 mm"]


def test_the_estimate_opens_once_and_only_when_all_is_in(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        sheet, known = app.lay(shop, groove()), app.gauges(tmp_path)
        lines = app.rows(sheet, "0.55 mm")
        (tmp_path / "a.csv").write_text("\n".join(lines[:3]), encoding="utf-8")
        (tmp_path / "b.csv").write_text("\n".join([lines[0], *lines[3:]]), encoding="utf-8")
        enter_csv(shop, app.TAG, tmp_path / "a.csv", known, app.now(), by="A")
        assert open_ready(shop, app.TAG, "A", app.now()) == []
        enter_csv(shop, app.TAG, tmp_path / "b.csv", known, app.now(), by="A")
        ((criterion, quantity),) = open_ready(shop, app.TAG, "A", app.now())
        assert (criterion.id, quantity) == ("wear-face", groove().sealed["depth"])
        assert open_ready(shop, app.TAG, "A", app.now()) == []
        assert list(still_missing(shop.ledger.load(app.TAG))) == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no gauges"),
        ("gauges = 3", "no gauges"),
        ("[gauges.A]\nkind = 'depth gauge'", "not whole"),
        ("[gauges.A]\nkind = 'ruler'\nresolution = '1 mm'\nlargest_error = '1 mm'", "unknown kind"),
        ("[gauges.A]\nkind = 'depth gauge'\nresolution = 0.01\nlargest_error = '1 mm'", "without a unit"),
        (
            "[gauges.A]\nkind = 'depth gauge'\nresolution = '0.01 mm'\nlargest_error = '1 mm'\ndue = 'soon'",
            "not a date",
        ),
        ("[gauges.A", "g.toml:1"),
    ],
)
def test_gauges_that_cannot_be_used_are_named(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "g.toml").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=says):
        read_gauges(tmp_path / "g.toml")


def test_gauges_of_a_windows_editor_are_read(tmp_path: Path) -> None:
    text = "\ufeff[gauges.A]\r\nkind = 'depth gauge'\r\nresolution = '0.01 mm'\r\nlargest_error = '0.02 mm'\r\n"
    (tmp_path / "g.toml").write_bytes(text.encode())
    assert read_gauges(tmp_path / "g.toml")["A"].resolution_mm == 0.01
