"""Expected corners against OpenCV's projection, and their slopes against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn_board import STANDARD, Look, plane_of
from tests.measure.test_pose import seen
from wearvision.measure import paper
from wearvision.measure.board import card
from wearvision.measure.model import ALL, FIELD, LIFT, PULL, model
from wearvision.measure.paper import NUISANCE, PLACE, Points, points_of
from wearvision.measure.plane import N
from wearvision.scenes.coverage import project

THETA = plane_of(STANDARD, Look(tilt_deg=25.0, k1=-0.04)).theta
STEP = np.array([1e-6] * 3 + [1e-4] * 3 + [1e-6, 1e-5, 1e-3, 1e-3, 1e-3, 1e-3, 1e-5])


def boards() -> list[Points]:
    return [points_of(seen(THETA, spec=spec)) for spec in (STANDARD, card(1))]


def state_of(seed: int) -> np.ndarray:
    """A camera, and two boards misprinted, bent and shifted."""
    rng = np.random.default_rng(seed)
    one, other = (rng.normal(0.0, 0.01, len(NUISANCE)) for _ in range(2))
    theta = THETA.copy()
    theta[12] = 0.003
    return np.concatenate([theta, one, other, [0.2, 15.0, -9.0]])


def test_the_order_of_nuisances_is_that_of_paper() -> None:
    rows = (paper.PULL_ROWS.start, paper.LIFT_ROWS.start, paper.FIELD_ROWS.start, paper.FIELD_ROWS.stop)
    assert rows == (PULL, LIFT, FIELD, ALL)


@pytest.mark.parametrize("seed", [1, 2])
def test_corners_are_seen_where_opencv_projects_them(seed: int) -> None:
    pair, state = boards(), state_of(seed)
    px, _ = model(pair, state)
    turn, *shift = state[-len(PLACE) :]
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    expected = []
    for k, points in enumerate(pair):
        own = state[N + ALL * k : N + ALL * (k + 1)]
        mm = points.mm + points.fields @ own[paper.FIELD_ROWS]
        at = project(state[:N], mm @ matrix.T + shift if k else mm, points.lifts @ own[paper.LIFT_ROWS])
        expected.append(at + points.pulls @ own[paper.PULL_ROWS])
    np.testing.assert_allclose(px, np.vstack(expected), atol=1e-7)


def test_slopes_are_those_of_differences() -> None:
    pair, state = boards(), state_of(3)
    _, slope = model(pair, state)
    step = np.concatenate([STEP, np.full(2 * ALL, 1e-4), [1e-6, 1e-4, 1e-4]])
    for k in range(len(state)):
        ahead, behind = (model(pair, state + way * step[k] * np.eye(len(state))[k])[0] for way in (1, -1))
        by_step = (ahead - behind).ravel() / (2 * step[k])
        np.testing.assert_allclose(slope[:, k], by_step, rtol=1e-4, atol=2e-4 * np.abs(by_step).max() + 1e-9)


def test_boards_count_in_their_order() -> None:
    pair, state = boards(), state_of(4)
    fewer = [replace(pair[0], mm=pair[0].mm[:7], pulls=pair[0].pulls[:7], lifts=pair[0].lifts[:7],
                     fields=pair[0].fields[:7]), pair[1]]  # fmt: skip
    whole = np.delete(model(pair, state)[0], np.s_[7 : len(pair[0].mm)], axis=0)
    np.testing.assert_array_equal(model(fewer, state)[0], whole)
