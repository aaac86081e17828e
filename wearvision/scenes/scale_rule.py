"""A steel rule beside the face, drawn through a known camera: what is read of its marks, and the plane it gives."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.prior import prior_of
from wearvision.measure.rule.solve import CLASS_MM, FACE_MM, FACE_SD_MM, Sights, solve_rule
from wearvision.scenes import coverage
from wearvision.scenes.coverage import (
    FOCAL35_MM,
    SIZE_PX,
    Row,
    draw_camera,
    draw_ends,
    draw_view,
    held,
    project,
    true_plane,
)

Array = NDArray[np.float64]
Rng = np.random.Generator
PERIODS_MM = (1.0, 25.4 / 16)
MARGIN_PX = 20
JITTER_MM, NOISE_PX, RUN_PX = (0.003, 0.02), (0.03, 0.15), (0.0, 0.1)
"""Errors of single marks as engraved and as seen, and of runs of `RUN` marks (wear, glare); drawn photos of rules show
0.03 to 0.35 px in all."""
RUN = 5
LEAN_SD_PX, FOOT_SD_PX = (0.08, 0.25), (0.6, 1.8)
"""Of a mark's tip and of the foot line's end, as drawn photos of rules show them."""
K1_MOST = 0.02
MARK_MM = 2.0
BESIDE_MM, TURN_SD_RAD, LONG_MM = (6.0, 20.0), 0.1, (100.0, 300.0)
"""How far the rule lies from the face's edge, how straight a hand lays it, and its length."""


def rules(rng: Rng, photos: int, lengths: int, loose: float) -> Iterator[list[Row]]:
    """Photos with a class II rule; `loose` is the share of its face's possible height that is drawn."""
    prior = prior_of(SIZE_PX, FOCAL35_MM)
    for _ in range(photos):
        theta = draw_view(rng, draw_camera(rng, K1_MOST))
        theta[11] = FACE_MM + loose * FACE_SD_MM * rng.standard_normal()
        seen = _sights(rng, theta)
        span = float(np.ptp(seen.mark_mm))
        theta[10] = rng.uniform(-1, 1) * sum(CLASS_MM["II"]) / span
        truth = true_plane(theta)
        plane = solve_rule(seen, SIZE_PX, prior, 0.0, "II").plane
        yield list(held(plane, truth, np.vstack([draw_ends(rng, truth) for _ in range(lengths)])))


def _sights(rng: Rng, theta: Array) -> Sights:
    """Marks of a rule that lies along a side of the face, as much of it as is in view."""
    half = np.array(coverage.FACE_MM) / 2
    side = int(rng.integers(4))
    out = half[(side + 1) % 2] + rng.uniform(*BESIDE_MM)
    turn = side * np.pi / 2 + rng.normal(0, TURN_SD_RAD)
    cos, sin = np.cos(turn), np.sin(turn)
    matrix = np.array([[cos, -sin], [sin, cos]])
    period = float(rng.choice(PERIODS_MM))
    long = rng.uniform(*LONG_MM)
    x = np.asarray(np.arange(-round(long / 2 / period), round(long / 2 / period)) * period, dtype=np.float64)

    def px(along: Array, across: Array | float) -> Array:
        mm = np.column_stack([along, np.broadcast_to(across, along.shape) - out]) @ matrix.T
        return project(theta, mm)

    inside = np.all((px(x, 0.0) > MARGIN_PX) & (px(x, 0.0) < np.array(SIZE_PX) - MARGIN_PX), axis=1)
    x = np.asarray(x[inside], dtype=np.float64)
    off = rng.uniform(*JITTER_MM) * rng.standard_normal(len(x))
    runs = np.convolve(rng.standard_normal(len(x) + RUN - 1), np.ones(RUN) / np.sqrt(RUN), "valid")
    ends = x[[0, -1]]
    way = px(ends, 0.0)[1] - px(ends, 0.0)[0]
    way /= np.linalg.norm(way)
    noise = rng.uniform(*NOISE_PX) * rng.standard_normal((len(x), 2)) + rng.uniform(*RUN_PX) * runs[:, None] * way
    lean_sd, parts = rng.uniform(*LEAN_SD_PX), np.quantile(x, [0.1, 0.5, 0.9])
    tips = px(parts, 2 * MARK_MM) + lean_sd * rng.standard_normal((3, 1)) * way
    across, foot_sd = np.array([-way[1], way[0]]), rng.uniform(*FOOT_SD_PX)
    foot = px(ends, 0.0) + foot_sd * np.array([[0.0], [rng.standard_normal()]]) * across
    return Sights(
        mark_px=px(x + off, MARK_MM) + noise, mark_mm=x, lean_px=np.stack([px(parts, MARK_MM), tips], axis=1),
        lean_sd_px=float(lean_sd), foot_px=foot, foot_sd_px=float(foot_sd),
    )  # fmt: skip
