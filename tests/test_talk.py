"""How the command line talks and ends."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import Any

import pytest

from wearvision import talk
from wearvision.errors import BadInput, BrokenRecord


def ended(command: Any) -> int:
    with pytest.raises(SystemExit) as end:
        talk.run(command)
    return int(end.value.code or 0)


class Words(Exception):
    """What typer raises for the words of a call."""

    exit_code = 2

    def format_message(self) -> str:
        return "No such option:\n  --frob."


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (BadInput("no photo", got="a.jpg", do="take one"), 3, "wearvision: no photo (got 'a.jpg'); take one\n"),
        (BrokenRecord("torn"), 5, "wearvision: torn\n"),
        (Words(), 2, "wearvision: No such option: --frob; see wearvision --help\n"),
        (ZeroDivisionError("two\nlines"), 1, "wearvision: internal error: ZeroDivisionError: two lines; set "
                                             "WEARVISION_DEBUG=1 and report it\n"),
    ],
)  # fmt: skip
def test_an_error_is_one_line_and_its_code(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, error: Exception, code: int, said: str
) -> None:
    monkeypatch.delenv("WEARVISION_DEBUG", raising=False)

    def command(*, standalone_mode: bool) -> None:
        raise error

    assert ended(command) == code
    assert capsys.readouterr() == ("", said)


@pytest.mark.parametrize("result", [130, KeyboardInterrupt])
def test_a_stop_is_told(capsys: pytest.CaptureFixture[str], result: Any) -> None:
    def command(*, standalone_mode: bool) -> int:
        if result is KeyboardInterrupt:
            raise KeyboardInterrupt
        return int(result)

    assert ended(command) == 130
    assert "stopped; nothing finished is lost" in capsys.readouterr().err


@pytest.mark.parametrize("code", [0, None, 4])
def test_other_ends_are_quiet(capsys: pytest.CaptureFixture[str], code: int | None) -> None:
    assert ended(lambda standalone_mode: code) == (code or 0)
    assert capsys.readouterr() == ("", "")


def test_no_name_steers_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    talk.say("part \x1b[2Jgone\r\x07")
    talk.put("ok\nü\x9b")
    assert capsys.readouterr() == ("ok\nü\\x9b\n", "part \\x1b[2Jgone\\r\\x07\n")


@pytest.mark.parametrize("coding", ["utf-8", "latin-1", "ascii"])
def test_data_is_json_in_every_coding(monkeypatch: pytest.MonkeyPatch, coding: str) -> None:
    raw = BytesIO()
    monkeypatch.setattr(sys, "stdout", TextIOWrapper(raw, encoding=coding, errors="backslashreplace"))
    value = {"tag": "Ü ± 部", "file": "\udcff.jpg"}
    talk.give(value)
    assert json.loads(raw.getvalue().decode(coding)) == value


def child(code: str, **streams: Any) -> subprocess.Popen[bytes]:
    text = f"from wearvision import talk\ndef command(standalone_mode):\n    {code}\ntalk.run(command)"
    home = Path(talk.__file__).parent.parent
    return subprocess.Popen(
        [sys.executable, "-c", text], env={**os.environ, "PYTHONPATH": str(home)}, stderr=subprocess.PIPE, **streams
    )


def test_a_reader_that_leaves_ends_it_quietly() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    with child("[talk.give([0] * 1000) for _ in range(1000)]", stdout=write_end) as process:
        os.close(write_end)
        assert process.communicate()[1] == b""
    assert process.returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a full disk at hand")
def test_a_full_disk_is_told() -> None:
    with Path("/dev/full").open("wb") as full, child("talk.give({})", stdout=full) as process:
        err = process.communicate()[1].decode()
    assert process.returncode == 3
    assert err.startswith("wearvision: the output cannot be written (got 'No space left on device')")
    assert len(err.splitlines()) == 1
