"""Plots: everything inside its frame, true to scale, told without colour, the same on screen, paper and terminal."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO
from xml.etree import ElementTree

import pymupdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.platypus import SimpleDocTemplate

from wearvision.errors import BadInput
from wearvision.pages.pdf_page import register_fonts
from wearvision.pages.plots import (
    HEIGHT,
    INKS,
    REACH,
    WIDTH,
    Ahead,
    Dot,
    Mark,
    Plot,
    Stroke,
    Words,
    layout,
    plot_svg,
    tick_words,
    ticks,
)
from wearvision.pages.plots_pdf import PlotDrawing
from wearvision.pages.plots_text import GUTTER, plot_text

PLOT = Plot(
    alt="Depth <over> time", x_name="running hours, h", y_name="depth, mm",
    marks=(Mark(x=0, y=0.7, half=0.06), Mark(x=4000, y=1.2, half=0.06)), limits=((2.0, "limit 2 mm"),),
    line=((0, 0.7), (4000, 1.2)), ahead=Ahead(x=10400, y=2.0, low=9270, high=12260),
)  # fmt: skip


@st.composite
def plots(draw: st.DrawFn) -> Plot:
    """Any figures in order, with a line and a way ahead that may lie far away."""
    xs = sorted(draw(st.lists(st.floats(0, 1e6).map(lambda v: round(v, 1)), min_size=1, max_size=7, unique=True)))
    marks = tuple(
        Mark(x=x, y=draw(st.floats(0.001, 50)), half=draw(st.floats(0, 3)), counted=draw(st.booleans())) for x in xs
    )
    limits = tuple((draw(st.floats(0.01, 60)), "limit") for _ in range(draw(st.integers(0, 2))))
    if len(xs) < 2 or not limits or draw(st.booleans()):
        return replace(PLOT, marks=marks, limits=limits, line=None, ahead=None)
    line = ((xs[0], marks[0].y), (xs[-1], marks[-1].y))
    left = draw(st.floats(1, 1e7))
    ahead = Ahead(x=xs[-1] + left, y=limits[0][0], low=xs[-1] + left / 3 - 5, high=xs[-1] + left * 4)
    return replace(PLOT, marks=marks, limits=limits, line=line, ahead=draw(st.sampled_from([None, ahead])))


@settings(max_examples=150)
@given(plots())
def test_every_stroke_and_dot_lies_inside_the_frame(plot: Plot) -> None:
    for shape in layout(plot):
        if isinstance(shape, Stroke):
            assert all(-0.01 <= x <= WIDTH + 0.01 for x in (shape.x1, shape.x2))
            assert all(-0.01 <= y <= HEIGHT + 0.01 for y in (shape.y1, shape.y2))
        else:
            assert -0.01 <= shape.x <= WIDTH + 0.01
            assert -0.01 <= shape.y <= HEIGHT + 12


@settings(max_examples=60)
@given(plots(), st.integers(20, 90), st.integers(6, 20))
def test_the_terminal_keeps_its_width(plot: Plot, columns: int, rows: int) -> None:
    text = plot_text(replace(plot, x_name="t, h"), columns=columns, rows=rows).splitlines()
    assert len(text) == rows + 5
    assert all(len(line) <= columns + GUTTER + 9 for line in text[:-1])
    assert sum(line.count("●") + line.count("○") for line in text[1:-1]) >= 1


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e6))
def test_ticks_are_round_and_cover_the_range(low: float, span: float) -> None:
    found = ticks(low, low + span)
    assert 2 <= len(found) <= 7
    step = found[1] - found[0]
    assert f"{step:.0e}"[0] in "125"
    assert low - 1e-6 * span <= found[0] < low + step
    assert low + span - step < found[-1] <= low + span * (1 + 1e-6)


def test_tick_words_have_the_places_their_step_needs() -> None:
    assert tick_words((0.0, 0.5, 1.0)) == ("0.0", "0.5", "1.0")
    assert tick_words((0.0, 5000.0, 10000.0)) == ("0", "5\u2009000", "10\u2009000")
    assert tick_words((0.0, 0.02)) == ("0.00", "0.02")


def test_the_line_meets_the_limit_where_it_is_said_to() -> None:
    """Same scale for all: from the two dots the place of x 10400, y 2.0 follows; the dotted line ends there."""
    shapes = layout(PLOT)
    (x1, y1), (x2, y2) = ((d.x, d.y) for d in shapes if isinstance(d, Dot))
    expected = (x1 + (x2 - x1) * 10400 / 4000, y1 + (y2 - y1) * (2.0 - 0.7) / 0.5)
    ahead = next(s for s in shapes if isinstance(s, Stroke) and s.ink == "accent" and s.dash)
    assert (ahead.x2, ahead.y2) == pytest.approx(expected)
    bar = next(s for s in shapes if isinstance(s, Stroke) and s.width > 3)
    assert (bar.x1 - x1) / (x2 - x1) == pytest.approx(9270 / 4000)
    assert (bar.x2 - x1) / (x2 - x1) == pytest.approx(12260 / 4000)


def test_a_far_limit_does_not_crush_the_figures() -> None:
    far = replace(PLOT, ahead=Ahead(x=400000, y=2.0, low=300000, high=900000))
    assert far.x_range[1] < 4000 * (1 + REACH) * 1.2


def test_nothing_is_told_by_colour_alone() -> None:
    shapes = layout(replace(PLOT, marks=(replace(PLOT.marks[0], counted=False), PLOT.marks[1])))
    assert [d.hollow for d in shapes if isinstance(d, Dot)] == [True, False]
    limit = [s for s in shapes if isinstance(s, Stroke) and s.ink == "limit"]
    assert all(s.dash for s in limit)
    words = [s.text for s in shapes if isinstance(s, Words)]
    assert {"limit 2 mm", "depth, mm", "running hours, h", "0.70", "1.20"} <= set(words)


def contrast(colour: str) -> float:
    """Contrast against white, WCAG 2.2, relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


