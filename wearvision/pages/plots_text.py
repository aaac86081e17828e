"""A plot at a terminal, in plain characters."""

from __future__ import annotations

from wearvision.pages.plots import Plot, tick_words, ticks

COLUMNS, ROWS = 60, 13
GUTTER = 8
KEY = "● figure, counted   ○ not counted   │ 95 % interval   · line   ═ when it meets the limit"


def plot_text(plot: Plot, *, columns: int = COLUMNS, rows: int = ROWS) -> str:
    """The plot as lines of text, `columns` wide beside the axis.

    Marks: `●` a figure the line rests on, `○` one it does not, `│` its 95 % interval, `·` the line, `-` a limit,
    `═` the 95 % interval of when the line meets it.
    """
    grid = _Grid(plot, columns, rows)
    for y, words in plot.limits:
        for x in range(columns):
            grid.put(x, grid.row(y), "-")
        start = 2 if y >= plot.marks[-1].y else columns - len(words) - 4
        for x, letter in enumerate(f" {words} ", start=start):
            grid.put(x, grid.row(y), letter)
    grid.draw_line()
    for mark in plot.marks:
        x = grid.column(mark.x)
        for row in range(grid.row(mark.y + mark.half), grid.row(mark.y - mark.half) + 1):
            grid.put(x, row, "│")
        grid.put(x, grid.row(mark.y), "●" if mark.counted else "○")
    return "\n".join([f"{plot.y_name}", *grid.lines(), *grid.foot(plot.x_name), KEY])


class _Grid:
    """Cells with their axes."""

    def __init__(self, plot: Plot, columns: int, rows: int) -> None:
        self.plot, self.columns, self.rows = plot, columns, rows
        (self.x0, self.x1), (self.y0, self.y1) = plot.x_range, plot.y_range
        self.cells = [[" "] * columns for _ in range(rows)]

    def column(self, x: float) -> int:
        return round((x - self.x0) / (self.x1 - self.x0) * (self.columns - 1))

    def row(self, y: float) -> int:
        return self.rows - 1 - round((y - self.y0) / (self.y1 - self.y0) * (self.rows - 1))

    def put(self, x: int, row: int, letter: str) -> None:
        if 0 <= x < self.columns and 0 <= row < self.rows:
            self.cells[row][x] = letter

    def draw_line(self) -> None:
        """Fitted part and way ahead, and the interval at the limit."""
        line, ahead = self.plot.line, self.plot.ahead
        if line is None:
            return
        (xa, ya), (xb, yb) = line
        slope = (yb - ya) / (xb - xa)
        end = min(ahead.x, self.x1) if ahead else xb
        for column in range(self.column(xa), self.column(end) + 1):
            x = self.x0 + column / (self.columns - 1) * (self.x1 - self.x0)
            self.put(column, self.row(ya + slope * (x - xa)), "·")
        if ahead:
            for column in range(self.column(max(ahead.low, self.x0)), self.column(min(ahead.high, self.x1)) + 1):
                self.put(column, self.row(ahead.y), "═")

    def lines(self) -> list[str]:
        """Rows with the words of the y axis."""
        values = ticks(self.y0, self.y1, 4)
        words = {self.row(v): w for v, w in zip(values, tick_words(values), strict=True)}
        return [
            f"{words.get(n, ''):>{GUTTER - 2}} {'┤' if n in words else '│'}{''.join(cells)}".rstrip()
            for n, cells in enumerate(self.cells)
        ]

    def foot(self, name: str) -> list[str]:
        """The x axis with its words."""
        values = ticks(self.x0, self.x1, 4)
        axis, words = ["─"] * self.columns, [" "] * (self.columns + 8)
        for value, text in zip(values, tick_words(values), strict=True):
            at = self.column(value)
            axis[at] = "┬"
            start = max(0, at - len(text) // 2)
            words[start : start + len(text)] = text.replace("\u2009", " ")
        pad = " " * (GUTTER - 1)
        return [f"{pad}└{''.join(axis)}", f"{pad} {''.join(words).rstrip()}", f"{pad} {name:>{self.columns}}"]
