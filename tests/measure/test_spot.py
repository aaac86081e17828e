"""The window around a box: its places, the lay, the sound surface carried over, the pieces of a mask."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import binary_fill_holes, label

from tests.measure.spot_kit import metal, spot
from wearvision.measure.believe import MODEL, contrast, odds_of, settle, solid
from wearvision.measure.spot import SIDE, core, terms, window_of


@pytest.mark.parametrize("box", [(100.0, 90, 160, 130), (30.5, 20.5, 330, 280), (170.0, 140, 182, 155)])
def test_cells_and_photo_are_inverse_and_the_box_is_where_it_was(box: tuple[float, float, float, float]) -> None:
    window = window_of(metal(0).clip(0, 255).astype(np.uint8), box)
    corners = np.array([[box[0], box[1]], [box[2], box[3]]])
    np.testing.assert_allclose(window.photo(window.cells(corners)), corners, atol=1e-9)
    middle = np.rint(window.cells(corners.mean(axis=0, keepdims=True))).astype(int)[0]
    assert abs(window.across[middle[1], middle[0]]) < 0.05
    assert abs(window.down[middle[1], middle[0]]) < 0.05
    assert int((window.reach <= 1).sum()) == pytest.approx(SIDE**2, rel=0.03)


@pytest.mark.parametrize("box", [(100.3, 90, 160, 130), (40.0, 30, 300, 260)])
def test_grey_values_are_those_of_the_place(box: tuple[float, float, float, float]) -> None:
    row, column = np.mgrid[:300, :360]
    window = window_of((0.3 * column + 0.4 * row).astype(np.uint8), box)
    at = window.photo(np.argwhere(window.reach < 0.9)[:, ::-1].astype(float))
    told = window.grey[window.reach < 0.9]
    assert np.median(told - (at @ [0.3, 0.4])) == pytest.approx(-0.5, abs=0.15)  # cut off to whole grey values
    assert abs(told - (at @ [0.3, 0.4]) + 0.5).max() < 1.2


@pytest.mark.parametrize("lay_deg", [-60.0, 0.0, 15.0, 45.0, 85.0])
def test_rows_run_along_the_lay(lay_deg: float) -> None:
    window = window_of(metal(1, lay_deg).clip(0, 255).astype(np.uint8), (140.0, 120, 220, 180))
    along = window.to_photo[:, 0] / window.cell_px
    off = np.degrees(np.arctan2(along[1], along[0])) - lay_deg
    assert abs((off + 90) % 180 - 90) < 3


def test_sound_metal_is_carried_over_along_its_lay() -> None:
    clean = window_of(metal(4).clip(0, 255).astype(np.uint8), (140.0, 110, 215, 190))
    assert clean.noise < 8  # the bands themselves spread over some 20 grey values
    pit = window_of(spot(4).gray, (140.0, 110, 215, 190))
    inside = pit.reach < 0.5
    assert (pit.sound - pit.grey)[inside].mean() > 25


def test_the_core_is_the_ellipse_of_a_belief() -> None:
    window = window_of(metal(2).clip(0, 255).astype(np.uint8), (100.0, 100, 200, 160))
    true = ((window.across - 0.2) / 0.6) ** 2 + ((window.down + 0.1) / 0.3) ** 2
    # second moments of a full ellipse are a quarter of its squared half axes
    np.testing.assert_allclose(core(window, (true <= 1).astype(float)), np.minimum(true, 4), rtol=0.05, atol=0.02)


def test_solid_agrees_with_scipy() -> None:
    dice = np.random.default_rng(3)
    for _ in range(20):
        mask = dice.random((30, 40)) < 0.55
        pieces, count = label(mask)
        sizes = [(pieces == i).sum() for i in range(1, count + 1)]
        want = binary_fill_holes(pieces == 1 + int(np.argmax(sizes)))
        got = solid(mask)
        if sizes.count(max(sizes)) == 1:
            np.testing.assert_array_equal(got, want)
    assert not solid(np.zeros((5, 5), dtype=bool)).any()


def test_solid_takes_the_piece_that_holds_a_point() -> None:
    mask = np.zeros((20, 30), dtype=bool)
    mask[2:12, 2:12] = True
    mask[14:18, 20:26] = True
    assert solid(mask, np.array([[22.0, 15.0]])).sum() == 24
    assert not solid(mask, np.array([[28.0, 2.0]])).any()


def test_neighbours_settle_doubts_and_leave_what_is_sure() -> None:
    drawn = spot(5)
    window = window_of(drawn.gray, tuple(drawn.box))
    odds = np.full(window.grey.shape, -1.0)
    assert (settle(window, odds) <= odds).all()
    odds[10, 10] = 0.5
    assert settle(window, odds)[10, 10] < 0
    odds[10, 10] = 20.0
    assert settle(window, odds)[10, 10] > 10


def test_contrast_tells_a_pit_from_sound_metal() -> None:
    seen = []
    for picture in (spot(6).gray, metal(6).clip(0, 255).astype(np.uint8)):
        window = window_of(picture, (142.0, 115, 215, 190))
        found = terms(window)
        inside = solid(settle(window, odds_of(window, found, MODEL)) > 0)
        seen.append(contrast(found, inside, MODEL))
    assert seen[0] > 3
    assert seen[1] < seen[0] - 1
    assert contrast(found, np.zeros_like(inside), MODEL) == 0
