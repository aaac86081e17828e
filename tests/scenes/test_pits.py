"""Scoring of snapped pits: reading photos with masks, fitting, judging."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage.draw import polygon2mask

from tests.measure.spot_kit import spot
from wearvision.errors import BadInput
from wearvision.measure.believe import belief, evidence
from wearvision.measure.spot import SEEN
from wearvision.scenes.__main__ import main
from wearvision.scenes.pit_fit import Pit, examples, fit, read_pits
from wearvision.scenes.pit_score import filled, grab_cut, iou, rough_boxes, score, table


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("pits")
    for seed in range(3):
        drawn = spot(seed, size=18.0 + 4 * seed)
        cv2.imwrite(str(out / f"spot_{seed}.png"), drawn.gray)
        cv2.imwrite(str(out / f"spot_{seed}_mask.png"), drawn.inside.astype(np.uint8) * 255)
    return out


@pytest.fixture(scope="module")
def pits(folder: Path) -> list[Pit]:
    return read_pits(folder)


def test_pits_are_read_with_their_boxes(pits: list[Pit]) -> None:
    assert [p.photo for p in pits] == ["spot_0", "spot_1", "spot_2"]
    for seed, pit in enumerate(pits):
        drawn = spot(seed, size=18.0 + 4 * seed)
        np.testing.assert_array_equal(pit.mask, drawn.inside)
        np.testing.assert_allclose(pit.box_px, drawn.box)


def test_a_folder_without_masks_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="NAME_mask"):
        read_pits(tmp_path)


def test_boxes_are_the_same_every_time_and_rough(pits: list[Pit]) -> None:
    one, two = rough_boxes(pits[0]), rough_boxes(pits[0])
    assert one == two
    exact = np.array(one["exact"][0])
    wide, high = exact[2] - exact[0], exact[3] - exact[1]
    off = np.abs(np.array(one["jittered"]) - exact) / [wide, high, wide, high]
    assert 0.05 < off.max() <= 0.15
    assert (np.array(one["loose"])[:, 2] - np.array(one["loose"])[:, 0]).mean() > 1.15 * wide


def test_filled_agrees_with_scikit_image() -> None:
    dice = np.random.default_rng(5)
    turn = np.sort(dice.uniform(0, 2 * np.pi, 30))
    outline = np.column_stack([30 + 20 * np.cos(turn), 25 + 15 * np.sin(turn)])
    want = polygon2mask((50, 60), outline[:, ::-1])
    assert iou(filled(outline, (50, 60)), want) > 0.97


def test_stock_grab_cut_stays_in_its_box(pits: list[Pit]) -> None:
    x0, y0, x1, y1 = pits[0].box_px
    row, column = np.nonzero(grab_cut(pits[0].gray, pits[0].box_px))
    if len(row):
        assert column.min() > x0 - 1
        assert column.max() < x1 + 1
        assert row.min() > y0 - 1
        assert row.max() < y1 + 1


def test_a_fit_to_others_beats_the_blind_ellipse(pits: list[Pit]) -> None:
    rows, sound = score(pits)
    for kind in ("jittered", "loose"):
        ours, blind = (np.mean([getattr(r, name)[kind] for r in rows]) for name in ("snapped", "ellipse"))
        assert ours > blind + 0.1
    assert np.mean([r.taps for r in rows]) > 0.7
    assert np.mean(sound) < 0.5
    text = table(rows, sound)
    assert "mean over photos" in text
    assert "spot_2" in text


def test_a_fit_tells_as_much_wear_as_there_is(pits: list[Pit]) -> None:
    """The mean of a logistic fit with a free constant is that of what it was fitted to (score equation)."""
    seen = examples(pits)
    model = fit(seen)
    cells = [e.window.reach < SEEN for e in seen]
    told = np.mean([belief(evidence(e.found, model.first))[c].mean() for e, c in zip(seen, cells, strict=True)])
    true = np.mean([e.truth[c].mean() for e, c in zip(seen, cells, strict=True)])
    assert told == pytest.approx(true, rel=0.03)
    assert model.second["core"] < 0 < model.second["darkest"]


def test_the_command_prints_a_model_or_a_table(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pits", str(folder), "--fit"]) == 0
    assert "core" in capsys.readouterr().out
    assert main(["pits", str(folder), "--built-in"]) == 0
    assert "mean over pits" in capsys.readouterr().out
