"""The clearances of a pump as tables for the terminal."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table as Grid
from rich.text import Text

from wearvision.app.clearance import Clearances, Table, amount
from wearvision.pages.effects import blocked_rows, effect_rows


def print_clearances(found: Clearances) -> None:
    """Print the tables, what follows from them, the effects and the follow-up list to stdout."""
    console = Console(highlight=False, soft_wrap=False)
    pump = found.pump
    console.print(Text(f"{pump.tag}  {pump.name}".rstrip(), style="bold"))
    for table in found.tables:
        _table(console, table)
    if found.both_rings:
        console.print(Text(found.both_rings))
    _effects(console, found)
    _list(console, "To follow up", found.follow_ups)
    _list(console, "Not known yet", found.missing)
    _list(console, "Questions", found.questions)


def _table(console: Console, table: Table) -> None:
    grid = _grid(table.title, "", "mm, 95 %", "held against", "")
    for line in table.lines:
        grid.add_row(line.label, amount(line), line.limit, Text(line.word, style=_style(line.word)))
    console.print(grid)
    for sentence in table.advice:
        console.print(Text(f"  {sentence}", style="bold"))
    for note in dict.fromkeys(f"{line.label}: {line.note}" for line in table.lines if line.note):
        console.print(Text(f"  {note}", style="dim"))


def _effects(console: Console, found: Clearances) -> None:
    rows = effect_rows(found.effects, found.directions)
    if rows:
        grid = _grid("What reuse costs: ranges, never one figure", "", "from", "to", "unit", "how")
        for row in rows:
            grid.add_row(row.title, row.low, row.high, row.unit, Text(f"[{row.number}]"))
        console.print(grid)
        for row in rows:
            console.print(Text(f"  [{row.number}] {row.how}", style="dim"))
    waiting = tuple(f"{fact}: for {figures}" for fact, figures in blocked_rows(found.effects))
    _list(console, "To state in the pump file for more", waiting)


def _grid(title: str, *columns: str) -> Grid:
    grid = Grid(title=title, title_justify="left", title_style="bold", box=box.SIMPLE, pad_edge=False, expand=False)
    for column in columns:
        grid.add_column(column, justify="right" if column in ("mm, 95 %", "from", "to") else "left")
    return grid


def _style(word: str) -> str:
    return {"beyond": "bold red", "undecided": "bold yellow"}.get(word, "")


def _list(console: Console, title: str, lines: tuple[str, ...]) -> None:
    if lines:
        console.print(Text(f"\n{title}", style="bold"))
        for line in lines:
            console.print(Text(f"  - {line}"))
