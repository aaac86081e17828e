"""The clearances of a pump as tables for the terminal; readable from 80 columns on."""

from __future__ import annotations

from collections.abc import Iterable

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table as Grid
from rich.text import Text

from wearvision.app.clearance import Clearances, Table, amount
from wearvision.pages.effects import blocked_rows, effect_rows, facts_of


def print_clearances(found: Clearances) -> None:
    """Print the tables, what follows from them, the effects and the follow-up list to stdout."""
    console = Console(highlight=False, soft_wrap=False)
    pump = found.pump
    console.print(Text(f"{pump.tag}  {pump.name}".rstrip(), style="bold"))
    for table in found.tables:
        _table(console, table)
    if found.both_rings:
        console.print(Text(found.both_rings, style="bold"))
    _effects(console, found)
    waiting = tuple((fact, f"for {figures}") for fact, figures in blocked_rows(found.effects))
    _list(console, "To state in the pump file for more", waiting)
    _list(console, "Not known yet", (("-", line) for line in found.missing))
    _list(console, "Judged", (("-", line) for line in found.judged))
    _list(console, "To follow up", (("-", line) for line in found.follow_ups))
    _list(console, "Questions", (("-", line) for line in found.questions))


def _table(console: Console, table: Table) -> None:
    grid = _grid(table.title, "", ">mm, 95 %", "held against", "")
    for line in table.lines:
        grid.add_row(line.label, amount(line), line.limit, Text(line.word, style=_style(line.word)))
    console.print(grid)
    for sentence in table.advice:
        console.print(Padding(Text(sentence, style="bold"), (0, 0, 0, 2)))
    labels: dict[str, list[str]] = {}
    for line in table.lines:
        if line.note:
            labels.setdefault(line.note, []).append(line.label)
    console.print(_hanging(((" and ".join(names), note) for note, names in labels.items()), style="dim"))


def _effects(console: Console, found: Clearances) -> None:
    rows = effect_rows(found.effects, found.directions)
    if not rows:
        return
    grid = _grid("What reuse costs: ranges, never one figure", "", "", ">from", ">to", "unit")
    for row in rows:
        grid.add_row(Text(f"[{row.number}]"), row.title, row.low, row.high, row.unit)
    console.print(grid)
    how = [(f"[{row.number}]", row.how) for row in rows]
    console.print(_hanging([*how, ("Facts", f"{'; '.join(facts_of(found.effects))}.")], style="dim"))


def _grid(title: str, *columns: str) -> Grid:
    """A table; a column led by `>` is set flush right."""
    grid = Grid(title=title, title_justify="left", title_style="bold", box=box.SIMPLE, pad_edge=False, expand=False)
    for column in columns:
        grid.add_column(column.removeprefix(">"), justify="right" if column.startswith(">") else "left")
    return grid


def _hanging(rows: Iterable[tuple[str, str]], style: str = "") -> Grid:
    """A word or two, and what is said of it beside them, wrapped in a column of its own."""
    grid = Grid.grid(padding=(0, 1), pad_edge=True)
    grid.add_column(max_width=40)
    grid.add_column()
    for head, text in rows:
        grid.add_row(Text(head, style=style), Text(text, style=style))
    return grid


def _style(word: str) -> str:
    return {"beyond": "bold red", "undecided": "bold yellow"}.get(word, "")


def _list(console: Console, title: str, rows: Iterable[tuple[str, str]]) -> None:
    every = list(rows)
    if every:
        console.print(Text(f"\n{title}", style="bold"))
        console.print(_hanging(every))
