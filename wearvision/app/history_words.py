"""The history of a part at the terminal: tables, plots, sentences."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table as Grid
from rich.text import Text

from wearvision.app.history import PartHistory
from wearvision.pages.history import COLUMNS, HistoryView
from wearvision.pages.plots_text import COLUMNS as PLOT_COLUMNS
from wearvision.pages.plots_text import GUTTER, plot_text


def print_history(found: PartHistory) -> None:
    """Print every line with its plot to stdout."""
    console = Console(highlight=False, soft_wrap=False)
    console.print(Text(f"{found.tag}  {found.kind.replace('-', ' ')}", style="bold"))
    for note in found.notes:
        console.print(Text(note))
    for view in found.views:
        _view(console, view)


def _view(console: Console, view: HistoryView) -> None:
    grid = Grid(
        title=f"{view.title} (limit {view.limit})", title_justify="left", title_style="bold", box=box.SIMPLE,
        pad_edge=False, expand=False,
    )  # fmt: skip
    for name in COLUMNS:
        grid.add_column(name.removeprefix(">"), justify="right" if name.startswith(">") else "left")
    for row in view.rows:
        grid.add_row(*(Text(cell) for cell in row.cells))
    console.print(grid)
    if view.plot is not None:
        room = min(PLOT_COLUMNS, console.width - GUTTER - 1)
        console.print(Text(plot_text(view.plot, columns=max(20, room))), soft_wrap=True)
        console.print()
    for line in view.said:
        console.print(Text(f"  {line}", style="bold"))
    for line in view.notes:
        console.print(Text(f"  {line}", style="dim"))
