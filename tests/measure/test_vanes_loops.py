"""Loops behind the vanes in plan, each against the same said plainly in numpy."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import DISC_MM, DrawnVane, draw_vanes
from wearvision.measure.edges import medians
from wearvision.measure.finders.vanes import measure_vanes
from wearvision.measure.finders.vanes_told import to_findings
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes import bends, fold, settle
from wearvision.measure.vanes.align import MOST, NONE, SLACK, middle, pairs, turned_back, viterbi
from wearvision.measure.vanes.shape import _in_order, shapes
from wearvision.measure.vanes.siblings import ALIKE_MM, COMMON_SD_MM, MEAN_ROUNDS, against_siblings
from wearvision.measure.vanes.strips import BY_GRAIN, CAP, Strips
from wearvision.measure.vanes.trace import _aslant
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM})
SOUND = DrawnVane()


@pytest.fixture(scope="module")
def plane() -> Plane:
    return drawn_plane(tilt_deg=4.0)


@settings(max_examples=20)
@given(st.lists(st.floats(-30.0, 30.0), min_size=3, max_size=3), st.integers(0, 99))
def test_rows_are_shifted_back_as_by_interpolation(off: list[float], seed: int) -> None:
    values = np.random.default_rng(seed).normal(size=(1, 3, 21)).astype(np.float32)
    moved = turned_back(values, np.array([off]))
    for i, by in enumerate(off):
        assert np.allclose(moved[0, i], np.interp(np.arange(21) + by, np.arange(21), values[0, i]), atol=1e-5)


@pytest.mark.parametrize("many", [True, False])
def test_the_gain_of_a_pair_is_the_sum_of_its_two_edges(many: bool) -> None:
    """Of every width, against linear interpolation of each row; and the path against `viterbi` on that."""
    rng, across = np.random.default_rng(2), np.arange(-8.0, 8.01, 0.5)
    level = rng.gamma(2.0, 0.6, size=(5, 9, len(across)) if many else (9, len(across))).astype(np.float32)
    each = level if many else level[None]
    for pair in pairs(level, across, 1.0, np.array([3.0, 4.25])):
        gain = np.full(each.shape, NONE)
        inside = np.abs(across) + pair.width_mm / 2 <= across[-1]
        for side in (-1, 1):
            for n, i in np.ndindex(*each.shape[:2]):
                gain[n, i, inside] += np.interp(across[inside] + side * pair.width_mm / 2, across, each[n, i])
        mean = np.minimum(gain, MOST if many else np.inf).mean(axis=0).astype(np.float32)
        mean[:, ~inside] = NONE
        path = viterbi(mean, SLACK * 0.5**2, most=1)
        assert np.allclose(pair.middle_mm, across[path])
        assert np.allclose(pair.gain, mean[np.arange(9), path], atol=1e-5)


def ground(seed: int) -> bends._Ground:
    """Edges of two vanes of 40 stations, noise but for a pair that leaves the middle outwards on the second.

    In roughness nothing is seen over the inner 8 stations.
    """
    rng, across = np.random.default_rng(seed), np.arange(-12.0, 12.01, 0.2)
    signed = rng.normal(0, 0.1, size=(2, 2, 40, len(across))).astype(np.float32)
    signed[:, 1, :8] = 0.0
    share, pair = np.linspace(0.0, 1.0, 40), np.tile([-2.0, 2.0], (40, 1))
    for n, tip in enumerate((0.0, 5.0)):
        shift = bends.shifts(np.array([[tip, 0.4, 1.8, 0.0]]), share)[0]
        for side in (-2.0, 2.0):
            signed[n, 0, np.arange(40), np.rint((shift + side + 12.0) / 0.2).astype(int)] += np.sign(side)
    none = np.zeros((2, 40, len(across)))
    strips = Strips(values=signed[:, 0], seen=none > -1, across_mm=across, left=none[..., :2])
    return bends._Ground.of(signed, strips, share, pair, 1.5)


def test_the_worth_of_a_bend_is_the_edge_along_it() -> None:
    """One bend of one vane, said with numpy; then the search finds the bend that was drawn, and none where none is."""
    here, bend = ground(3), np.array([[3.0, 0.3, 2.2, 0.2]])
    shift = bends.shifts(bend, here.line[0])[0]
    half = 2.0 * np.sqrt(1 + np.gradient(shift, 1.5) ** 2)
    total = -bends.BENT_COST - bends.OFF_COST * (0.2 / bends.OFF_MM) ** 2
    for side in (-1, 1):
        column = np.rint((shift + side * half + 12.0) / 0.2).astype(int)
        for counts, signed, usual in zip((1.0, BY_GRAIN), here.signed[0], here.usual[0], strict=True):
            light = signed[np.arange(40), column].reshape(-1, bends.STRETCH).mean(axis=1) / usual
            size = np.abs(light)
            more = np.clip(size - CAP, 0, 2 * CAP)
            total += counts * (np.minimum(size, CAP) + bends.SURER * more - 1)[light != 0].sum()
            turned = light[1:] * light[:-1] < 0
            total -= counts * bends.FLIP * (np.minimum(np.minimum(size[1:], size[:-1]), CAP) * turned).sum()
    assert here.tried(bend)[0, 0] == pytest.approx(total, abs=1e-4)
    tried = bends._tried()
    likely = np.stack([bends._likely(tried, worth) for worth in here.softened().tried(tried)])
    best, worth = here.bettered(likely)
    assert worth[0].max() - worth[0, 0] < 0.5 and abs(best[0, np.argmax(worth[0]), 0]) < 1.0
    assert worth[1].max() - worth[1, 0] > bends.SURE_BEND
    assert best[1, np.argmax(worth[1]), 0] == pytest.approx(5.0, abs=0.4)  # two columns


def test_sums_round_the_circle_and_columns_turned_back_agree_with_numpy() -> None:
    rng = np.random.default_rng(5)
    line = rng.gamma(2.0, 0.5, size=(3, fold.ROWS)).astype(np.float32)
    known = (rng.random(line.shape) > 0.2).astype(np.float32)
    z, turn, number = fold.folded(line, known)
    mean = (line * known).sum(axis=1) / known.sum(axis=1)
    for t, p in ((0, 0), (1, 400), (2, len(turn) - 1)):
        sd = np.sqrt((known[t] * (line[t] - mean[t]) ** 2).sum() / known[t].sum())
        rows = (round(turn[p] * fold.ROWS / 360) + np.rint(np.arange(number[p]) * fold.ROWS / number[p])) % fold.ROWS
        value = known[t] * (np.minimum(line[t], mean[t] + fold.CAP_SD * sd) - mean[t])
        at = rows.astype(int)
        assert z[t, p] == pytest.approx(value[at].sum() / sd / np.sqrt(max(known[t, at].sum(), 0.5)), abs=1e-3)
    values = rng.normal(size=(fold.ROWS, fold.COLUMNS)).astype(np.float32)
    turns = fold._turns(((40.0, 0.1),))
    straight = np.stack([np.roll(values[:, c], -turns[0, c]) for c in range(fold.COLUMNS)], axis=1)
    light = straight.reshape(fold.ROWS, fold.PARTS, -1).sum(axis=2)
    edge = np.abs(np.roll(light, -2, axis=0) - np.roll(light, 2, axis=0))
    level = np.minimum(edge / (edge.mean(axis=0) + fold.QUIET), fold.CAP).mean(axis=1)
    assert np.allclose(fold.across(values, np.ones_like(values), turns)[0][0], level, atol=1e-4)


def test_siblings_are_the_others_that_are_sound() -> None:
    """Against the same mean, place by place."""
    rng = np.random.default_rng(6)
    off, sd = rng.normal(0, 0.2, (6, 30)), rng.uniform(0.05, 0.3, (6, 30))
    off[3, 10:] = np.nan
    off[1, 20:] += 3.0  # bent: hardly counts
    sound = np.array([True, True, True, True, True, False])
    shift, doubt = against_siblings(off, sd, sound)
    for k, s in product(range(6), range(30)):
        others = [j for j in range(5) if j != k and np.isfinite(off[j, s])]
        line = 0.0
        for _ in range(MEAN_ROUNDS):
            weight = sd[others, s] ** -2 / (1 + ((off[others, s] - line) / ALIKE_MM) ** 2) ** 2
            line = float(weight @ off[others, s]) / float(weight.sum() + COMMON_SD_MM**-2)
        assert shift[k, s] == pytest.approx(off[k, s] - line, rel=1e-9, nan_ok=True)
    assert np.isfinite(doubt).all()
    assert np.isnan(against_siblings(off[:2], sd[:2], sound[:2])[0]).all()
    assert np.allclose(middle(off[None, :3, :10]), medians(off[None, :3, :10]))


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 9.0), min_size=1, max_size=40), st.integers(0, 39))
def test_the_kth_smallest_is_that_of_a_sort(values: list[float], k: int) -> None:
    k %= len(values)
    assert _in_order(np.array(values), k) == sorted(values)[k]


def test_a_fitted_bend_is_the_one_that_was_made() -> None:
    along = np.arange(0.0, 60.0, 0.75)
    made = 4.0 * np.clip((along / 60.0 - 0.5) / 0.5, 0, None) ** 2
    noise = np.random.default_rng(7).normal(0, 0.05, len(along))
    [bent, sound] = shapes(np.stack([made + noise, noise]), along, 60.0, np.full((2, len(along)), 0.1))
    assert bent.tip_shift_mm == pytest.approx(4.0, abs=1.96 * bent.tip_u_mm)
    assert abs(sound.tip_shift_mm) < 1.96 * sound.tip_u_mm < 0.6


def test_edges_of_a_vane_that_leads_aslant_lie_further_apart() -> None:
    """By half its width over the cosine: 3-4-5 triangles."""
    pair: Array = np.tile([-2.0, 2.0], (20, 1))
    apart = _aslant(pair, 0.75 * 0.75 * np.arange(20.0)[None])
    assert np.allclose(apart[0], [-0.5, 0.5])


def test_a_vane_bent_far_is_no_stub(plane: Plane) -> None:
    """Its outer part leaves its siblings' line: nothing stands there, and it is whole."""
    image = draw_vanes(plane, (SOUND, SOUND, DrawnVane(shift_mm=12.0), SOUND, SOUND, SOUND), rust=5, wrap_deg=110.0)
    vanes = measure_vanes(image, plane, STATED)
    assert not isinstance(vanes, Unmeasured)
    assert not vanes.stub.any()
    shifts = [found.quantities["tip_shift"] for found in to_findings(vanes, plane)]
    assert sum(isinstance(s, Measured) and abs(s.value) > 11.0 for s in shifts) == 1


