"""From marks to the plane: a camera of known pose looks at an even scale."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import prior_of
from wearvision.measure.rule.result import ACROSS, RuleScale
from wearvision.measure.rule.solve import CLASS_MM, FACE_MM, Sights, solve_rule
from wearvision.quantity import root_sum_square

SIZE = (2000, 1500)
FOCAL = 1560.0
F35 = FOCAL / np.sqrt(np.hypot(*SIZE) / 43.267 * 2000 / 36)


def camera(tilt_deg: float, about_deg: float, turn_deg: float, k1: float = 0.0) -> Plane:
    axis = np.radians(tilt_deg) * np.array([np.cos(np.radians(about_deg)), np.sin(np.radians(about_deg)), 0])
    rotation = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, np.radians(turn_deg)]))[0]
    theta = np.zeros(N)
    theta[:3] = cv2.Rodrigues(rotation)[0].ravel()
    theta[3:6] = 5.0, -8.0, 230.0
    theta[6:10] = np.log(FOCAL), k1, 999.5, 749.5
    return Plane(theta=theta, sources={}, size_px=SIZE, source="true")


def sights(true: Plane, noise_px: float = 0.0, seed: int = 0) -> Sights:
    x = np.arange(-60, 61.0)
    rng = np.random.default_rng(seed)
    at = np.array([-50.0, 0.0, 50.0])
    px = true.to_px(np.column_stack([x, np.full(len(x), 1.5)])) + rng.normal(0, noise_px, (len(x), 2))
    lean = [true.to_px(np.column_stack([at, np.full(3, y)])) for y in (1.5, 4.5)]
    return Sights(
        mark_px=px, mark_mm=x, lean_px=np.stack(lean, axis=1), lean_sd_px=0.15,
        foot_px=true.to_px(np.array([[-60.0, 0.0], [60.0, 0.0]])), foot_sd_px=0.2,
    )  # fmt: skip


def scale_of(plane: Plane, seen: Sights) -> RuleScale:
    return RuleScale(
        unit="mm", period_mm=1.0, marks_used=121, residual_px=0.1, ends_px=seen.mark_px[[0, -1]],
        band_px=np.zeros((4, 2)), at_px=seen.mark_px[60], plane=plane, partner=None, stated=False,
    )  # fmt: skip


def test_class_limits_of_a_hundred_millimetres() -> None:
    """UK SI 2016/1153: a + b L, L in metres rounded up: class I 0.2, class II 0.5, class III 1.0 mm up to a metre."""
    assert {k: round(a + b, 9) for k, (a, b) in CLASS_MM.items()} == {"I": 0.2, "II": 0.5, "III": 1.0}


@pytest.mark.parametrize(("tilt", "about"), [(0, 0), (20, 90), (30, 45), (35, 0), (35, 90)])
@pytest.mark.parametrize("turn", [10, 200])
def test_along_the_rule_the_scale_is_exact(tilt: float, about: float, turn: float) -> None:
    true = camera(tilt, about + turn, turn)
    seen = sights(true)
    solved = solve_rule(seen, SIZE, prior_of(SIZE, F35), -FACE_MM, "II")
    told = scale_of(solved.plane, seen)
    for at in seen.mark_px[[5, 60, 115]]:
        ends = np.vstack([at - 2 * told.along, at + 2 * told.along])
        right = np.linalg.norm(np.diff(true.to_mm(ends), axis=0)) / 4
        assert told.mm_per_px(at).value == pytest.approx(right, rel=2e-4)
        assert told.period_px(at) * right == pytest.approx(1.0, rel=2e-3)
    assert solved.used.all() and solved.residual_px < 0.05


def test_the_lens_is_told_from_the_marks() -> None:
    true = camera(15, 90, 0, k1=0.02)
    solved = solve_rule(sights(true), SIZE, prior_of(SIZE, F35), 0.0, "II")
    assert solved.plane.theta[7] == pytest.approx(0.02, abs=0.004)


def test_tilt_along_the_rule_is_seen_tilt_across_it_is_doubted() -> None:
    along, across = (
        solve_rule(sights(camera(25, about, 0), 0.08), SIZE, prior_of(SIZE, F35), 0.0, "II").plane for about in (90, 0)
    )
    assert along.tilt_deg == pytest.approx(25, abs=3)
    middle = np.array([999.5, 749.5])
    for plane in (along, across):
        told = scale_of(plane, sights(camera(0, 0, 0)))
        there, aside = (told.length(middle - d, middle + d) for d in (np.array([200.0, 0]), np.array([0, 200.0])))
        assert aside.u / aside.value > there.u / there.value
        assert aside.budget[ACROSS] > 0 and ACROSS not in told.mm_per_px().budget


def test_a_mark_misplaced_does_no_harm() -> None:
    true = camera(10, 30, 0)
    seen = sights(true, 0.05)
    moved = seen.mark_px.copy()
    moved[[10, 11, 12, 80]] += [3.0, 0.0]
    wrong = Sights(
        mark_px=moved, mark_mm=seen.mark_mm, lean_px=seen.lean_px, lean_sd_px=0.15, foot_px=seen.foot_px, foot_sd_px=0.2
    )
    told = scale_of(solve_rule(wrong, SIZE, prior_of(SIZE, F35), -FACE_MM, "II").plane, seen)
    ends = np.vstack([told.at_px - 2 * told.along, told.at_px + 2 * told.along])
    assert told.mm_per_px().value == pytest.approx(np.linalg.norm(np.diff(true.to_mm(ends), axis=0)) / 4, rel=3e-4)


def test_height_of_the_face_changes_the_scale_by_dz_over_z() -> None:
    """Facts of optics: a plane lower by dz at distance Z is seen dz/(Z + dz) smaller."""
    seen = sights(camera(0, 0, 0))
    low, high = (scale_of(solve_rule(seen, SIZE, prior_of(SIZE, F35), h, "II").plane, seen) for h in (-FACE_MM, 5.0))
    away = 5.0 + FACE_MM
    assert high.mm_per_px().value / low.mm_per_px().value == pytest.approx(1 + away / 230, rel=1e-3)


def test_budget_and_coverage_of_the_marks_alone() -> None:
    true = camera(22, 70, 15)
    hits = []
    for seed in range(60):
        seen = sights(true, 0.15, seed)
        told = scale_of(solve_rule(seen, SIZE, prior_of(SIZE, F35), -FACE_MM, "II").plane, seen)
        q = told.mm_per_px(np.array([999.5, 749.5]))
        ends = np.array([999.5, 749.5]) + 2 * np.outer([-1, 1], told.along)
        right = np.linalg.norm(np.diff(true.to_mm(ends), axis=0)) / 4
        own = root_sum_square(*(q.budget[k] for k in ("edge", "lens", "tilt")))
        hits.append(abs(q.value - right) < 1.96 * own)
        assert q.budget["rule"] / q.value == pytest.approx(0.5 / np.sqrt(3) / 120, rel=0.02)
        assert q.budget["height"] / q.value == pytest.approx(0.3 / true.distance_mm, rel=0.05)
    assert np.mean(hits) >= 0.88  # of 60: the 95 % interval has 57 +- 1.7
