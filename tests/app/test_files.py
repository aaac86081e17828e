"""Texts people hand in, pages that are whole or not there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from wearvision.app import files
from wearvision.app.files import read_text, write_whole
from wearvision.errors import BadInput


def test_a_byte_order_mark_is_dropped_and_a_pipe_will_do(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"\xef\xbb\xbfpoint\r\n")
    assert read_text(tmp_path / "a.csv", "the readings", do="") == "point\r\n"
    read_end, write_end = os.pipe()
    os.write(write_end, b"point\n")
    os.close(write_end)
    assert read_text(Path(f"/dev/fd/{read_end}"), "the readings", do="") == "point\n"
    os.close(read_end)


def test_a_text_in_another_coding_is_refused_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes("point\n1,gemessen von Jörg\n".encode("latin-1"))
    with pytest.raises(BadInput, match="no UTF-8 text at line 2"):
        read_text(tmp_path / "a.csv", "the readings", do="save it as UTF-8")


def test_a_file_without_an_end_is_not_read_to_its_end() -> None:
    with pytest.raises(BadInput, match="too large"):
        read_text(Path("/dev/zero"), "the readings", do="")


@pytest.mark.parametrize("name", ["nowhere.csv", "."])
def test_what_cannot_be_read_says_so(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput, match="the readings cannot be read"):
        read_text(tmp_path / name, "the readings", do="")


def test_a_page_that_cannot_be_written_leaves_the_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = tmp_path / "new" / "board.html"
    write_whole(page, "old")

    def full(self: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(BadInput, match=r"cannot be written: No space left.*free some disk space"):
        write_whole(page, "new")
    assert page.read_text(encoding="utf-8") == "old"
    assert [p.name for p in page.parent.iterdir()] == ["board.html"]


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("", encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be written"):
        write_whole(tmp_path / "out" / "board.html", "new")
    assert files.MOST_BYTES > 10**6