def test_vanes_that_are_too_little_believed_are_refused(plane: Plane, monkeypatch: pytest.MonkeyPatch) -> None:
    image = draw_vanes(plane, (SOUND,) * 5)
    for name, said in (("LEAST_HOLDS", "followed alike"), ("LEAST_APART", "hardly stand out")):
        with monkeypatch.context() as patch:
            patch.setattr(settle, name, 99.0)
            refused = measure_vanes(image, plane, STATED)
        assert isinstance(refused, Unmeasured)
        assert said in refused.reason


@pytest.mark.parametrize(("start", "shift_mm", "off"), [(0.7, 1.5, 0.05), (0.8, -3.0, 0.24)])
def test_a_bend_near_the_tip_is_hardly_told_too_small_though_edges_are_averaged(
    start: float, shift_mm: float, off: float
) -> None:
    """Places are means over 5 mm of what there is of the vane; just before its tip only what lies inward is left."""
    along, tip = np.arange(0.0, 90.0, 0.75), 75.0
    fine = np.arange(0.0, tip, 0.05)
    bend = shift_mm * np.clip((fine / tip - start) / (1 - start), 0, None) ** 2
    mean = np.array([bend[np.abs(fine - at) <= 2.5].mean() if at < tip else np.nan for at in along])
    (told,) = shapes(mean[None], along, tip, np.where(along < tip, 0.05, np.nan)[None])
    assert told.tip_shift_mm == pytest.approx(shift_mm, abs=off)
