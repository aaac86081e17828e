"""The history of a part as tables and plots: words for the terminal, the report and the screen alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wearvision.pages.plots import Plot
from wearvision.pages.report import TableView

COLUMNS = ("Inspection", "Date", ">Running hours", ">Figure, mm", "Decision", "In the rate")
SHARES = (0.30, 0.15, 0.15, 0.18, 0.12, 0.10)


@dataclass(frozen=True, kw_only=True)
class HistoryRow:
    """One inspection of one criterion, as text."""

    crate: str
    duty: str
    day: str
    hours: str
    figure: str
    word: str
    counted: bool

    @property
    def cells(self) -> tuple[str, ...]:
        """Under `COLUMNS`; the duty stands below the crate."""
        name = f"{self.crate}\n{self.duty}" if self.duty else self.crate
        return (name, self.day, self.hours, self.figure, self.word, "yes" if self.counted else "no")


@dataclass(frozen=True, kw_only=True)
class HistoryView:
    """One criterion over the inspections of a part.

    Attributes
    ----------
    title, limit : str
    rows : tuple of HistoryRow
    said : tuple of str
        Rate and time left in sentences, or why there is none.
    notes : tuple of str
        What it rests on and leaves out.
    plot : Plot or None
        `None` with a single inspection.
    """

    title: str
    limit: str
    rows: tuple[HistoryRow, ...]
    said: tuple[str, ...]
    notes: tuple[str, ...]
    plot: Plot | None = None

    @property
    def table(self) -> TableView:
        """As a section of the report."""
        return TableView(
            title=f"History: {self.title}", columns=COLUMNS, rows=tuple(r.cells for r in self.rows), said=self.said,
            note=f"Confirmed readings only; limit {self.limit}.", notes=self.notes, shares=SHARES, plot=self.plot,
        )  # fmt: skip


def step_of(low: float, high: float) -> float:
    """Step to round a time to: the second digit of the distance between its bounds."""
    return 10.0 ** (math.floor(math.log10(high - low)) - 1) if high > low else 1.0


def count_words(value: float, step: float) -> str:
    """A number rounded to a step, thousands set apart by a space that does not break."""
    places = max(0, -round(math.log10(step)))
    return f"{round(value / step) * step:,.{places}f}".replace(",", "\u00a0")


def bounds_words(low: float, high: float) -> str:
    """Two bounds rounded outward, `5 200 to 8 300`; a lower one below nought reads `0`."""
    step = step_of(low, high)
    down, up = max(0.0, math.floor(low / step) * step), math.ceil(high / step) * step
    return f"{count_words(down, step)} to {count_words(up, step)}"
