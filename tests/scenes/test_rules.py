"""Drawn rules: what is drawn lies where the truth says."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.scenes.rule_marks import Rule, Scale, face_bitmap
from wearvision.scenes.rule_score import Outcome, table
from wearvision.scenes.rules import View, draw_none, draw_rule, lay

RULE = Rule(
    scales=(Scale(unit="mm", lengths_mm=(3.0, 4.0, 5.5), width_mm=0.2),), length_mm=60.0, width_mm=20.0, metal=0.7,
    ink=0.1, wear=0.0, jitter_mm=0.0, stretch=0.0, seed=1,
)  # fmt: skip


def view(tilt_deg: float = 25.0, k1: float = 0.02) -> View:
    rotation = np.asarray(cv2.Rodrigues(np.radians(tilt_deg) * np.array([0.6, 0.8, 0.0]))[0])
    shift = np.array([-28.0, -9.0, 75.0])
    return View(size_px=(900, 600), focal_px=800.0, k1=k1, rotation=rotation, shift=shift)


def test_pixels_and_millimetres_are_inverse() -> None:
    there = np.random.default_rng(1).uniform(0, 60, (40, 2))
    np.testing.assert_allclose(view().to_mm(view().to_px(there)), there, atol=1e-6)


def test_marks_of_the_bitmap_lie_at_whole_millimetres() -> None:
    face, cover = face_bitmap(RULE, 40.0)
    row = face[int(3.5 * 40)]
    dark = RULE.metal - row[80:2480]
    at = np.arange(2400) / 40 + 0.5 / 40
    for n in (7, 20, 41):
        near = np.abs(at - n) < 0.4
        assert float(np.average(at[near], weights=np.clip(dark[near] - 0.2, 0, None))) == pytest.approx(n, abs=0.01)
    assert cover[:, 1000].sum() / 40 == pytest.approx(20.0, abs=0.01)


def test_marks_of_the_photo_lie_where_the_camera_puts_them() -> None:
    image = lay(np.full((600, 900), 0.4, dtype=np.float32), RULE, view())
    x = np.arange(12, 50)
    for n in x:
        along = n + np.linspace(-0.45, 0.45, 91)
        px = view().to_px(np.column_stack([along, np.full(91, 1.5)])).astype(np.float32)
        grey = cv2.remap(image, px[None, :, 0], px[None, :, 1], cv2.INTER_LINEAR).ravel()
        weight = np.clip(np.median(grey) - grey - 0.1, 0, None)
        assert float(np.average(along, weights=weight)) == pytest.approx(n, abs=0.02)


def test_the_same_number_gives_the_same_photo() -> None:
    assert (draw_rule(3, 800).gray == draw_rule(3, 800).gray).all()
    assert draw_rule(3, 800).what == "in16" and draw_none(3, 800).rule is None


def test_the_table_counts_what_it_is_given() -> None:
    right = Outcome(seed=1, unit="mm", period_error=1e-4, period_u=1e-4)
    wrong = Outcome(seed=2, unit="in16", period_error=1.0)
    none = Outcome(seed=3, unit="in8", reason="no steel rule seen")
    words = table([right, wrong, none], ["", "grating as mm"])
    assert "rules 3, read 2 (66.7 %)" in words and "graduation mistaken: 1 2 (in16, +100 %)" in words
    assert "photos without a rule 2, false 1" in words and "not read, 1: no steel rule seen" in words
