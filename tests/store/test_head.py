from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BrokenRecord
from wearvision.store.head import EMPTY, HEAD_FILE, Head, parse_head, read_head, write_head

HEAD = Head(seq=12, hash="ab" * 32)


def test_a_head_reads_back(tmp_path: Path) -> None:
    for head in (EMPTY, HEAD):
        write_head(tmp_path, head)
        assert read_head(tmp_path) == head
    assert [path.name for path in (tmp_path / "tmp").iterdir()] == []


@given(st.integers(0, len(HEAD.to_bytes()) - 1), st.integers(1, 255))
def test_any_flipped_byte_gives_another_head_or_none(place: int, flip: int) -> None:
    data = bytearray(HEAD.to_bytes())
    data[place] ^= flip
    with suppress(BrokenRecord):
        assert parse_head(bytes(data)) != HEAD


@pytest.mark.parametrize(
    "data",
    [b"", b"[]", b"{}", b"\xff", b'{"format":"wearvision.head/1","hash":"a","seq":true}\n', b"[" * 100000],
)
def test_anything_else_is_refused(data: bytes) -> None:
    with pytest.raises(BrokenRecord):
        parse_head(data)


def test_a_missing_head_is_a_broken_record(tmp_path: Path) -> None:
    with pytest.raises(BrokenRecord, match=HEAD_FILE):
        read_head(tmp_path)
