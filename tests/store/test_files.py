from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from wearvision.errors import BadInput
from wearvision.store import files


def test_a_staged_file_gets_its_name_in_one_step(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_bytes(b"old")
    temp = files.stage(b"new", tmp_path / "tmp")
    assert target.read_bytes() == b"old"
    files.settle(temp, target)
    assert target.read_bytes() == b"new"
    assert not temp.exists()


def test_a_disk_that_fills_up_leaves_nothing_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files, "flush", full)
    with (
        pytest.raises(BadInput, match=r"No space left.*free some disk space"),
        files.disk_in_words("x", tmp_path),
    ):
        files.stage(b"data", tmp_path / "tmp")
    assert list((tmp_path / "tmp").iterdir()) == []


def test_sweeping_takes_only_what_is_old(tmp_path: Path) -> None:
    old, old_folder, young, other = (tmp_path / n for n in ("old.part", "dir.part", "young.part", "other"))
    old_folder.mkdir()
    for path in (old, young, other, old_folder / "inside"):
        path.touch()
    for path in (old, old_folder, other):
        os.utime(path, (0, 0))
    files.sweep(tmp_path)
    assert sorted(tmp_path.iterdir()) == [other, young]


def test_sweeping_where_nothing_is_does_nothing(tmp_path: Path) -> None:
    files.sweep(tmp_path / "nowhere")
