"""The command line called in this process."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import NamedTuple

import pytest

from wearvision import cli


class Ran(NamedTuple):
    """What one command said."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


def in_process(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """A function that runs a command and gives exit code, stdout and stderr; a traceback fails the test."""

    def call(*words: str) -> Ran:
        monkeypatch.setattr(sys, "argv", ["wearvision", *words])
        code = 0
        try:
            cli.main()
        except SystemExit as end:
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Ran(code, out, err)

    return call
