"""Nothing finished is lost, whatever cuts the file off."""

from __future__ import annotations

import hashlib
import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearvision.crates.journal import LOCK, RESULTS, Journal, Key, compact, digest_of, sha256_of, write_lines
from wearvision.errors import BadInput

ROOT = Path(__file__).parent.parent.parent
KEYS: list[Key] = [(f"{n}a", "d") for n in range(4)]


def test_what_is_added_is_there_in_this_run_and_the_next(tmp_path: Path) -> None:
    with Journal(tmp_path / "deep" / "out") as journal:
        for n, key in enumerate(KEYS[:3]):
            journal.add(key, f"ä {n}.jpg", compact({"n": n, "text": 'ü\n"\u2028'}))
            assert journal.record(key)["n"] == n
        assert len(journal) == 3
    with Journal(tmp_path / "deep" / "out") as journal:
        assert journal.dropped == 0
        assert [key in journal for key in KEYS] == [True, True, True, False]
        assert journal.record(KEYS[1]) == {"n": 1, "text": 'ü\n"\u2028'}
        with pytest.raises(KeyError):
            journal.record(KEYS[3])


def test_each_line_is_json_of_its_own(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        journal.add(KEYS[0], "a.jpg", compact({"x": 1.5}))
    text = (tmp_path / RESULTS).read_text()
    check = hashlib.sha256(f'{KEYS[0][0]} d {{"x":1.5}}'.encode()).hexdigest()
    head = f'{{"sha256":"{KEYS[0][0]}","digest":"d","name":"a.jpg","check":"{check}",'
    assert text == f'{head}"record":{{"x":1.5}}}}\n'
    assert json.loads(text)["record"] == {"x": 1.5}


def test_a_key_written_again_gives_the_newer_record(tmp_path: Path) -> None:
    for n in range(2):
        with Journal(tmp_path) as journal:
            journal.add(KEYS[0], "a.jpg", compact({"n": n}))
    with Journal(tmp_path) as journal:
        assert (len(journal), journal.record(KEYS[0])) == (1, {"n": 1})


def test_cut_off_at_every_byte_only_the_torn_line_is_lost(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        for n, key in enumerate(KEYS[:3]):
            journal.add(key, f"é{n}.jpg", compact({"n": n}))
    whole = (tmp_path / RESULTS).read_bytes()
    ends = [n + 1 for n, byte in enumerate(whole) if byte == 10]
    for size in range(len(whole) + 1):
        (tmp_path / RESULTS).write_bytes(whole[:size])
        left = sum(end <= size for end in ends)
        with Journal(tmp_path) as journal:
            assert [key in journal for key in KEYS[:3]] == [n < left for n in range(3)]
            assert journal.dropped == (size not in (0, *ends))
            journal.add(KEYS[3], "new.jpg", compact({"n": 3}))
            assert journal.record(KEYS[3]) == {"n": 3}
        with Journal(tmp_path) as journal:
            assert journal.dropped == 0
            assert [journal.record(KEYS[n])["n"] for n in (*range(left), 3)] == [*range(left), 3]


@settings(max_examples=60)
@given(st.data())
def test_bytes_spoiled_anywhere_cost_only_their_lines(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("j")
    with Journal(folder) as journal:
        for n, key in enumerate(KEYS):
            journal.add(key, "a.jpg", compact({"n": n}))
    lines = (folder / RESULTS).read_bytes().splitlines(keepends=True)
    bad = data.draw(st.integers(0, 3))
    start = data.draw(st.integers(0, len(lines[bad]) - 2))
    lines[bad] = lines[bad][:start] + b"\0" * (len(lines[bad]) - 1 - start) + b"\n"  # as a power cut leaves it
    (folder / RESULTS).write_bytes(b"".join(lines))
    with Journal(folder) as journal:
        assert journal.dropped == 1
        assert [key in journal for key in KEYS] == [n != bad for n in range(4)]
        assert all(journal.record(key)["n"] == n for n, key in enumerate(KEYS) if n != bad)


@settings(max_examples=60)
@given(st.data())
def test_a_byte_changed_anywhere_never_changes_a_result(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Or a width misread from the file would go into the ledger as measured."""
    folder = tmp_path_factory.mktemp("j")
    records = [{"width": 4.5 + n, "text": ',"record":'} for n in range(4)]
    with Journal(folder) as journal:
        for key, record in zip(KEYS, records, strict=True):
            journal.add(key, ',"record":.jpg', compact(record))
    whole = bytearray((folder / RESULTS).read_bytes())
    whole[data.draw(st.integers(0, len(whole) - 1))] ^= data.draw(st.integers(1, 255))
    (folder / RESULTS).write_bytes(bytes(whole))
    with Journal(folder) as journal:
        for key, record in zip(KEYS, records, strict=True):
            assert key not in journal or journal.record(key) == record


@pytest.mark.parametrize(
    "line",
    [
        b"[]\n",
        b"3\n",
        b"{}\n",
        b'{"sha256":"a","digest":"b","record":3}\n',
        b'{"sha256":"a","digest":[],"record":{}}\n',
        b"\xff\n",
    ],
)
def test_a_line_that_is_no_record_counts_as_dropped(tmp_path: Path, line: bytes) -> None:
    (tmp_path / RESULTS).write_bytes(line)
    with Journal(tmp_path) as journal:
        assert (journal.dropped, len(journal)) == (1, 0)


def test_a_second_run_is_refused_and_told_who_holds_the_folder(tmp_path: Path) -> None:
    with Journal(tmp_path), pytest.raises(BadInput, match=f"another run is writing.*process {os.getpid()}"):
        Journal(tmp_path)
    Journal(tmp_path).close()


def test_the_lock_of_a_killed_run_is_free(tmp_path: Path) -> None:
    code = (
        "import sys, os, pathlib; from wearvision.crates.journal import Journal\n"
        "j = Journal(pathlib.Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    with holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(BadInput, match=f"process {holder.pid}"):
            Journal(tmp_path)
        holder.kill()
    assert (tmp_path / LOCK).exists()
    Journal(tmp_path).close()


def test_a_folder_that_cannot_be_used_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(BadInput, match="the output folder cannot be used"):
        Journal(tmp_path / "file" / "out")
    (tmp_path / "out" / RESULTS).mkdir(parents=True)
    with pytest.raises(BadInput, match="the output folder cannot be used"):
        Journal(tmp_path / "out")


def test_a_full_disk_leaves_the_journal_whole(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        journal.add(KEYS[0], "a.jpg", "{}")
        room = (tmp_path / RESULTS).stat().st_size + 20  # the next line fits in part
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
        try:
            with pytest.raises(BadInput, match=r"a result could not be written.*File too large"):
                journal.add(KEYS[1], "b.jpg", "{}")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        assert KEYS[1] not in journal
        journal.add(KEYS[2], "c.jpg", '{"n":2}')
        assert journal.record(KEYS[2]) == {"n": 2}
    with Journal(tmp_path) as journal:
        assert journal.dropped == 0
        assert [key in journal for key in KEYS] == [True, False, True, False]


def test_the_final_file_is_whole_or_not_there(tmp_path: Path) -> None:
    path = tmp_path / "measure.jsonl"
    assert write_lines(path, ({"n": n, "s": "ü \udc80"} for n in range(3))) == 3
    before = path.read_bytes()
    assert [json.loads(line)["n"] for line in before.splitlines()] == [0, 1, 2]
    assert json.loads(before.splitlines()[0])["s"] == "ü \udc80"
    with pytest.raises(ValueError, match="JSON compliant"):
        write_lines(path, [{"n": 1}, {"n": float("nan")}])
    assert path.read_bytes() == before


def test_digests(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"abc")
    # FIPS 180-2 appendix B.1
    assert sha256_of(tmp_path / "x") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of({"a": 1, "b": 2}, "v") == digest_of({"b": 2, "a": 1}, "v")
    assert len({digest_of({"a": 1}, "v"), digest_of({"a": 2}, "v"), digest_of({"a": 1}, "w")}) == 3
