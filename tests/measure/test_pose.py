"""The solver: exact without noise, and its covariance against Monte Carlo."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.measure.drawn_board import STANDARD, Look, draw, plane_of
from wearvision.errors import BadInput
from wearvision.measure import adjust, paper, pose, prior
from wearvision.measure.board import BoardSpec
from wearvision.measure.plane import NAMES, Plane
from wearvision.measure.pose import from_stated_scale, solve
from wearvision.measure.prior import prior_of
from wearvision.measure.scale import Sighting, find_boards
from wearvision.quantity import Measured, Unmeasured
from wearvision.scenes.coverage import project

SIZE = (4000, 3000)
LOOK = Look(size_px=SIZE, square_px=150.0, tilt_deg=15.0, focal=0.74, shift_px=(-900.0, 300.0))
PLACES = np.array([[2000.0, 1500.0], [3300.0, 700.0], [3100.0, 2600.0], [1500.0, 900.0]])
FOCAL35 = 26.0


def seen(
    theta: np.ndarray, *, noise_px: float = 0.0, rng: np.random.Generator | None = None, pull_px: float = 0.0,
    spec: BoardSpec = STANDARD, own: dict[str, float] | None = None,
) -> Sighting:  # fmt: skip
    """A sighting made from numbers: corners of a board, misprinted and bent by `own`, through a known camera."""
    inner, marker = spec.inner_corners_mm(), spec.marker_corners_mm()
    mm = np.vstack([inner, marker.reshape(-1, 2)])
    middle = project(theta, np.repeat(marker.mean(axis=1), 4, axis=0))
    pull = middle - project(theta, mm[len(inner) :])
    pull = np.vstack([np.zeros_like(inner), pull / np.linalg.norm(pull, axis=1, keepdims=True)])
    sigma = np.concatenate([np.ones(len(inner)), np.full(len(mm) - len(inner), 1.2)])
    plain = Sighting(
        spec=spec, corners_px=np.zeros_like(mm), corners_mm=mm, ids=np.arange(len(mm)), sigma_rel=sigma,
        pull=pull, marker_count=spec.marker_count, inner_count=len(inner), homography=np.eye(3),
        edge_sigma_px=0.8, black=40.0, white=200.0, glare_share=0.0, in_view_share=1.0,
    )  # fmt: skip
    points = paper.points_of(plain)
    amount = np.array([(own or {}).get(name, 0.0) for name in paper.NUISANCE])
    printed = mm + points.fields @ amount[paper.FIELD_ROWS]
    px = project(theta, printed, points.lifts @ amount[paper.LIFT_ROWS]) + pull_px * pull
    if rng is not None:
        px = px + noise_px * sigma[:, None] * rng.standard_normal(px.shape)
    return replace(plain, corners_px=px)


def chance(rng: np.random.Generator, known: prior.Prior) -> dict[str, float]:
    """A board's own misprint and bend, drawn from what is held possible."""
    _, sd = paper.nuisance_prior(paper.points_of(seen(truth())), known.prints.grow[0], known.prints.stretch[0])
    own = dict(zip(paper.NUISANCE, (sd * rng.standard_normal(len(sd))).tolist(), strict=True))
    return {name: amount for name, amount in own.items() if name not in paper.PULLS}


def drawn_camera(rng: np.random.Generator, known: prior.Prior) -> np.ndarray:
    """A camera, print scale and height drawn from the priors."""
    theta = truth()
    spread = np.linalg.cholesky(np.linalg.inv(known.lens_precision))
    theta[adjust.LENS_ROWS] = known.lens + spread @ rng.standard_normal(5)
    theta[10] = known.prints.mean + known.prints.sd * rng.standard_normal()
    theta[11] = known.height_mm + known.height_sd_mm * rng.standard_normal()
    return theta


def solved(*args: object, **kwargs: object) -> Plane:
    plane = solve(*args, **kwargs)  # type: ignore[arg-type]  # plain pass-through
    assert isinstance(plane, Plane)
    return plane


