from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.app.sheets import file_name
from wearvision.app.shop import USUAL_FOLDER, command
from wearvision.cli.options import DATA


@pytest.mark.parametrize("tag", ["C-1042", "P_7.2", "-x", "a" * 80])
def test_a_plain_tag_names_its_file(tag: str) -> None:
    assert file_name(tag) == tag


@given(st.lists(st.text(min_size=1, max_size=200), min_size=2, max_size=6, unique=True))
def test_no_two_tags_share_a_file_and_none_leads_elsewhere(tags: list[str]) -> None:
    names = [file_name(tag) for tag in tags]
    assert len(set(names)) == len(tags)
    for name in names:
        assert Path(name).name == name
        assert not name.startswith(".")
        assert len(f"report-{name}.html".encode()) < 255


@pytest.mark.parametrize(("one", "other"), [("A/B", "A_B"), ("A B", "A_B"), ("..", "__"), ("x" * 200, "x" * 199)])
def test_tags_that_look_alike_in_a_file_name_do_not_meet(one: str, other: str) -> None:
    assert file_name(one) != file_name(other)


def test_the_next_command_can_be_typed_as_it_stands() -> None:
    assert USUAL_FOLDER == DATA
    assert command("read", "C-1042", USUAL_FOLDER) == "wearvision read C-1042"
    assert command("read", "a'b c", Path("/data 2")) == "wearvision read 'a'\"'\"'b c' --data '/data 2'"
