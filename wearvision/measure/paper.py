"""What ink, printer and paper make of a drawn board: the nuisances of each board, and its place on the plane.

All of them are linear: a printed corner lies where it was drawn, plus amounts times known fields over the board.
Bends, height and print scale have heavy tails (Student's t): one card that is bent, lifted or printed wrong among
others gives way, and is told by how much its prior had to.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.scale import Sighting

Array = NDArray[np.float64]

PULLS = ("pull", "ink")
LIFTS = ("bow_x", "bow_y", "twist", "rise")
FIELDS = ("grow", "stretch", "skew", "xuu", "xuv", "xvv", "yuu", "yuv", "yvv")
NUISANCE = (*PULLS, *LIFTS, *FIELDS)
"""Of each board: inward shift of the corners of markers and of black squares, px; bends and height over what all
lie on, mm; own print scale, its half difference across and down, and skew, as ratios; uneven feed, mm."""
PULL_ROWS, LIFT_ROWS, FIELD_ROWS = slice(0, 2), slice(2, 6), slice(6, 15)
BENDS, RISE, GROW, STRETCH = slice(2, 5), 5, 6, 7
GIVING = slice(2, 7)
"""Bends, rise and grow: what may exceed its sd."""
PLACE = ("turn", "dx", "dy")
"""Of each board but the first: where it lies on the plane of the first."""

PULL_SD_PX = 1.0
"""Of the inward shift of corners; drawn and real photos show 0 to 1 px. Markers and squares have each their own:
a marker's drawn size is often stated only roughly."""
FLATNESS_SD_MM = 0.04
"""Of each way the card may bend, at its edges: glued to something flat. Common practice, no source."""
RISE_SD_MM = 0.2
"""Of a card's height over what all cards lie on: thickness and seat. Common practice, no source."""
SKEW_SD = 0.001
"""Of the right angle a printer lost, rad. Common practice, no source."""
FEED_SD_MM = 0.01
"""Of each way in which a printer's uneven feed shifts the corners at the edges. Common practice, no source."""
DOUBT = 1.0
"""Degrees of freedom of the sds of bends, height and print scale."""
BENT_MOST_MM, RISE_MOST_MM, GROW_MOST = 1.0, 3.0, 0.04
"""How far those sds give way: what fits no better then does not lie on the plane."""


@dataclass(frozen=True, kw_only=True)
class Slack:
    """By how much a board's bends, height and print scale exceed what their sds say; 1 or so when all is well."""

    bends: float = 1.0
    rise: float = 1.0
    grow: float = 1.0

    @property
    def each(self) -> tuple[float, ...]:
        """In the order of `GIVING`."""
        return self.bends, self.bends, self.bends, self.rise, self.grow


@dataclass(frozen=True, kw_only=True, eq=False)
class Points:
    """Correspondences of one board.

    Attributes
    ----------
    name : str
    mm, px : (N, 2) arrays
        On the drawing and in the photo.
    sigma_rel : (N,) array
        Relative scatter.
    pulls : (N, 2, 2) array
        Shift of each point, px, by one of each of `PULLS`.
    lifts : (N, 4) array
        Height of each point by one of each of `LIFTS`; mean and slope of a bend over the board are 0.
    fields : (N, 2, 9) array
        Shift of each point in the print by one of each of `FIELDS`.
    slack : Slack
    """

    name: str
    mm: Array
    px: Array
    sigma_rel: Array
    pulls: Array
    lifts: Array
    fields: Array
    slack: Slack = Slack()