def at_prior(plane: Plane) -> np.ndarray:
    """A pose with lens and height where the priors have them."""
    theta, known = np.array(plane.theta), prior_of(SIZE, FOCAL35, 100.0)
    theta[adjust.LENS_ROWS] = known.lens
    theta[10], theta[11] = 0.0, known.height_mm
    return theta


def truth(*, log_f: float | None = None) -> np.ndarray:
    """A camera whose unknowns sit on the priors' means."""
    theta = at_prior(plane_of(STANDARD, LOOK))
    if log_f is not None:
        theta[6] = log_f
    return theta


@pytest.mark.parametrize("roll_deg", [0.0, 90.0, 179.9, 180.0, -120.0])
@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, 50.0])
def test_exact_without_noise(roll_deg: float, tilt_deg: float) -> None:
    look = Look(size_px=SIZE, square_px=150.0, tilt_deg=tilt_deg, roll_deg=roll_deg)
    theta = at_prior(plane_of(STANDARD, look))
    plane = solved([seen(theta, pull_px=0.5)], size_px=SIZE, focal35_mm=FOCAL35)
    expected = Plane(theta=theta, sources={}, size_px=SIZE, source="card")
    np.testing.assert_allclose(plane.to_mm(PLACES), expected.to_mm(PLACES), atol=2e-3)


def test_sources_add_up_and_hold_no_negative_part() -> None:
    plane = solved([seen(truth(), noise_px=0.1, rng=np.random.default_rng(3))], size_px=SIZE)
    assert set(plane.sources) == {"corner", "lens", "print", "height", "paper"}
    for spread in plane.sources.values():
        scaled = spread / np.sqrt(np.outer(np.diag(plane.covariance), np.diag(plane.covariance)))
        value = np.linalg.eigvalsh(scaled)
        assert value.min() > -1e-9 * value.max()  # what rounding leaves of an inverse with a condition of 1e7
    assert plane.covariance[10, 10] == pytest.approx(prior.PRINT_SD**2)
    assert plane.covariance[11, 11] == pytest.approx(prior.HEIGHT_SD_MM**2)


def test_the_check_bar_scales_everything_exactly() -> None:
    sighting = seen(truth())
    plain = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35, check_bar_mm=100.0, card_height_mm=-0.3)
    longer = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35, check_bar_mm=99.2, card_height_mm=-0.3)
    np.testing.assert_allclose(longer.to_mm(PLACES), 0.992 * plain.to_mm(PLACES), rtol=1e-9)
    assert np.sqrt(plain.sources["print"][10, 10]) < np.sqrt(solved([sighting], size_px=SIZE).sources["print"][10, 10])


def test_a_bend_of_the_paper_is_followed() -> None:
    """A tilted card bent by ten times the prior's sigma: the bend is found, the plane stays right."""
    theta = truth()
    plane = solved([seen(theta, own={"bow_x": 0.4})], size_px=SIZE, focal35_mm=FOCAL35)
    real = Plane(theta=theta, sources={}, size_px=SIZE, source="truth")
    assert plane.bend_mm == pytest.approx(0.4, rel=0.15)
    np.testing.assert_allclose(plane.to_mm(PLACES), real.to_mm(PLACES), atol=0.3)


def test_the_stated_height_is_exact() -> None:
    sighting = seen(truth())
    level = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35, card_height_mm=0.0)
    raised = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35, card_height_mm=12.5)
    assert raised.distance_mm - level.distance_mm == pytest.approx(12.5, abs=1e-9)


def test_focal_prior_lies_midway_between_the_two_conversions() -> None:
    """26 mm on 4032 x 3024: 3028.7 px by diagonal, 2912.0 by width (facts 15d)."""
    known = prior_of((4032, 3024), 26.0)
    assert known.focal_px == pytest.approx(math.sqrt(3028.7 * 2912.0), rel=1e-4)
    for conversion in (3028.7, 2912.0):
        assert abs(math.log(conversion) - known.lens[0]) < known.lens_precision[0, 0] ** -0.5
    assert prior_of((3024, 4032), 26.0).lens[0] == pytest.approx(known.lens[0])


