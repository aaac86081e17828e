"""A step's shadow is no groove: drawn strips with the law of a cast shadow."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.evidence import evidence
from wearvision.measure.lips import Track, follow
from wearvision.measure.plane import Array
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.shadow import is_shadow
from wearvision.measure.unwrap import Strip

STEP_MM, RADIUS_MM = 0.07, 30.0
DEG = np.arange(720) * 0.5


def drawn(width_mm: Array, *, seed: int = 0, tone: float = 0.55) -> Strip:
    """A face with a dark line that begins at `RADIUS_MM` and is so wide at each half degree."""
    rng = np.random.default_rng(seed)
    low = 24.0 + STEP_MM * (np.arange(240) - 0.5)
    part = np.minimum(low + STEP_MM, RADIUS_MM + width_mm[:, None]) - np.maximum(low, RADIUS_MM)
    clean = 140 * (1 - (1 - tone) * np.clip(part / STEP_MM, 0, 1)) + 2 * np.sin(low * 2 * np.pi / 0.8)
    values = cv2.GaussianBlur(clean, (0, 0), sigmaX=1.1, sigmaY=0.1) + rng.normal(0, 3, part.shape)
    return Strip(
        values=values.astype(np.float32), valid=np.ones(part.shape, dtype=bool), centre_mm=np.zeros(2), first_deg=0.0,
        step_deg=0.5, start_mm=24.0, step_mm=STEP_MM, px_mm=0.1,
    )  # fmt: skip


def track_of(strip: Strip) -> tuple[Track, bool]:
    """The best mark of a strip, and whether it is taken for a shadow."""
    found = evidence(strip)
    track = follow(strip, found, find_ribbons(strip, found, max_width_mm=6.0, least=40.0)[0], blur_px=0.8)
    assert track is not None
    return track, is_shadow(track, strip, found.gray)


@pytest.mark.parametrize("lamp_deg", [90.0, 200.0])
def test_a_cast_shadow_is_told(lamp_deg: float) -> None:
    """A step of height h under a lamp at elevation e throws a shadow of h cos(turn) / tan(e): geometry."""
    height_mm, elevation_deg = 0.2, 15.0
    wide = height_mm / np.tan(np.radians(elevation_deg)) * np.cos(np.radians(DEG - lamp_deg))
    track, shadow = track_of(drawn(np.maximum(wide, 0.0)))
    assert 100 < track.deg[-1] - track.deg[0] < 200
    assert shadow


@pytest.mark.parametrize("arc_deg", [40.0, 170.0, 280.0])
def test_a_narrow_groove_stays(arc_deg: float) -> None:
    track, shadow = track_of(drawn(np.where(np.abs(DEG - 30 - arc_deg / 2) < arc_deg / 2, 0.6, 0.0)))
    assert track.deg[-1] - track.deg[0] == pytest.approx(arc_deg, abs=6)
    assert not shadow


def test_what_is_shorter_than_a_step_s_shadow_is_none_though_it_thins_out() -> None:
    track, shadow = track_of(drawn(np.maximum(0.7 * np.cos(np.radians(2.6 * np.clip(DEG - 150.0, -60, 60))), 0.0)))
    assert track.deg[-1] - track.deg[0] < 90
    assert not shadow


def test_a_line_all_the_way_round_is_no_shadow() -> None:
    track, shadow = track_of(drawn(np.full(720, 0.6)))
    assert track.full
    assert not shadow


def test_a_wide_groove_that_thins_out_stays() -> None:
    wide = 2.5 * np.cos(np.radians(DEG - 150.0))
    assert not track_of(drawn(np.maximum(wide, 0.0)))[1]


@pytest.mark.parametrize("thin_from", [100.0, 180.0])
def test_a_groove_that_thins_out_at_one_end_stays(thin_from: float) -> None:
    wide = 0.8 * np.clip((230.0 - DEG) / (230.0 - thin_from), 0.2, 1.0)
    track, shadow = track_of(drawn(np.where((DEG > 50) & (DEG < 230), wide, 0.0)))
    assert track.deg[-1] - track.deg[0] > 120
    assert not shadow


def test_a_narrow_groove_nearly_all_the_way_round_is_no_shadow() -> None:
    """No lamp shadows so much of a step, however its ends thin out."""
    wide = 0.6 * np.clip(np.minimum(DEG - 15, 345 - DEG) / 40, 0, 1)
    track, shadow = track_of(drawn(wide))
    assert track.deg[-1] - track.deg[0] > 300
    assert not shadow
