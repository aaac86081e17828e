"""Every path has its line."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.toml_lines import fault, line_of, load_toml

TEXT = '''# a comment with [brackets] and "quotes"
title = "a # b"
long = """
[not.a.table]
key = 1
""" # after
dotted.key = 2

[parts."C-1042"]
kind = 'casing'   # why = not
sizes = [
  1.5,  # first
  2.5,
]

[[criteria]]
id = "a"
limit = { value = 1, unit = "mm" }
bands = [
  { max = 1, grade = "A" },
  { max = 2, "odd key" = [ [1], [
     2] ] },
]
[criteria.deep]
x = 1
[[criteria]]
id = "b"
[[criteria.steps]]
n = 1
[[criteria.steps]]
n = 2
when = 1979-05-27 07:32:00
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2), (("long",), 3), (("dotted",), 7), (("dotted", "key"), 7),
        (("parts",), 9), (("parts", "C-1042"), 9), (("parts", "C-1042", "kind"), 10),
        (("parts", "C-1042", "sizes", 1), 13), (("criteria", 0, "id"), 17),
        (("criteria", 0, "limit", "unit"), 18), (("criteria", 0, "bands", 1, "max"), 21),
        (("criteria", 0, "bands", 1, "odd key", 1, 0), 22), (("criteria", 0, "deep", "x"), 25),
        (("criteria", 1), 26), (("criteria", 1, "steps", 1, "n"), 31),
        (("criteria", 1, "steps", 1, "when"), 32), (("criteria", 1, "not there"), 26),
        (("nothing",), 1), ((), 1),
    ],
)  # fmt: skip
def test_line_of(path: tuple[str | int, ...], line: int) -> None:
    tomllib.loads(TEXT)
    assert line_of(TEXT, path) == line


def test_lines_end_in_any_way_and_a_byte_order_mark_is_no_error() -> None:
    text = "\ufeff" + TEXT.replace("\n", "\r\n")
    assert load_toml(text, "x.toml")["criteria"][1]["steps"][1]["n"] == 2
    assert line_of(text, ("criteria", 1, "steps", 1, "n")) == 31


@pytest.mark.parametrize(
    ("text", "start"),
    [
        ("a = 1\nb = \n", "crate.toml:2: not TOML"), ("a = 1\na = 2\n", "crate.toml:2"),
        ("a = 1\nb = [1,\n", "crate.toml:2"), ("[a\n", "crate.toml:1"),
    ],
)  # fmt: skip
def test_broken_text_is_one_line_with_its_place(text: str, start: str) -> None:
    with pytest.raises(BadInput) as err:
        load_toml(text, "crate.toml")
    assert str(err.value).startswith(start)
    assert "\n" not in str(err.value)
    assert "(at " not in str(err.value)


def test_fault_names_the_place_and_suggests() -> None:
    errors = [{"type": "extra_forbidden", "loc": ("criteria", 0, "bandz"), "msg": "", "input": 1}]
    said = str(fault(TEXT, "r.toml", errors, ["bands", "id"]))
    assert said == "r.toml:16: unknown key criteria.0.bandz; did you mean bands?"
    errors = [{"type": "float_parsing", "loc": ("title",), "msg": "Input should be a number", "input": "x"}]
    assert str(fault(TEXT, "r.toml", errors)) == "r.toml:2: title: input should be a number (got 'x')"


# Values one per line, written by a writer of our own that counts its lines.

_KEYS = st.text(st.sampled_from('ab-é ."#[]='), min_size=1, max_size=4)
_LEAF = st.one_of(st.integers(-9, 9), st.booleans(), st.text(st.sampled_from("a'\"\\#]},=\n["), max_size=6))
_VALUE = st.recursive(
    _LEAF, lambda v: st.lists(v, max_size=3) | st.dictionaries(_KEYS, v, max_size=3), max_leaves=8
)


def _quote(text: str) -> str:
    for plain, escaped in (("\\", "\\\\"), ('"', '\\"'), ("\n", "\\n")):
        text = text.replace(plain, escaped)
    return f'"{text}"'


def _write(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"""\n{_quote(value)[1:-1]}"""' if "'" in value else _quote(value)
    if isinstance(value, list):
        return "[\n" + "".join(f"{_write(v)}, # , ] \n" for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_quote(k)} = {_write(v)}" for k, v in value.items()) + " }"
    return str(value)


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*path, key), inner
        yield from _paths(inner, (*path, key))


@given(st.dictionaries(_KEYS, _VALUE, min_size=1, max_size=4))
def test_every_leaf_of_any_document_is_on_its_line(document: dict[str, Any]) -> None:
    text = "".join(f"{_quote(k)} = {_write(v)}\n" for k, v in document.items())
    assert tomllib.loads(text) == document
    lines = text.split("\n")
    for path, value in _paths(document):
        line = line_of(text, path)
        shown = _write(value).split("\n")[0]
        assert shown in lines[line - 1]
