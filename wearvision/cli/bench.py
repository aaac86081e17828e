"""From the bench sheet of a part over its readings to the verdict and the report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wearvision.cli.options import CAUTION, DATA, OUT, By, Data, Json, Out, Rubric, Tag
from wearvision.errors import UsageError
from wearvision.talk import ask, give, put, say


def sheet(
    tag: Tag,
    out: Out = OUT,
    data: Data = DATA,
    rubric: Rubric = None,
    mark: Annotated[Path | None, typer.Option(help="JSON file of marks on one photo: add, reshape, strike.")] = None,
    photo: Annotated[str, typer.Option(help="Photo the marks are for.")] = "",
    renew: Annotated[bool, typer.Option("--renew", help="New inspection: later photos, today's rubric.")] = False,
    by: By = "",
    reason: Annotated[str, typer.Option(help="Why readings that stand are set aside, with --renew.")] = "",
    as_json: Json = False,
) -> None:
    """Write the bench sheet of a part. It says where to gauge, how often, with what; --mark takes marks in first."""
    from wearvision.app.inspection import still_missing
    from wearvision.app.marking import lay_again, read_marks
    from wearvision.app.sheets import sheet_file, sheet_of, write_part
    from wearvision.app.shop import now, open_shop

    if photo and mark is None:
        raise UsageError("--photo names the photo that --mark is for", got=photo, do="add --mark, or leave it out")
    with open_shop(data, rubric) as shop:
        if mark is not None or renew:
            marks = read_marks(mark) if mark is not None else []
            lay_again(shop, tag, now(), photo=photo, marks=marks, renew=renew, by=by, reason=reason)
        write_part(shop, tag, out, now())
        record = shop.ledger.load(tag)
        public = sheet_of(record).public_json()
        still = still_missing(record)
    if as_json:
        give({**public, "missing": list(still)})
    else:
        for line in still:
            put(f"to do: {line}")
    say(f"sheet: {sheet_file(out, tag)}")


def read(
    tag: Tag,
    by: By = "",
    gauges: Annotated[Path | None, typer.Option(help="TOML file of the shop's gauges.")] = None,
    csv: Annotated[Path | None, typer.Option(help="CSV file of readings, instead of the prompts.")] = None,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Enter gauge readings and sight checks, one at a time. Enter commits; estimates open afterwards."""
    from wearvision.app.desk import read_csv, read_prompts
    from wearvision.app.shop import command

    if not by.strip() and csv is None:
        raise UsageError("nobody is named", do="add --by YOURNAME; it stands on the record")
    if csv is not None:
        state = read_csv(data, tag, csv, gauges, by)
    else:
        state = read_prompts(data, tag, gauges, by, say=say, ask=ask)
    for line in state.opened:
        say(line)
    if as_json:
        give(state.to_json())
    for line in state.missing[:5]:
        say(f"still to do: {line}")
    if state.missing:
        say(f"{len(state.missing)} entries missing; nothing is lost, go on any time")
        raise typer.Exit(4)
    say(f"complete; next: {command('verdict', tag, data)} --by NAME")


def verdict(tag: Tag, by: By = "", data: Data = DATA, as_json: Json = False) -> None:
    """Confirm a complete sheet in your name and show what follows. There is no verdict while a reading is missing."""
    from wearvision.app.judging import judge
    from wearvision.app.shop import command, now, open_shop

    with open_shop(data) as shop:
        found = judge(shop, tag, by, now())
    if as_json:
        give(found.to_json())
    else:
        put("\n".join(found.lines))
    if by.strip() and not found.fresh:
        say(f"the sheet of {tag} was confirmed before; nothing is changed by this")
    say(f"next: {command('report', tag, data)}")
    say(CAUTION)


def report(
    tag: Tag,
    out: Out = OUT,
    data: Data = DATA,
    pump: Annotated[Path | None, typer.Option(help="Pump file: adds clearances and what reuse costs.")] = None,
    as_json: Json = False,
) -> None:
    """Write the report of a part as PDF and HTML. Evidence, arithmetic, and the verdict when there is one."""
    from wearvision.app.reporting import write_report
    from wearvision.app.shop import now, open_shop

    with open_shop(data) as shop:
        html, pdf = write_report(shop, tag, out, now(), pump=pump)
        judged = shop.ledger.load(tag).confirmed is not None
    if as_json:
        give({"html": str(html), "pdf": str(pdf), "verdict": judged})
    say(f"report: {pdf} and {html}{'' if judged else ' (no verdict yet: it says what is missing)'}")
