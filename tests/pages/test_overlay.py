"""Marks on a photo: where they land, what they leave visible, how they differ."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from wearvision.errors import BadInput
from wearvision.finding import KINDS, Finding
from wearvision.pages.overlay import (
    COLOURS,
    MAX_LABELS,
    GaugePoint,
    OverlayModel,
    crop_at_point,
    draw,
    jpeg,
    legend_entries,
    scale_bar,
)
from wearvision.pages.overlay_ink import dashes, edges_outside, font, outside
from wearvision.pages.overlay_places import Places


def ring(x: float, y: float, radius: float, n: int = 60) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.stack([x + radius * np.cos(t), y + radius * np.sin(t)], axis=1)


def found(name: str = "P1", x: float = 400.0, y: float = 300.0, radius: float = 60.0, **more: object) -> Finding:
    return Finding(id=name, kind="pit", outline_px=ring(x, y, radius), quantities={}, **more)  # type: ignore[arg-type] # keyword bag of a test


def grey(height: int = 600, width: int = 800, level: int = 120) -> np.ndarray:
    return np.full((height, width, 3), level, dtype=np.uint8)


def near(image: np.ndarray, colour: tuple[int, int, int]) -> np.ndarray:
    return (np.abs(image.astype(int) - colour) <= 40).all(axis=2)


def test_the_outline_lies_just_outside_the_edge_and_leaves_the_inside_alone() -> None:
    done = draw(grey(), OverlayModel(scale=1.0, findings=(found(),), labels={}), legend=False)
    rows, cols = np.nonzero(near(done, COLOURS["pit"]))
    radius = np.hypot(cols - 400, rows - 300)
    assert 60 < radius.mean() < 66
    inside = np.hypot(*np.indices((600, 800))[::-1] - np.array([400, 300])[:, None, None]) < 55
    assert (done[inside] == 120).all()


def test_the_input_is_left_as_it_was() -> None:
    rgb = grey()
    draw(rgb, OverlayModel(scale=1.0, findings=(found(),)))
    assert (rgb == 120).all()


@settings(max_examples=40)
@given(
    scale=st.floats(0.05, 4), x=st.floats(0, 4000), y=st.floats(0, 3000),
    origin=st.tuples(st.floats(0, 500), st.floats(0, 500)),
)  # fmt: skip
def test_photo_pixels_map_by_their_centres(scale: float, x: float, y: float, origin: tuple[float, float]) -> None:
    model = OverlayModel(scale=scale, origin_px=origin)
    shown = model.to_display(np.array([[x, y]]))[0]
    # edges of a pixel lie half a pixel from its centre, in the photo as on the display
    assert shown + 0.5 == pytest.approx((np.array([x + 0.5, y + 0.5]) - origin) * scale, abs=1e-6)


def test_a_gauge_spot_stays_visible_and_its_number_lies_beside_it() -> None:
    points = tuple(GaugePoint(number=i + 1, x_px=x, y_px=y) for i, (x, y) in enumerate(ring(400, 300, 150, 8)))
    rgb = grey()
    done = draw(rgb, OverlayModel(scale=1.0, findings=(found(),), points=points), legend=False)
    assert (done != rgb).any()
    for point in points:
        x, y = round(point.x_px), round(point.y_px)
        assert (done[y - 2 : y + 3, x - 2 : x + 3] == 120).all(), point


def test_no_number_covers_the_card() -> None:
    card = np.array([[60.0, 60], [340, 60], [340, 260], [60, 260]])
    spots = (GaugePoint(number=1, x_px=352, y_px=100), GaugePoint(number=2, x_px=352, y_px=200))
    done = draw(grey(), OverlayModel(scale=1.0, card_px=card, points=spots), legend=False)
    assert (done[80:240, 80:320] == 120).all()


def test_faint_is_dashed_and_struck_is_grey() -> None:
    def coloured(finding: Finding) -> int:
        model = OverlayModel(scale=1.0, findings=(finding,), labels={})
        return int(near(draw(grey(), model, legend=False), COLOURS["pit"]).sum())

    whole = coloured(found())
    assert 0.3 * whole < coloured(found(flags=("faint",))) < 0.8 * whole
    assert coloured(found(struck="a scratch of the wire brush")) == 0


def test_the_legend_names_what_is_drawn() -> None:
    model = OverlayModel(
        scale=1.0, findings=(found("P1"), found("P2", flags=("faint",)), found("P3", struck="dirt")),
        points=(GaugePoint(number=1, x_px=10, y_px=10),), circles_px=(ring(400, 300, 250),),
    )  # fmt: skip
    words = [entry[0] for entry in legend_entries(model)]
    assert words == ["pit (2)", "faint: look closely", "struck by a person", "gauge here", "face"]
    assert draw(grey(), model).shape[0] > 600
    assert draw(grey(), model, legend=False).shape == (600, 800, 3)


@given(st.floats(0.005, 5.0), st.floats(0.05, 2.0), st.integers(200, 3000))
def test_the_scale_bar_has_the_length_it_says(mm_per_px: float, scale: float, width: int) -> None:
    bar = scale_bar(OverlayModel(scale=scale, mm_per_px=mm_per_px), width)
    if bar is not None:
        words, length = bar
        assert length <= width / 4
        assert length * mm_per_px / scale == pytest.approx(float(words.removesuffix(" mm")))


def test_no_scale_no_bar() -> None:
    assert scale_bar(OverlayModel(scale=1.0), 800) is None


def test_a_close_up_shows_the_same_place_larger() -> None:
    rgb = grey(900, 1200)
    rgb[290:310, 390:410] = (200, 30, 30)
    point = GaugePoint(number=3, x_px=400.0, y_px=300.0)
    model = OverlayModel(scale=1.0, findings=(found(radius=80.0),), labels={}, points=(point,), mm_per_px=0.1)
    close = crop_at_point(rgb, model, 3, side_mm=24.0, width_px=720)
    assert close.shape == (720, 720, 3)
    rows, cols = np.nonzero(near(close, (200, 30, 30)))
    assert rows.mean() == pytest.approx(359.5, abs=2)
    assert cols.mean() == pytest.approx(359.5, abs=2)
    assert np.ptp(rows) == pytest.approx(20 * 720 / 240, rel=0.1)
    corner = replace(model, points=(GaugePoint(number=3, x_px=1199.0, y_px=0.0),))
    assert crop_at_point(rgb, corner, 3, width_px=300).shape == (300, 300, 3)


def test_an_unknown_mark_is_refused() -> None:
    model = OverlayModel(scale=1.0, findings=(found(),))
    with pytest.raises(BadInput, match="7"):
        crop_at_point(grey(), model, 7)
    with pytest.raises(BadInput, match="8-bit"):
        draw(grey().astype(np.float32), model)
    with pytest.raises(BadInput, match="scale"):
        OverlayModel(scale=0.0)


def test_many_pits_are_outlined_but_few_are_labelled() -> None:
    pits = tuple(found(f"P{i}", 60 + 35 * (i % 20), 60 + 90 * (i // 20), 8) for i in range(100))
    done = draw(grey(), OverlayModel(scale=1.0, findings=pits), legend=False)
    # yellow under-lines of the tags are wider than any pit's outline
    runs = sum("1" * 14 in "".join("1" if v else "0" for v in row) for row in near(done, COLOURS["pit"]))
    assert 0 < runs <= MAX_LABELS * 6


def test_marks_outside_the_picture_do_no_harm() -> None:
    far = (found("P1", -900, -900), found("P2", 5000, 5000))
    points = (GaugePoint(number=1, x_px=-50, y_px=9000),)
    assert (draw(grey(), OverlayModel(scale=1.0, findings=far, points=points), legend=False) == 120).all()


@pytest.mark.parametrize("size", [(24, 32), (60, 400), (400, 60)])
def test_a_tiny_picture_is_drawn_without_complaint(size: tuple[int, int]) -> None:
    model = OverlayModel(
        scale=0.05, findings=(found(), found("P2", 100, 100)), points=(GaugePoint(number=12, x_px=200, y_px=200),),
        mm_per_px=0.1, card_px=ring(100, 100, 50), circles_px=(ring(400, 300, 250), ring(400, 300, 100)),
    )  # fmt: skip
    assert draw(grey(*size), model).shape[1] == size[1]
    assert draw(grey(*size), model, legend=False).shape == (*size, 3)


@settings(max_examples=25)
@given(st.lists(st.tuples(st.floats(30, 770), st.floats(30, 570)), min_size=1, max_size=12))
def test_boxes_never_overlap_while_there_is_room(spots: list[tuple[float, float]]) -> None:
    places = Places((600, 800))
    taken = [places.take((40.0, 24.0), np.array([spot]), nearest=30.0) for spot in spots]
    for i, a in enumerate(taken):
        assert 20 <= a[0] <= 780
        assert 12 <= a[1] <= 588
        for b in taken[:i]:
            assert abs(a[0] - b[0]) >= 40 or abs(a[1] - b[1]) >= 24


def test_dashes_cover_their_share_and_an_outline_grows_by_what_is_asked() -> None:
    pieces = dashes(ring(0, 0, 100, 400), on=10.0, off=10.0)
    length = sum(float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in pieces)
    assert length == pytest.approx(np.pi * 100, rel=0.05)  # half of the circumference
    for way in (1, -1):  # either direction of travel
        grown = outside(ring(0, 0, 100, 400)[::way], 5.0)
        assert np.hypot(*grown.T) == pytest.approx(105, abs=0.3)


def test_every_kind_has_a_colour_and_the_font_has_its_letters() -> None:
    assert set(COLOURS) == set(KINDS)
    blank = font(40).getmask("\uffff").getbbox()
    for letter in "±°0123456789.mGPx":
        assert font(40).getmask(letter).getbbox() != blank, letter


def test_jpeg_carries_no_metadata() -> None:
    image = Image.open(BytesIO(jpeg(grey())))
    assert image.format == "JPEG"
    assert image.size == (800, 600)
    assert not image.getexif()


def test_a_ring_is_two_lines_without_a_seam_each_off_the_metal() -> None:
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    inner, outer = (200 + r * np.column_stack([np.cos(turn), np.sin(turn)]) for r in (50.0, 90.0))
    seamed = np.vstack([inner, inner[:1], outer[::-1], outer[-1:]])
    lines = edges_outside(seamed, 2.0)
    assert len(lines) == 2
    for line, radius in zip(lines, (48.0, 92.0), strict=True):
        assert np.hypot(*(line - 200).T) == pytest.approx(radius, abs=0.2)
    assert len(edges_outside(outer, 2.0)) == 1