def test_words_can_be_read() -> None:
    """4.5 : 1 for text, WCAG 2.2, 1.4.3."""
    assert all(contrast(INKS[ink]) >= 4.5 for ink in ("ink", "soft", "accent", "limit"))


def test_svg_is_sound_names_itself_and_escapes() -> None:
    svg = ElementTree.fromstring(str(plot_svg(PLOT)))
    assert svg.get("role") == "img"
    assert svg.get("aria-label") == "Depth <over> time"
    evil = plot_svg(replace(PLOT, alt='"><script>', limits=((2.0, "<b>limit</b>"),)))
    assert "<script" not in evil
    assert "<b>" not in evil
    ElementTree.fromstring(str(evil))


def test_paper_shows_the_same_words() -> None:
    register_fonts()
    out = BytesIO()
    SimpleDocTemplate(out).build([PlotDrawing(PLOT, 380)])
    text = re.sub(r"\s+", " ", pymupdf.open(stream=out.getvalue()).load_page(0).get_text())
    for words in ("limit 2 mm", "depth, mm", "running hours, h", "0.70", "10 000"):
        assert words in text


def test_the_terminal_shows_figures_interval_line_limit_and_when_they_meet() -> None:
    text = plot_text(PLOT)
    assert text.splitlines()[0] == "depth, mm"
    for letter in "●│·═-":
        assert letter in text
    assert "limit 2 mm" in text
    assert "running hours, h" in text


def test_a_lower_limit_is_named_below_it() -> None:
    plot = replace(PLOT, limits=((0.5, "lower limit"),), ahead=None)
    words = next(w for w in layout(plot) if isinstance(w, Words) and w.text == "lower limit")
    stroke = next(s for s in layout(plot) if isinstance(s, Stroke) and s.ink == "limit")
    assert words.y > stroke.y1
    assert words.anchor == "end"


def test_a_plot_of_nothing_is_refused() -> None:
    with pytest.raises(BadInput):
        replace(PLOT, marks=())
