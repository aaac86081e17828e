"""The command line: one function per use case, no logic. Data to stdout, talk to stderr.

Exit codes: 0 done, 2 usage, 3 bad input, 4 needs a person (a retake, a missing reading), 5 a record does not
hold together. Every command takes `--json`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from wearvision import __version__
from wearvision.errors import UsageError
from wearvision.stated import CardSize, KnownRing, LightKind, PartKind, RuleClass, RuleUnit, ScaleSource, View
from wearvision.talk import STOPPED, ask, give, put, run, say

CAUTION = (
    "Before hands go in: isolate and lock out, drain residual fluid, mind sharp edges and lifting. The maker's manual, "
    "local codes and licensed practice come first."
)
app = typer.Typer(
    help="Wear grading for pump wet ends: the photo says where, the gauge how deep, a person decides.",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

Page = Literal["A4", "Letter"]

Data = Annotated[Path, typer.Option("--data", help="Data folder of this bench.", envvar="WEARVISION_DATA")]
DATA = Path("wearvision-data")
Out = Annotated[Path, typer.Option("--out", help="Folder for pages.")]
OUT = Path("wearvision-out")
Rubric = Annotated[Path | None, typer.Option("--rubric", help="Folder of rubrics instead of ours.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
By = Annotated[str, typer.Option("--by", help="Your name; it stands on the record.")]
Tag = Annotated[str, typer.Argument(help="Tag of the part.")]


def main() -> None:
    """Run the command line."""
    run(app)


@app.command()
def card(
    number: Annotated[int, typer.Argument(help="Card number, 0 to 4; different numbers may lie in one photo.")] = 0,
    size: Annotated[CardSize, typer.Option(help="small 10 mm squares, standard 15 mm, large 25 mm.")] = "standard",
    serial: Annotated[str, typer.Option(help="Serial of this print, 1 to 10 letters, digits, hyphens.")] = "",
    view: Annotated[View | None, typer.Option(help="View this card is for; a photo then files itself.")] = None,
    page: Annotated[Page, typer.Option(help="Paper.")] = "A4",
    out: Annotated[Path, typer.Option("--out", help="File to write, .pdf or .png.")] = Path("card.pdf"),
    tags: Annotated[
        list[str] | None, typer.Option(help="Print part tags to cut out; repeat, or part by commas.", metavar="TAG")
    ] = None,
    check: Annotated[
        tuple[float, float] | None,
        typer.Option(help="Print nothing; keep caliper lengths of both 100 mm bars, across and down.", metavar="MM MM"),
    ] = None,
    caliper_error: Annotated[float, typer.Option(help="Largest error of that caliper, mm.")] = 0.03,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Print a scale card (vector PDF, or PNG) with its check bars; with --check, keep their measured lengths."""
    from wearvision.app.cards import write_card, write_tags

    if tags:
        sheet = write_tags(out, tags, page)
        if as_json:
            give(sheet)
        say(f"wrote {out}: {len(sheet['tags'])} tags; cut them out and lay one beside its part in every photo")
        return
    if check is not None:
        _keep_check(serial, check, caliper_error, data, as_json)
        return
    made = write_card(out, number, size, serial, view, page)
    if as_json:
        give(made)
    say(f"wrote {out}: print at 100 %, glue flat, then measure the 100 mm bar with a caliper in both directions")


def _keep_check(serial: str, lengths: tuple[float, float], error_mm: float, data: Path, as_json: bool) -> None:
    """Keep the caliper readings of one card's bars."""
    from wearvision.app.bench import keep_print
    from wearvision.app.shop import now, open_shop

    if not serial:
        raise UsageError("no card is named", do="add --serial, it stands on the card")
    with open_shop(data, create=True) as shop:
        kept = keep_print(shop, serial, *lengths, error_mm, now())
    if as_json:
        give({"serial": serial.upper(), **vars(kept)})
    say(f"kept for card {serial.upper()}: {lengths[0]:g} mm across, {lengths[1]:g} mm down; photos of it use this now")