def test_bad_corners_are_dropped() -> None:
    sighting = seen(truth(), noise_px=0.1, rng=np.random.default_rng(5))
    clean = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35)
    px = sighting.corners_px.copy()
    px[[2, 9, 40, 60]] += [[9.0, -4.0], [-6.0, 6.0], [3.0, 3.0], [0.0, -30.0]]
    dirty = seen(truth())
    object.__setattr__(dirty, "corners_px", px)
    robust = solved([dirty], size_px=SIZE, focal35_mm=FOCAL35)
    assert robust.rms_px == pytest.approx(clean.rms_px, rel=0.1)
    np.testing.assert_allclose(robust.to_mm(PLACES), clean.to_mm(PLACES), atol=0.15)


def figures(plane: Plane) -> np.ndarray:
    """Three lengths, four positions and two scales, pixels fixed."""
    mm = plane.to_mm(PLACES)
    lengths = np.linalg.norm(mm[[0, 1, 0]] - mm[[1, 2, 3]], axis=1)
    step = np.array([1.0, 0.0])
    near = plane.to_mm(np.vstack([PLACES[:2] + step, PLACES[:2] - step]))
    return np.concatenate([lengths, mm[:2].ravel(), np.linalg.norm(near[:2] - near[2:], axis=1) / 2])


def test_closed_form_covariance_against_monte_carlo() -> None:
    """400 cameras drawn from the priors, corners with noise: claimed u is the scatter, within 10 %."""
    rng = np.random.default_rng(11)
    known = prior_of(SIZE, FOCAL35)
    scores = []
    for _ in range(400):
        theta = drawn_camera(rng, known)
        pull = paper.PULL_SD_PX * rng.standard_normal()
        sighting = seen(theta, noise_px=0.15, rng=rng, pull_px=pull, own=chance(rng, known))
        plane = solved([sighting], size_px=SIZE, focal35_mm=FOCAL35)
        value, parts = plane.propagate(figures)
        real = figures(Plane(theta=theta, sources={}, size_px=SIZE, source="truth"))
        scores.append((value - real) / np.sqrt(sum(u**2 for u in parts.values())))
    z = np.array(scores)
    spread = np.sqrt(np.mean(z**2, axis=0))
    assert np.all(np.abs(spread - 1) < 0.1), spread
    assert np.all(np.abs(z.mean(axis=0)) < 0.2)
    covered = float(np.mean(np.abs(z) < 1.96))
    assert 0.93 < covered < 0.97


def test_first_order_propagation_against_monte_carlo() -> None:
    """Closed form as in Criminisi, Reid and Zisserman, A plane measuring device, Image and Vision Computing 17 (1999;
    from memory): planes scattered as the corners' noise allows scatter lengths as told, within 5 %."""
    rng = np.random.default_rng(13)
    plane = solved([seen(truth(), noise_px=0.15, rng=rng)], size_px=SIZE, focal35_mm=FOCAL35)
    plane = replace(plane, sources={"corner": plane.sources["corner"]})
    told = plane.propagate(figures)[1]["corner"]
    steps = rng.multivariate_normal(np.zeros(len(plane.theta)), plane.covariance, 4000, method="eigh")
    found = np.array([figures(replace(plane, theta=plane.theta + step)) for step in steps])
    np.testing.assert_allclose(found.std(axis=0), told, rtol=0.05)


def test_from_photo_to_plane() -> None:
    """Drawn, found and solved: distances right within the claimed 95 %, all of it below 0.5 %."""
    look = Look(size_px=(1600, 1200), square_px=70.0, tilt_deg=20.0, k1=-0.02, shift_px=(-200.0, 100.0))
    real = plane_of(STANDARD, look)
    plane = solved(
        find_boards(draw(STANDARD, look), [STANDARD]), size_px=look.size_px, check_bar_mm=100.0,
        card_height_mm=-prior.PAPER_MM,
    )  # fmt: skip
    px = np.array([[800.0, 600.0], [1400.0, 300.0]])
    length, u = plane.propagate(lambda p: np.linalg.norm(np.diff(p.to_mm(px), axis=0), axis=1))
    truth_mm = float(np.linalg.norm(np.diff(real.to_mm(px), axis=0)))
    assert length[0] == pytest.approx(truth_mm, rel=0.005)
    assert abs(length[0] - truth_mm) < 1.96 * math.sqrt(sum(float(x[0]) ** 2 for x in u.values()))
    assert plane.source == "card"