def points_of(sighting: Sighting) -> Points:
    """The correspondences of a sighting."""
    spec, mm = sighting.spec, sighting.corners_mm
    size = np.array(spec.size_mm)
    u, v = (2 * mm / size - 1).T
    x, y = (mm - size / 2).T
    none = np.zeros(len(mm))
    uneven = np.column_stack([u * u - 1 / 3, u * v, v * v - 1 / 3])
    fields = np.zeros((len(mm), 2, len(FIELDS)))
    fields[:, 0] = np.column_stack([x, x, y / 2, uneven, none, none, none])
    fields[:, 1] = np.column_stack([y, -y, x / 2, none, none, none, uneven])
    rim = sighting.ids >= len(spec.inner_corners_mm()) + 4 * spec.marker_count
    return Points(
        name=spec.name, mm=mm, px=sighting.corners_px, sigma_rel=sighting.sigma_rel,
        pulls=sighting.pull[:, :, None] * np.stack([~rim, rim], axis=1)[:, None, :],
        lifts=np.column_stack([u * u - 1 / 3, v * v - 1 / 3, u * v, none + 1]), fields=fields,
    )  # fmt: skip


def nuisance_prior(points: Points, grow: tuple[float, float], stretch: tuple[float, float]) -> tuple[Array, Array]:
    """Mean and sd of a board's `NUISANCE`."""
    mean, sd = np.zeros(len(NUISANCE)), np.empty(len(NUISANCE))
    sd[PULL_ROWS], sd[BENDS] = PULL_SD_PX, FLATNESS_SD_MM * points.slack.bends
    sd[RISE], sd[GROW:] = RISE_SD_MM * points.slack.rise, FEED_SD_MM
    mean[GROW], sd[GROW] = grow[0], grow[1] * points.slack.grow
    mean[STRETCH], sd[STRETCH] = stretch
    sd[STRETCH + 1] = SKEW_SD
    return mean, sd


def slack_of(seen: Sequence[float], grow_sd: float) -> Slack:
    """The slack that a board's nuisances suggest: one step of expectation maximisation.

    Slack is never below one. A card that happens to lie flat is no proof that its sds are smaller than they are held to
    be, and taking the likeliest width for the true one told errors up to 8 % too small.

    Parameters
    ----------
    seen : (5,)
        Expected square of the distance of `GIVING` from their prior means, in units of the sds without slack.
    grow_sd : float
        That of the print scale.
    """

    def slack(part: Sequence[float], most: float) -> float:
        return min(max(math.sqrt((DOUBT + sum(part)) / (DOUBT + len(part))), 1.0), max(most, 1.0))

    return Slack(
        bends=slack(seen[:3], BENT_MOST_MM / FLATNESS_SD_MM), rise=slack(seen[3:4], RISE_MOST_MM / RISE_SD_MM),
        grow=slack(seen[4:], GROW_MOST / grow_sd),
    )  # fmt: skip


def state_size(camera: int, boards: int) -> int:
    """Length of the state for so many boards, `camera` parameters standing before them."""
    return camera + len(NUISANCE) * boards + len(PLACE) * (boards - 1)


def rows_of(kind: Sequence[str], board: int, boards: int, camera: int) -> slice:
    """Where a board's `NUISANCE` or `PLACE` stands in the state; the first board has no place."""
    start = camera + len(NUISANCE) * board
    if kind is PLACE:
        start = camera + len(NUISANCE) * boards + len(PLACE) * (board - 1)
    return slice(start, start + len(kind))


NOWHERE = -1
"""Stands for where the place of the first board is kept: it carries the plane's axes."""


class Corners(NamedTuple):
    """What `Points` says of each corner, of all boards, and where its board's nuisances and place begin in the
    state."""

    mm: Array
    pulls: Array
    lifts: Array
    fields: Array
    first: NDArray[np.int64]
    place: NDArray[np.int64]


def corners_of(boards: Sequence[Points], parameters: int) -> Corners:
    """All corners of boards, whose nuisances stand behind so many parameters of the plane."""
    sizes = [len(points.mm) for points in boards]
    count = len(boards)
    first, place = ([rows_of(kind, k, count, parameters).start for k in range(count)] for kind in (NUISANCE, PLACE))
    mm, pulls, lifts, fields = zip(*((p.mm, p.pulls, p.lifts, p.fields) for p in boards), strict=True)
    return Corners(
        np.concatenate(mm), np.concatenate(pulls), np.concatenate(lifts), np.concatenate(fields),
        np.repeat(first, sizes), np.repeat([NOWHERE, *place[1:]], sizes),
    )  # fmt: skip