@app.command()
def measure(
    photos: Annotated[list[Path], typer.Argument(help="Photos.", metavar="PHOTO...")],
    kind: Annotated[PartKind | None, typer.Option(help="Part kind.")] = None,
    view: Annotated[View | None, typer.Option(help="What the photos show.")] = None,
    card_size: Annotated[CardSize | None, typer.Option(help="Size of the card, when its label cannot tell.")] = None,
    card_height: Annotated[float, typer.Option(help="Height of the card's support above the face, mm.")] = 0.0,
    check_bar: Annotated[
        list[float] | None, typer.Option(help="Caliper length of the card's 100 mm bar, mm; twice: across, then down.")
    ] = None,
    mm_per_px: Annotated[float | None, typer.Option(help="Stated scale, last resort without a card.")] = None,
    rule: Annotated[RuleUnit | None, typer.Option(help="Finest marks of a steel rule in view, without a card.")] = None,
    rule_class: Annotated[RuleClass, typer.Option(help="Accuracy class of that rule.")] = "II",
    known_diameter: Annotated[float | None, typer.Option(help="Caliper diameter of a turned circle, mm.")] = None,
    known_circle: Annotated[KnownRing, typer.Option(help="Which circle: rim or bore of the face.")] = "rim",
    two_points: Annotated[
        str | None, typer.Option(help="Two places, their distance: no tilt correction.", metavar="X1,Y1,X2,Y2,MM")
    ] = None,
    scale_from: Annotated[ScaleSource | None, typer.Option(help="Scale to use, instead of the best there is.")] = None,
    light: Annotated[
        LightKind | None, typer.Option(help="What crosses the face: a line of laser light or a straightedge's shadow.")
    ] = None,
    inner: Annotated[float | None, typer.Option(help="Inner diameter of the wear face, mm.")] = None,
    outer: Annotated[float | None, typer.Option(help="Outer diameter of the wear face, mm.")] = None,
    size: Annotated[
        list[str] | None,
        typer.Option(help="Another drawing size, such as vane_count=6 or land_width_mm=12; repeat.", metavar="NAME=MM"),
    ] = None,
    board: Annotated[list[Path] | None, typer.Option(help="TOML file of a board of yours; repeat for several.")] = None,
    mark: Annotated[Path | None, typer.Option(help="JSON file of your marks: add, reshape, strike.")] = None,
    overlay: Annotated[Path | None, typer.Option(help="Folder for overlay pictures.")] = None,
    rubric: Rubric = None,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Measure photos: scale, findings, doubts. One JSON object per photo with --json."""
    from wearvision.app.single import Facts, measure_files

    facts = Facts(
        kind=kind, view=view, card_size=card_size, card_height_mm=card_height,
        check_bar_mm=None if not check_bar else tuple(check_bar),
        mm_per_px=mm_per_px, rule=rule, rule_class=rule_class, inner_mm=inner, outer_mm=outer, sizes=size or (),
        known_diameter_mm=known_diameter, known_circle=known_circle, two_points=two_points, scale_from=scale_from,
        light_kind=light,
    )  # fmt: skip
    worst = 0
    results = measure_files(
        photos, facts, boards=board or [], marks=mark, overlay=overlay, rubric=rubric, data=data
    )
    for result in results:
        if result.error is not None:
            say(f"wearvision: {result.error.line()}")
            worst = max(worst, result.error.exit_code) if worst != 4 else 4
        else:
            worst = 4 if not result.public["usable"] else worst
            give(result.public) if as_json else put(result.words)
    raise typer.Exit(worst)


@app.command()
def triage(
    folder: Annotated[Path, typer.Argument(help="Crate: a folder of photos, one folder per part tag.")],
    out: Out = OUT,
    data: Data = DATA,
    rubric: Rubric = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes; all cores when left out.")] = None,
    limit: Annotated[float, typer.Option(min=1, help="Time limit for one photo, seconds.")] = 120.0,
    again: Annotated[bool, typer.Option("--again", help="Retry photos set aside for a fault.")] = False,
    as_json: Json = False,
) -> None:
    """Measure a crate, lay a sheet for each part, write the board. Run again to go on where it stopped."""
    from wearvision.app.shop import now, open_shop
    from wearvision.app.triage import triage as run

    with open_shop(data, rubric, create=True) as shop, _progress(folder) as told:
        end = run(folder, out, shop, now(), workers=workers, limit_s=limit, again=again, on_photo=told)
    if as_json:
        give(end.to_json())
    if end.stopped:
        say(f"{end.fresh} photos were measured before the stop")
        raise typer.Exit(STOPPED)
    say(f"{end.photos} photos of {end.parts} parts, {end.fresh} measured now; {end.retakes} to retake")
    if end.dropped:
        say(f"{end.dropped} torn lines of an earlier run were measured again")
    for name, why in end.aside:
        say(f"set aside: {name}: {why}")
    for tag, note in end.notes:
        say(f"note: {tag}: {note}")
    say(f"board: {end.board}   sheets: {out / 'sheets'}")
    if end.next_command:
        say(f"next, for the first part on the board: {end.next_command} --by YOURNAME --gauges GAUGES.toml")
    say(CAUTION)
    if not end.parts:  # everything is set aside: a person must look
        raise typer.Exit(4)


@app.command()
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
    """Write the bench sheet of a part: where to gauge, how often, with what. With --mark, take marks in first."""
    from wearvision.app.inspection import still_missing
    from wearvision.app.marking import lay_again, read_marks
    from wearvision.app.sheets import sheet_of, write_part
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
    say(f"sheet: {out / 'sheets'}")


@app.command()
def read(
    tag: Tag,
    by: By = "",
    gauges: Annotated[Path | None, typer.Option(help="TOML file of the shop's gauges.")] = None,
    csv: Annotated[Path | None, typer.Option(help="CSV file of readings, instead of the prompts.")] = None,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Enter gauge readings and sight checks, one at a time; Enter commits. Estimates open afterwards."""
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


@app.command()
def verdict(tag: Tag, by: By = "", data: Data = DATA, as_json: Json = False) -> None:
    """Confirm a complete sheet in your name and show what follows; no verdict while a reading is missing."""
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


@app.command()
def report(
    tag: Tag,
    out: Out = OUT,
    data: Data = DATA,
    pump: Annotated[Path | None, typer.Option(help="Pump file: adds clearances and what reuse costs.")] = None,
    as_json: Json = False,
) -> None:
    """Write the report of a part as PDF and HTML: evidence, arithmetic, and the verdict when there is one."""
    from wearvision.app.reporting import write_report
    from wearvision.app.shop import now, open_shop

    with open_shop(data) as shop:
        html, pdf = write_report(shop, tag, out, now(), pump=pump)
        judged = shop.ledger.load(tag).confirmed is not None
    if as_json:
        give({"html": str(html), "pdf": str(pdf), "verdict": judged})
    say(f"report: {pdf} and {html}{'' if judged else ' (no verdict yet: it says what is missing)'}")


@app.command()
def clearance(
    pump: Annotated[Path, typer.Argument(help="Pump file: gaps, rings, materials, duty.", metavar="PUMP.toml")],
    out: Out = OUT,
    data: Data = DATA,
    as_json: Json = False,
) -> None:
    """Running clearances of a pump and what reuse costs: axial stack, ring pairs, effects as ranges; and its sheet."""
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


@app.command()
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
    """How a part wears from one inspection to the next: confirmed figures, wear rate, time left, plots."""
    from wearvision.app.history import correct_arrival, part_history
    from wearvision.app.history_words import print_history
    from wearvision.app.shop import now, open_shop

    with open_shop(data) as shop:
        if correct or hours is not None or inspected_on or duty:
            correct_arrival(shop, tag, correct, hours, inspected_on, duty, by=by, reason=reason, at=now())
        found = part_history(shop, tag, now_rpm=rpm, next_rpm=next_rpm)
    give(found.to_json()) if as_json else print_history(found)


@app.command()
def orders(
    crate: Annotated[str, typer.Option(help="Only this crate; else the latest inspection of every part.")] = "",
    out: Out = OUT,
    data: Data = DATA,
    rubric: Rubric = None,
    as_json: Json = False,
) -> None:
    """What to order and to rework, from confirmed verdicts, and what is still open; as CSV and as a page."""
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


@app.command()
def check(
    data: Data = DATA, rubric: Rubric = None, as_json: Json = False,
    head: Annotated[str | None, typer.Option(help="Chain head printed on a report: the ledger must hold it.")] = None,
) -> None:
    """Check rubrics, installation, and that every stored byte is as it was written."""
    from wearvision.app.checkup import check as run

    lines = run(data, rubric, head)
    for line in lines:
        if as_json:
            give(vars(line))
        else:
            put(f"{'ok  ' if line.sound else 'BAD '} {line.what}: {line.found}")
    raise typer.Exit(max((line.exit_code for line in lines if not line.sound), default=0))


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="Archive to write.")], data: Data = DATA, as_json: Json = False
) -> None:
    """Write one consistent archive of ledger and photos."""
    from wearvision.app.keeping import backup as run

    made = run(data, file)
    if as_json:
        give(made)
    say(f"wrote {file}")


@app.command()
def restore(file: Annotated[Path, typer.Argument(help="Archive.")], data: Data = DATA, as_json: Json = False) -> None:
    """Restore an archive into a new data folder, and prove it."""
    from wearvision.app.keeping import restore as run

    made = run(file, data)
    if as_json:
        give(made)
    say(f"restored into {data}")


def _version(value: bool) -> None:
    if value:
        put(__version__)
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@contextmanager
def _progress(folder: Path) -> Iterator[Any]:
    """A progress bar on stderr; a quiet line when nobody watches."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    if not Console(stderr=True).is_terminal:
        yield lambda _name, _total: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"measuring {folder.name}", total=None)

        def told(name: str, total: int) -> None:
            bar.update(task, total=total, advance=1, description=f"measuring {name}")

        yield told