def test_the_other_pose_of_a_flat_board_is_tried_too() -> None:
    """A small far board tilted 30 degrees: the mirrored start must not win."""
    look = Look(size_px=SIZE, square_px=40.0, tilt_deg=30.0, focal=0.74)
    theta = at_prior(plane_of(STANDARD, look))
    plane = solved([seen(theta, noise_px=0.05, rng=np.random.default_rng(8))], size_px=SIZE, focal35_mm=FOCAL35)
    np.testing.assert_allclose(plane.theta[:3], theta[:3], atol=0.05)


def test_what_cannot_be_solved_is_unmeasured_with_a_reason() -> None:
    nothing = solve([], size_px=SIZE)
    assert isinstance(nothing, Unmeasured)
    assert "card" in nothing.reason
    row = seen(truth())
    few = Sighting(**{
        **row.__dict__, "corners_px": row.corners_px[:5], "corners_mm": row.corners_mm[:5], "ids": row.ids[:5],
        "sigma_rel": row.sigma_rel[:5], "pull": row.pull[:5],
    })  # fmt: skip
    assert isinstance(solve([few], size_px=SIZE), Unmeasured)


def test_corners_on_one_line_are_unmeasured() -> None:
    row = seen(truth())
    line = Sighting(**{
        **row.__dict__, "corners_px": row.corners_px[:6], "corners_mm": row.corners_mm[:6], "ids": row.ids[:6],
        "sigma_rel": row.sigma_rel[:6], "pull": row.pull[:6],
    })  # fmt: skip
    assert np.ptp(line.corners_mm[:, 1]) == 0
    assert isinstance(solve([line], size_px=SIZE), Unmeasured)


def test_a_focal_length_of_nothing_is_refused() -> None:
    with pytest.raises(BadInput, match="35 mm focal"):
        solve([seen(truth())], size_px=SIZE, focal35_mm=0.0)


def test_a_stated_scale_is_a_frontal_plane_some_percent_uncertain() -> None:
    plane = from_stated_scale(0.12, (2000, 1500))
    scale = plane.mm_per_px(np.array([999.5, 749.5]))
    assert isinstance(scale, Measured)
    assert scale.value == pytest.approx(0.12)
    assert scale.u / scale.value == pytest.approx(pose.STATED_SCALE_SD, rel=0.01)
    assert plane.mm_per_px(np.array([300.0, 200.0])).u > 2 * scale.u
    assert (plane.source, set(scale.budget)) == ("stated", {"stated"})
    np.testing.assert_allclose(plane.to_mm(np.array([[999.5, 749.5]])), 0.0, atol=1e-9)
    with pytest.raises(BadInput, match="stated scale"):
        from_stated_scale(0.0, (2000, 1500))


def test_names_of_the_sources_follow_the_plane() -> None:
    named = [m for members in adjust.SOURCES.values() for m in members]
    assert sorted(named) == sorted(NAMES[6:])


def beside(theta: np.ndarray, turn_rad: float, shift_mm: tuple[float, float], rise_mm: float = 0.0) -> np.ndarray:
    """The camera as seen from a second board that lies turned and shifted on the first one's plane."""
    rotation = np.asarray(cv2.Rodrigues(theta[:3])[0])
    cos, sin = math.cos(turn_rad), math.sin(turn_rad)
    other = theta.copy()
    other[:3] = cv2.Rodrigues(rotation @ np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1.0]]))[0].ravel()
    other[3:6] = theta[3:6] + rotation @ np.array([*shift_mm, -rise_mm])
    return other


