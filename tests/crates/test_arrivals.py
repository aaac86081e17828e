"""Facts of arrival in `crate.toml`: for a part, or for all parts of the crate."""

from __future__ import annotations

from pathlib import Path

import pytest

from wearvision.arrival import Arrival
from wearvision.crates.crate import read_crate
from wearvision.errors import BadInput


def crate(folder: Path, text: str) -> Path:
    (folder / "C-1").mkdir()
    (folder / "C-1/a.jpg").write_bytes(b"\xff\xd8\xff\xe0 not really")
    (folder / "crate.toml").write_text(text, encoding="utf-8")
    return folder


def test_what_a_part_states_wins_over_the_crate(tmp_path: Path) -> None:
    found = read_crate(crate(tmp_path, """
        [crate]
        name = "Week 12"
        inspected_on = 2026-03-02
        needed_by = "2026-04-01"
        [parts."C-1"]
        kind = "casing"
        running_hours = 12000
        duty = "river water"
        needed_by = 2026-03-20
    """))  # fmt: skip
    assert found.arrival("C-1") == Arrival(
        crate="Week 12", running_hours=12000, inspected_on="2026-03-02", duty="river water", needed_by="2026-03-20"
    )
    assert found.arrival("X-9") == Arrival(crate="Week 12", inspected_on="2026-03-02", needed_by="2026-04-01")


def test_nothing_stated_leaves_the_crate_alone(tmp_path: Path) -> None:
    found = read_crate(crate(tmp_path, '[parts."C-1"]\nkind = "casing"\n'))
    assert found.arrival("C-1") == Arrival(crate=tmp_path.name)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("running_hours = -5", "running hours"),
        ('running_hours = "12000"', "running_hours"),
        ('inspected_on = "yesterday"', "not a date"),
        ("inspected_on = 2026-03-02T10:00:00", "inspected_on"),
        ("hours = 12000", "hours"),
    ],
)
def test_a_fact_that_cannot_be_is_named_with_its_line(tmp_path: Path, line: str, says: str) -> None:
    with pytest.raises(BadInput, match=rf"crate\.toml:3.*{says}"):
        read_crate(crate(tmp_path, f'[parts."C-1"]\nkind = "casing"\n{line}\n'))


def test_hours_belong_to_a_part_and_not_to_a_photo(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="running_hours"):
        read_crate(crate(tmp_path, '[photos."C-1/a.jpg"]\nrunning_hours = 5\n'))
