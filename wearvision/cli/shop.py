"""What the shop asks beyond one part: pumps, rebuilds, orders."""

from __future__ import annotations

from typing import Annotated

import typer

from wearvision.cli.options import CAUTION, DATA, OUT, By, Data, Json, Out, PumpFile, Rubric, Tag
from wearvision.talk import give, put, say


def clearance(
    pump: PumpFile,
    out: Out = OUT,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Running clearances of a pump and what reuse costs. Axial stack, ring pairs, effects as ranges; and its sheet."""
    from wearvision.app.clearance import clearances_of
    from wearvision.app.clearance_tables import write_pump_sheet
    from wearvision.app.clearance_words import print_clearances
    from wearvision.app.shop import now

    found = clearances_of(pump, data)
    give(found.to_json()) if as_json else print_clearances(found)
    say(f"sheet of the pump: {write_pump_sheet(found, out, now())}")
    say("The maker's manual and its table of settings rule over every figure here.")
    say(CAUTION)
    if found.needs_person:
        say("undecided or unanswered: a person is needed, see above")
        raise typer.Exit(4)


def history(
    tag: Tag,
    rpm: Annotated[float | None, typer.Option(help="Speed so far, rev/min; with --next-rpm.")] = None,
    next_rpm: Annotated[float | None, typer.Option(help="Speed to come: what it does to wear by slurry.")] = None,
    correct: Annotated[str, typer.Option(metavar="CRATE", help="Correct what was stated with this crate.")] = "",
    hours: Annotated[float | None, typer.Option(help="With --correct: hours run since new.")] = None,
    inspected_on: Annotated[str, typer.Option(help="With --correct: day it came out of service.")] = "",
    duty: Annotated[str, typer.Option(help="With --correct: duty since the inspection before.")] = "",
    by: By = "",
    reason: Annotated[str, typer.Option(help="With --correct: why; it stands on the record.")] = "",
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """How a part wears from one inspection to the next. Confirmed figures, wear rate, time left, plots."""
    from wearvision.app.history import correct_arrival, part_history
    from wearvision.app.history_words import print_history
    from wearvision.app.shop import now, open_shop

    with open_shop(data) as shop:
        if correct or hours is not None or inspected_on or duty:
            correct_arrival(shop, tag, correct, hours, inspected_on, duty, by=by, reason=reason, at=now())
        found = part_history(shop, tag, now_rpm=rpm, next_rpm=next_rpm)
    give(found.to_json()) if as_json else print_history(found)


def orders(
    crate: Annotated[str, typer.Option(help="Only this crate; else the latest inspection of every part.")] = "",
    out: Out = OUT,
    data: Data = DATA,
    rubric: Rubric = None,
    as_json: Json = False,
) -> None:
    """What to order and to rework, from confirmed verdicts. Also what is still open; as CSV and as a page."""
    from wearvision.app.orders import write_orders
    from wearvision.app.shop import now, open_shop

    with open_shop(data, rubric) as shop:
        made = write_orders(shop, out, now(), crate=crate)
    if as_json:
        give(made.to_json())
    for action, _, rows in made.model.groups() if not as_json else []:
        for row in rows:
            put(f"{action:7} {row.tag:14} {row.needed_by or '-':10} {'; '.join(row.missing[:2] or row.why)}")
    say(f"orders: {made.csv} and {made.html}")
