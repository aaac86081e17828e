"""Photos into figures: some by hand, or a whole crate."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Annotated

import typer

from wearvision.cli.options import CAUTION, DATA, OUT, Data, Json, Out, Rubric
from wearvision.stated import CardSize, KnownRing, LightKind, PartKind, RuleClass, RuleUnit, ScaleSource, View
from wearvision.talk import STOPPED, give, put, say


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
        photos, facts, boards=board or [], marks=mark, overlay=overlay, rubric=rubric, data=data,
        on_preparing=_quiet_line(),
    )  # fmt: skip
    for result in results:
        if result.error is not None:
            say(f"wearvision: {result.error.line()}")
            worst = max(worst, result.error.exit_code) if worst != 4 else 4
        else:
            worst = 4 if not result.public["usable"] else worst
            give(result.public) if as_json else put(result.words)
    raise typer.Exit(worst)


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

    with open_shop(data, rubric, create=True) as shop, _progress(folder) as (told, preparing):
        end = run(
            folder, out, shop, now(), workers=workers, limit_s=limit, again=again, on_photo=told, on_preparing=preparing
        )
    if as_json:
        give(end.to_json())
    if end.stopped:
        say(f"{end.fresh} photos were measured before the stop")
        raise typer.Exit(STOPPED)
    say(end.words)
    if end.dropped:
        say(f"{end.dropped} results of an earlier run were torn or changed, and were measured again")
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


@contextmanager
def _progress(folder: Path) -> Iterator[tuple[Callable[[str, int], None], Callable[[], None]]]:
    """A progress bar on stderr, told of photos and of preparing; a quiet line when nobody watches."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from wearvision.app.preparing import words as preparing

    if not Console(stderr=True).is_terminal:
        yield lambda _name, _total: None, _quiet_line()
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"measuring {folder.name}", total=None)

        def told(name: str, total: int) -> None:
            bar.update(task, total=total, advance=1, description=f"measuring {name}")

        yield told, lambda: bar.update(task, description=preparing())


def _quiet_line() -> Callable[[], None]:
    """Says once that the measuring code is prepared."""
    from wearvision.app.preparing import words

    return cache(lambda: say(words()))
