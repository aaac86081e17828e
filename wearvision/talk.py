"""What the command line says and how it ends: data to stdout, talk to stderr, one line and a code for an error."""

from __future__ import annotations

import json
import os
import sys
import unicodedata
from collections.abc import Callable
from contextlib import suppress
from io import TextIOWrapper
from typing import Any, TextIO

from wearvision.errors import BadInput, WearvisionError

STOPPED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells count it."""


def run(command: Callable[..., Any]) -> None:
    """Run a command line; an error of ours becomes one line and its exit code, never a traceback.

    Parameters
    ----------
    command : callable
        A typer application.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a bench may speak Latin-1: no name breaks a line
    try:
        code = command(standalone_mode=False)
        if code == STOPPED:
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        say("wearvision: stopped; nothing finished is lost, give the same command again to go on")
        code = STOPPED
    except WearvisionError as error:
        say(f"wearvision: {error.line()}")
        code = error.exit_code
    except Exception as error:
        code = _last_wall(error)
    raise SystemExit(code or 0)


def _last_wall(error: Exception) -> int:
    """An error of the call's words, which typer words itself, or a fault of ours."""
    words = getattr(error, "format_message", None)
    if words is not None:
        path = getattr(getattr(error, "ctx", None), "command_path", "wearvision")
        told = " ".join(words().split()).replace("Value error, ", "").rstrip(".")
        say(f"wearvision: {told}; see {path} --help")
        return int(getattr(error, "exit_code", 2))
    if os.environ.get("WEARVISION_DEBUG"):
        raise error
    text = " ".join(f"{type(error).__name__}: {error}".split())
    say(f"wearvision: internal error: {text}; set WEARVISION_DEBUG=1 and report it")
    return 1


def say(text: str) -> None:
    """Talk to the person: stderr. Where nobody listens any more, that is no error."""
    try:
        print(plain(text), file=sys.stderr, flush=True)
    except OSError:
        _mute(sys.stderr)


def put(text: str) -> None:
    """Data: stdout, one line or more.

    Raises
    ------
    BadInput
        When the disk behind stdout is full. A reader who left, as `head` does, ends the program quietly.
    """
    _out(plain(text))


def give(value: Any) -> None:
    """Data: stdout, one line of JSON; ASCII only where stdout is no UTF-8."""
    utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    _out(json.dumps(value, ensure_ascii=not utf8, allow_nan=False, separators=(",", ":")))


def ask(prompt: str) -> str:
    """One line from the person; the prompt goes to stderr, so that stdout holds data alone."""
    print(plain(prompt), end="", file=sys.stderr, flush=True)
    return input()


def plain(text: str) -> str:
    """The text with control characters spelt out, so that no name of a file or a part steers the terminal."""
    odd = {c for c in text if c != "\n" and unicodedata.category(c) == "Cc"}
    return text.translate({ord(c): c.encode("unicode_escape").decode("ascii") for c in odd})


def _out(text: str) -> None:
    try:
        print(text, flush=True)
    except BrokenPipeError:
        _mute(sys.stdout)
        raise SystemExit(0) from None
    except OSError as error:
        _mute(sys.stdout)
        raise BadInput("the output cannot be written", got=error.strerror, do="free some disk space") from None


def _mute(stream: TextIO) -> None:
    """Send what a stream still holds nowhere, or flushing it at the end would fail again."""
    with suppress(OSError, ValueError):  # no file behind it
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