def test_the_slope_of_two_boards_is_that_of_the_model() -> None:
    boards = [paper.points_of(seen(truth())), paper.points_of(seen(truth()))]
    rng = np.random.default_rng(4)
    count = len(paper.NUISANCE)
    state = np.zeros(adjust.state_size(2))
    state[:13] = truth()
    unit = np.array([1.0, 1, 1, 1, 1, 1, 0.01, 0.01, 0.01, 1, 1, 1, 1, 1, 1])
    state[13 : 13 + 2 * count] = 0.3 * np.tile(unit, 2) * rng.standard_normal(2 * count)
    state[13 + 2 * count :] = 0.4, 130.0, -40.0
    _, slope = adjust.model(boards, state)
    camera = [1e-6] * 3 + [1e-4] * 3 + [1e-6, 1e-5, 1e-3, 1e-3, 1e-3, 1e-3, 1e-5]
    step = np.concatenate([camera, np.tile(1e-3 * unit, 2), [1e-5, 1e-3, 1e-3]])
    for k, h in enumerate(step):
        d = np.zeros(len(state))
        d[k] = h
        by_step = (adjust.model(boards, state + d)[0] - adjust.model(boards, state - d)[0]).ravel() / (2 * h)
        np.testing.assert_allclose(slope[:, k], by_step, rtol=1e-4, atol=2e-4 * np.abs(by_step).max() + 1e-9)


def test_a_second_card_on_the_same_face_makes_lengths_surer() -> None:
    rng, theta = np.random.default_rng(6), truth()
    first = seen(theta, noise_px=0.15, rng=rng)
    second = seen(beside(theta, 2.2, (230.0, 60.0)), noise_px=0.15, rng=rng, pull_px=0.4)
    one = solved([first], size_px=SIZE, focal35_mm=FOCAL35)
    two = solved([first, second], size_px=SIZE, focal35_mm=FOCAL35)
    real = Plane(theta=theta, sources={}, size_px=SIZE, source="truth")
    corner = [p.propagate(figures)[1]["corner"] for p in (one, two)]
    lengths_and_scales = [0, 1, 2, 7, 8]
    assert np.all(corner[1][lengths_and_scales] < 0.8 * corner[0][lengths_and_scales])
    np.testing.assert_allclose(two.to_mm(PLACES), real.to_mm(PLACES), atol=0.4)


def test_a_card_that_lies_elsewhere_is_left_out() -> None:
    rng, theta = np.random.default_rng(7), truth()
    first = seen(theta, noise_px=0.15, rng=rng)
    other = beside(theta, 0.3, (230.0, 60.0), rise_mm=-40.0)
    other[0] += 0.1
    far = seen(other, noise_px=0.15, rng=rng)
    one = solved([first], size_px=SIZE, focal35_mm=FOCAL35)
    both = solved([first, far], size_px=SIZE, focal35_mm=FOCAL35)
    np.testing.assert_allclose(both.theta, one.theta)


def test_covariance_of_two_cards_against_monte_carlo() -> None:
    rng = np.random.default_rng(12)
    known = prior_of(SIZE, FOCAL35)
    scores = []
    for _ in range(200):
        theta = drawn_camera(rng, known)
        cards = [
            seen(
                camera, noise_px=0.15, rng=rng, pull_px=paper.PULL_SD_PX * rng.standard_normal(),
                own=chance(rng, known),
            )
            for camera in (theta, beside(theta, 1.3, (240.0, 20.0)))
        ]  # fmt: skip
        plane = solved(cards, size_px=SIZE, focal35_mm=FOCAL35)
        value, parts = plane.propagate(figures)
        real = figures(Plane(theta=theta, sources={}, size_px=SIZE, source="truth"))
        scores.append((value - real) / np.sqrt(sum(u**2 for u in parts.values())))
    z = np.array(scores)
    assert np.all(np.abs(np.sqrt(np.mean(z**2, axis=0)) - 1) < 0.15), np.sqrt(np.mean(z**2, axis=0))
    assert 0.92 < float(np.mean(np.abs(z) < 1.96)) < 0.98
