"""Cards and tags to print, and what a caliper says of their bars."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from wearvision.cli.options import DATA, Data, Json
from wearvision.errors import UsageError
from wearvision.stated import CardSize, View
from wearvision.talk import give, say

Page = Literal["A4", "Letter"]



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
    """Print a scale card with its check bars, as vector PDF or PNG. With --check, keep their measured lengths."""
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
    say(f"wrote {out}: print at 100 %, glue flat, measure both 100 mm bars with a caliper, then")
    say(f"wearvision card --serial {made['serial']} --check ACROSS DOWN")


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
