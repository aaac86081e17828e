"""Where a key stands in a TOML text, so that a bad value is reported as `file:line`.

`tomllib` gives values without places, and a model's complaint names a path such as `criteria.0.limit`. The
scanner here walks a text that `tomllib` has already accepted and notes the line of every path, inline tables
and arrays included (TOML 1.0, https://toml.io/en/v1.0.0).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Generator, Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from wearvision.errors import BadInput

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r"""[ \t]*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)[ \t]*""")
_TEXT = re.compile(r'''"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\]|\\.)*"|\'[^\']*\'''', re.DOTALL)
_BARE = re.compile(r"[^,\]}\r\n#]+")
_AT = re.compile(r" ?\(at (?:line (\d+), column \d+|end of document)\)$")


def load_toml(text: str, source_name: str) -> dict[str, Any]:
    """The tables of a TOML text; a leading byte order mark is allowed.

    Raises
    ------
    BadInput
        When the text is not TOML, with `source_name:line`.
    """
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as err:
        at = _AT.search(str(err))
        line = int(at[1]) if at and at[1] else text.rstrip().count("\n") + 1
        why = _AT.sub("", str(err))
        raise BadInput(f"{source_name}:{line}: not TOML: {why}", do="correct that line") from None


def line_of(text: str, path: Sequence[str | int]) -> int:
    """Line, counted from 1, of the key at `path`, else of its nearest parent, else 1.

    Parameters
    ----------
    text : str
        A text that `load_toml` accepts.
    path : sequence of str or int
        Keys and, for arrays, indices counted from 0; a model's `loc` fits.
    """
    lines = _lines(text)
    here = tuple(path)
    while here and here not in lines:
        here = here[:-1]
    return lines.get(here, 1)


def fault(
    text: str, source_name: str, errors: Sequence[Mapping[str, Any]], known: Collection[str] = ()
) -> BadInput:
    """The first complaint of a model as one line with `file:line`.

    Parameters
    ----------
    text, source_name : str
    errors : sequence of mapping
        What pydantic's `ValidationError.errors()` returns.
    known : collection of str
        Key names to suggest from when a key is unknown.
    """
    first = errors[0]
    path = tuple(first["loc"])
    where = f"{source_name}:{line_of(text, path)}"
    name = ".".join(map(str, path)) or "the file"
    more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
    if first["type"] == "extra_forbidden":
        near = get_close_matches(str(path[-1]), [k for k in known if k != path[-1]], 1)
        names = f"use one of {', '.join(sorted(known))}" if known else ""
        do = f"did you mean {near[0]}?" if near else names
        return BadInput(f"{where}: unknown key {name}{more}", do=do)
    if first["type"] == "missing":
        return BadInput(f"{where}: {name} is missing{more}", do="add it")
    why = str(first["msg"]).removeprefix("Value error, ").partition(" or instance of ")[0]
    return BadInput(f"{where}: {name}: {why[:1].lower()}{why[1:]}{more}", got=first["input"])


def _lines(text: str) -> dict[Path, int]:
    """Line of every path of the text; tables that are only implied stand where they are first implied."""
    found: dict[Path, int] = {}
    for path, line in _statements(text.removeprefix("\ufeff")):
        for n in range(1, len(path) + 1):
            found.setdefault(path[:n], line)
    return found


def _statements(text: str) -> Iterator[tuple[Path, int]]:
    table: Path = ()
    last: dict[Path, int] = {}  # index of the newest element of each array of tables
    at = _skip(text, 0)
    while at < len(text):
        line = _line(text, at)
        if text.startswith("[[", at):
            keys, at = _keys(text, at + 2)
            table = (*_resolve(keys[:-1], last), keys[-1])
            last[table] = last.get(table, -1) + 1
            table = (*table, last[table])
            at += 2
        elif text[at] == "[":
            keys, at = _keys(text, at + 1)
            table = _resolve(keys, last)
            at += 1
        else:
            at = yield from _pair(text, at, table)
            at = _skip(text, at)
            continue
        yield table, line
        at = _skip(text, at)


def _resolve(keys: Sequence[str], last: Mapping[Path, int]) -> Path:
    path: Path = ()
    for key in keys:
        path = (*path, key)
        if path in last:
            path = (*path, last[path])
    return path


def _pair(text: str, at: int, table: Path) -> Generator[tuple[Path, int], None, int]:
    """Walk `key = value`; yields places and returns where the value ends."""
    line = _line(text, at)
    keys, at = _keys(text, at)
    path = (*table, *keys)
    yield path, line
    return (yield from _value(text, _skip(text, at + 1), path))


def _value(text: str, at: int, path: Path) -> Generator[tuple[Path, int], None, int]:
    if text[at] not in "[{":
        match = _TEXT.match(text, at) or _BARE.match(text, at)
        return match.end() if match else at + 1
    close, index = {"[": "]", "{": "}"}[text[at]], 0
    at = _skip(text, at + 1)
    while text[at] != close:
        if close == "]":
            yield (*path, index), _line(text, at)
            at = yield from _value(text, at, (*path, index))
        else:
            at = yield from _pair(text, at, path)
        index, at = index + 1, _skip(text, at)
        if text[at] == ",":
            at = _skip(text, at + 1)
    return at + 1


def _keys(text: str, at: int) -> tuple[list[str], int]:
    """Dotted key from `at`: its parts, unquoted, and where it ends."""
    keys: list[str] = []
    while match := _KEY.match(text, at):
        keys += tomllib.loads(f"{match[1]} = 0")
        at = match.end()
        if text[at : at + 1] != ".":
            break
        at += 1
    return keys, at


def _skip(text: str, at: int) -> int:
    match = _BLANK.match(text, at)
    return match.end() if match else at


def _line(text: str, at: int) -> int:
    return text.count("\n", 0, at) + 1
