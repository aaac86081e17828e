"""A bench in a folder: a ledger with sheets, as the use cases meet it; no photo is measured unless a test asks."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from tests import frames_kit
from tests import sheet_kit as kit
from wearvision.app.crate_work import measure_crate_photo
from wearvision.app.inspection import read_gauges, tasks
from wearvision.app.intake import Intake, Part
from wearvision.app.rubrics import rubric_folder
from wearvision.app.shop import Shop, now, open_shop
from wearvision.crates.crate import read_crate
from wearvision.finding import Finding
from wearvision.rules.entry import Log
from wearvision.rules.reading import Instrument
from wearvision.rules.sheet import PrefilledSheet, prefill

TAG = "C-1042"
AT = now()
LATER = datetime(2099, 1, 1, tzinfo=UTC)


@contextmanager
def bench(folder: Path) -> Iterator[Shop]:
    """The data folder `wearvision-data` of a bench in `folder`."""
    with open_shop(folder / "wearvision-data", create=True) as shop:
        yield shop


def lay(shop: Shop, *findings: Finding, tag: str = TAG) -> PrefilledSheet:
    """A casing with a sheet, its photo known by name only."""
    shop.ledger.receive(tag, "casing", "Trial crate", AT)
    sheet = prefill(kit.rubric(), tag, [(kit.SHA, f) for f in findings], photos={kit.SHA: "wear-face"})
    shop.ledger.begin(sheet, AT)
    return sheet


def gauges(folder: Path) -> dict[str, Instrument]:
    """The shop's gauges, by serial."""
    path = folder / "gauges.toml"
    path.write_text(frames_kit.GAUGES, encoding="utf-8")
    return read_gauges(path)


def rows(sheet: PrefilledSheet, typed: str = "0.30 mm", **other: str) -> list[str]:
    """CSV lines that fill a sheet: one reading everywhere, unless told otherwise as `p3="6 mm"`; checks pass."""
    lines = ["point,reading,gauge,zero_checked,criterion,check,answer,how"]
    for task in tasks(sheet, Log()):
        if task.point is not None and task.criterion.readings is not None:
            gauge = "DG-07" if "dial depth gauge" in task.criterion.readings.gauges else "FG-02"
            lines.append(f"{task.point.number},{other.get(f'p{task.point.number}', typed)},{gauge},yes,,,,")
        elif task.sight is not None:
            answer = next(a for a, outcome in task.sight.answers.items() if outcome == "pass")
            lines.append(f',,,,{task.criterion.id},{task.sight.id},"{answer}","{task.sight.how[0]}"')
    return lines


def tear_out(data: Path, tag: str) -> None:
    """Take all rows of a part out of the table, past its guards: the other parts look untouched."""
    with closing(sqlite3.connect(data / "ledger.sqlite3")) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f"DROP TRIGGER {name}")
        base.execute("DELETE FROM events WHERE tag = ?", (tag,))
        base.commit()


def take_in(shop: Shop, crate_folder: Path) -> Intake:
    """Every photo of a crate measured here, without a pool, and taken in."""
    crate = read_crate(crate_folder)
    done = [(p, {"done": measure_crate_photo(p, rubric=rubric_folder(shop.rubric))}) for p in crate.photos]
    intake = Intake(crate=crate, shop=shop, at=now(), aside=list(crate.refused))
    parts: list[Part] = intake.sort(done)
    for part in parts:
        intake.keep(part)
    return intake
