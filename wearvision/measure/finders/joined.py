"""Pieces of lines strung together where one carries another on."""

from __future__ import annotations

import numpy as np

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
    at = np.array([_toward(pieces, end)[-1] for end in ends]).reshape(-1, 2)
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    near = ((ends[i], ends[j]) for i, j in np.argwhere(np.triu(apart < BRIDGE_MM, 1)).tolist())
    costs = [(_cost(_toward(pieces, one), _toward(pieces, other)[::-1]), one, other)
             for one, other in near if one[0] != other[0]]  # fmt: skip
    to: dict[End, End] = {}
    for _, one, other in sorted(cost for cost in costs if cost[0] < np.inf):
        if one not in to and other not in to:
            to[one], to[other] = other, one
    left, out = set(range(len(pieces))), list[Array]()
    while left:
        chain = _chain(min(left), to)
        left -= {k for k, _ in chain}
        out.append(np.vstack([_toward(pieces, (k, 1 - start)) for k, start in chain]))
    return out


def _toward(pieces: list[Array], end: End) -> Array:
    """A piece so turned that it runs towards one of its ends."""
    return pieces[end[0]] if end[1] else pieces[end[0]][::-1]


def _cost(one: Array, other: Array) -> float:
    """What it costs that a line carries another on from its end; infinite where it does not."""
    gap, way, onward = other[0] - one[-1], one[-1] - one[-1 - WAY :][0], other[: WAY + 1][-1] - other[0]
    wide = float(np.hypot(*gap))
    bend = float(way @ onward) / (float(np.hypot(*way) * np.hypot(*onward)) + 1e-9)
    ahead = float(gap @ way) / (wide * float(np.hypot(*way)) + 1e-9)
    least = np.cos(np.radians(BEND_DEG))
    if wide > BRIDGE_MM or bend < least or (ahead < least and wide > NEAR_MM):
        return float(np.inf)
    return wide / BRIDGE_MM + BEND_COST * (1 - bend)


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
    (x, y), (u, v) = line.T[..., None], other.T
    return float((((x - u) ** 2 + (y - v) ** 2).min(axis=1) < near**2).mean())
