"""Snapped outlines: drawn pits with known outlines; real ones are scored by `python -m wearvision.scenes pits`."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.spot_kit import SIZE, DrawnSpot, filled, iou, metal, spot
from wearvision.errors import BadInput
from wearvision.finding import FLAGS
from wearvision.measure.snap import Snapped, ellipse_in, grown, snap
from wearvision.quantity import Unmeasured

SEEDS = range(8)


def in_box(drawn: DrawnSpot, share: float) -> Snapped:
    found = snap(drawn.gray, box_px=np.array(grown(tuple(drawn.box), share)))
    assert isinstance(found, Snapped)
    return found


@pytest.mark.parametrize("share", [-0.05, 0.0, 0.15, 0.3])
def test_a_rough_box_gives_the_outline(share: float) -> None:
    got = [(drawn, in_box(drawn, share)) for drawn in map(spot, SEEDS)]
    assert all(found.snapped for _, found in got)
    told = [iou(filled(found.outline_px), drawn.inside) for drawn, found in got]
    blind = [iou(filled(ellipse_in(grown(tuple(d.box), share))), d.inside) for d, _ in got]
    assert np.mean(told) > 0.85
    assert np.min(told) > 0.75
    assert np.mean(told) > np.mean(blind) + (0.03 if share <= 0 else 0.2)


def test_taps_give_the_outline() -> None:
    for drawn in map(spot, SEEDS):
        taps = drawn.middle + np.array([[0.0, 0.0], [8.0, 3.0], [-6.0, 5.0]])
        found = snap(drawn.gray, taps_px=taps)
        assert isinstance(found, Snapped)
        assert found.flags == ("snapped",)
        assert iou(filled(found.outline_px), drawn.inside) > 0.75


def test_the_area_is_told_with_an_honest_interval() -> None:
    errors = []
    for drawn in map(spot, range(20)):
        found = in_box(drawn, 0.12)
        truth = float(drawn.inside.sum())
        errors.append((found.area_px - truth) / found.area_u_px)
        assert found.area_px == pytest.approx(float(filled(found.outline_px).sum()), rel=0.06)
        around = np.hypot(*(np.roll(found.outline_px, -1, axis=0) - found.outline_px).T).sum()
        assert found.rim_px * around == pytest.approx(found.area_u_px)
    assert np.mean(np.abs(errors) < 1.96) >= 0.9


def test_size_and_turn_of_the_picture_do_not_matter() -> None:
    drawn = spot(3)
    plain = filled(in_box(drawn, 0.1).outline_px)
    turned = np.ascontiguousarray(np.rot90(drawn.gray))  # (x, y) -> (y, width - 1 - x)
    x0, y0, x1, y1 = grown(tuple(drawn.box), 0.1)
    last = SIZE[1] - 1
    found = snap(turned, box_px=np.array([y0, last - x1, y1, last - x0]))
    assert isinstance(found, Snapped)
    back = np.column_stack([last - found.outline_px[:, 1], found.outline_px[:, 0]])
    assert iou(filled(back), plain) > 0.93
    large = np.kron(drawn.gray, np.ones((3, 3), dtype=np.uint8))
    found = snap(large, box_px=(np.array([x0, y0, x1, y1]) + 0.5) * 3 - 0.5)
    assert isinstance(found, Snapped)
    assert iou(filled((found.outline_px + 0.5) / 3 - 0.5), plain) > 0.93


def test_sound_metal_gives_the_ellipse_and_says_so() -> None:
    refused = 0
    for seed in SEEDS:
        found = snap(metal(seed).clip(0, 255).astype(np.uint8), box_px=np.array([150.0, 120, 220, 170]))
        assert isinstance(found, Snapped)
        if found.snapped:
            continue
        refused += 1
        assert found.flags == ("not-snapped",)
        assert found.area_px == pytest.approx(np.pi / 4 * 70 * 50)
        np.testing.assert_allclose(found.outline_px.mean(axis=0), [185, 145], atol=1e-9)
        assert found.area_u_px / found.area_px > 0.3
    assert refused >= 6


def test_a_flat_picture_is_neither_snapped_nor_found_by_taps() -> None:
    flat = np.full(SIZE, 128, dtype=np.uint8)
    found = snap(flat, box_px=np.array([100.0, 100, 160, 140]))
    assert isinstance(found, Snapped)
    assert not found.snapped
    tapped = snap(flat, taps_px=np.array([[100.0, 100.0]]))
    assert isinstance(tapped, Unmeasured)
    assert "outline" in tapped.hint


def test_a_box_that_runs_out_of_the_picture_is_cut() -> None:
    drawn = spot(1)
    column = int(drawn.middle[0])
    part = np.ascontiguousarray(drawn.gray[:, column:])
    x0, y0, x1, y1 = grown(tuple(drawn.box), 0.1)
    found = snap(part, box_px=np.array([x0 - column, y0, x1 - column, y1]))
    assert isinstance(found, Snapped)
    assert "cut-by-frame" in found.flags
    assert found.outline_px[:, 0].min() > -4


@pytest.mark.parametrize("size", [(8, 8), (7, 300), (40, 9)])
def test_tiny_pictures_do_not_break_it(size: tuple[int, int]) -> None:
    gray = np.random.default_rng(0).integers(0, 255, size).astype(np.uint8)
    found = snap(gray, box_px=np.array([-3.0, -2.0, 900.0, 700.0]))
    assert isinstance(found, Snapped)
    assert np.isfinite(found.outline_px).all()
    snap(gray, taps_px=np.array([[3.0, 3.0]]))


def test_a_whole_picture_as_the_box() -> None:
    found = snap(spot(2).gray, box_px=np.array([-0.5, -0.5, SIZE[1], SIZE[0]]))
    assert isinstance(found, Snapped)
    assert np.isfinite(found.outline_px).all()


@pytest.mark.parametrize(
    ("box", "word"),
    [
        ([400, 10, 500, 60], "outside"),
        ([-90, -90, -10, -10], "outside"),
        ([20, 20, 20, 60], "not a box"),
        ([60, 20, 20, 60], "not a box"),
        ([20, 20, 60], "not a box"),
        ([20, 20, np.nan, 60], "not a box"),
        ([20, 20, 24, 60], "too small"),
        ([-30, 20, 2, 60], "too small"),
    ],
)
def test_a_bad_box_says_what_is_wrong(box: list[float], word: str) -> None:
    with pytest.raises(BadInput, match=word):
        snap(spot(0).gray, box_px=np.array(box, dtype=float))


@pytest.mark.parametrize("taps", [[[400.0, 10]], [[100.0, 100], [-5, 3]], [[np.nan, 3]], []])
def test_bad_taps_say_what_is_wrong(taps: list[list[float]]) -> None:
    with pytest.raises(BadInput, match="tap"):
        snap(spot(0).gray, taps_px=np.array(taps, dtype=float))


def test_box_or_taps_not_both() -> None:
    with pytest.raises(BadInput, match="either"):
        snap(spot(0).gray)
    with pytest.raises(BadInput, match="either"):
        snap(spot(0).gray, box_px=np.array([1.0, 1, 50, 50]), taps_px=np.array([[5.0, 5]]))


def test_every_flag_has_its_sentence() -> None:
    assert {"snapped", "not-snapped", "cut-by-frame"} <= set(FLAGS)
