"""Pieces of lines strung together where one carries another on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array

BRIDGE_MM, BEND_DEG = 3.0, 40.0
"""A piece carries another on over such a gap, and such a bend there."""
NEAR_MM = 1.0
"""Over a gap as short as this its own way does not count."""
WAY = 7
"""The way of an end is that over so many points."""
BEND_COST = 4.0
"""A bend as cosine short of one, against the gap as share of the widest: the straightest pairs come first."""

End = tuple[int, int]
"""Which piece, and 0 for its first point, 1 for its last."""


def joined(pieces: list[Array]) -> list[Array]:
    """Lines (N, 2) of pieces (N, 2), mm, those that carry each other on best end to end."""
    ends = [(k, end) for k in range(len(pieces)) for end in (0, 1)]
    to: dict[End, End] = {}
    for i, j in _pairs([_toward(pieces, end)[-1 - WAY :] for end in ends]):
        if ends[i] not in to and ends[j] not in to:
            to[ends[i]], to[ends[j]] = ends[j], ends[i]
    left, out = set(range(len(pieces))), list[Array]()
    while left:
        chain = _chain(min(left), to)
        left -= {k for k, _ in chain}
        out.append(np.vstack([_toward(pieces, (k, 1 - start)) for k, start in chain]))
    return out


def _toward(pieces: list[Array], end: End) -> Array:
    """A piece so turned that it runs towards one of its ends."""
    return pieces[end[0]] if end[1] else pieces[end[0]][::-1]


def _pairs(tails: list[Array]) -> list[tuple[int, int]]:
    """Pairs of ends of different pieces, two of each in turn, where one carries the other on, the best first."""
    if not tails:
        return []
    at, way = np.array([tail[-1] for tail in tails]), np.array([tail[-1] - tail[0] for tail in tails])
    pairs, cost = _fitting(at, way, np.cos(np.radians(BEND_DEG)))
    first, second = pairs[np.argsort(cost, kind="stable")].T.tolist()
    return list(zip(first, second, strict=True))


@compiled
def _fitting(at: Array, way: Array, least: float) -> tuple[NDArray[np.int64], Array]:
    """Numbers of two ends where one carries the other on (N, 2), and what that costs (N,); `least` is the cosine of the
    sharpest bend."""
    count, size = 0, np.hypot(way[:, 0], way[:, 1])
    pairs, cost = np.empty((len(at) * len(at) // 2, 2), np.int64), np.empty(len(at) * len(at) // 2)
    for i in range(len(at)):
        for j in range(i + 1, len(at)):
            across, down = at[j, 0] - at[i, 0], at[j, 1] - at[i, 1]
            wide = np.hypot(across, down)
            if wide >= BRIDGE_MM or i // 2 == j // 2:
                continue
            bend = -(way[i, 0] * way[j, 0] + way[i, 1] * way[j, 1]) / (size[i] * size[j] + 1e-9)
            ahead = (across * way[i, 0] + down * way[i, 1]) / (wide * size[i] + 1e-9)
            if bend >= least and (ahead >= least or wide <= NEAR_MM):
                pairs[count, 0], pairs[count, 1], cost[count] = i, j, wide / BRIDGE_MM + BEND_COST * (1 - bend)
                count += 1
    return pairs[:count], cost[:count]


def _chain(piece: int, to: dict[End, End]) -> list[End]:
    """Pieces that hang together with one of them, in order, each with the end where it begins."""
    at, seen = (piece, 0), {piece}
    while at in to and to[at][0] not in seen:
        other, end = to[at]
        seen.add(other)
        at = (other, 1 - end)
    out = [at]
    while (on := to.get((out[-1][0], 1 - out[-1][1]))) is not None and on[0] not in {k for k, _ in out}:
        out.append(on)
    return out


def share_on(line: Array, other: Array, near: float) -> float:
    """Share of the points of a line (N, 2) that lie so near those of another (M, 2)."""
    return float(_near_to(line, other, near).mean())


@compiled
def _near_to(line: Array, other: Array, near: float) -> NDArray[np.bool_]:
    """Which points of a line (N, 2) lie so near one of another (M, 2)."""
    out = np.zeros(len(line), np.bool_)
    for k in range(len(line)):
        for j in range(len(other)):
            across, down = line[k, 0] - other[j, 0], line[k, 1] - other[j, 1]
            if across * across + down * down < near * near:
                out[k] = True
                break
    return out
