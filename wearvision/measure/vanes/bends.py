"""Which way each vane runs: many bends of the siblings' common line tried, and how much of both edges lies along each.

A vane stands at its root, so that it can leave its siblings' line only from some place outwards and ever further. A
shadow that runs beside a vane all the way, or a rust stain, is no bend: along no such line does it show two edges a
vane's thickness apart. All of the line counts, not only the tip. Softened edges tell which few bends are likely, sharp
ones how each of them runs exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import BY_GRAIN, CAP, QUIET, Strips, grain_of, signed_across

STARTS, POWERS = (0.15, 0.3, 0.45, 0.6, 0.75), (1.3, 2.2)
"""Where a bend begins, shares of the line up to the tip; power by which it grows."""
TIPS_MM = np.concatenate([np.arange(0.5, 3.0, 0.25), np.arange(3.0, 14.1, 0.5)])
"""Shifts at the tip that are tried, either way."""
KEPT, APART_MM = 6, 0.8
"""Likely bends that are bettered on sharp edges, and how far their tips lie apart."""
BETTER = np.array([[0.4, 0.08, 0.3, 0.3], [0.2, 0.05, 0.2, 0.15], [0.1, 0.03, 0.1, 0.08]])
"""Steps of tip (mm), start, power and of the whole vane (mm) by which they are bettered."""
LEAST, MOST = np.array([-15.0, 0.1, 1.0, -0.8]), np.array([15.0, 0.85, 2.6, 0.8])
ASIDE = np.array([(0.0, 0.0, 0.0, d) for d in (-2.0, -1.0, 0.0, 1.0, 2.0)])
AROUND = np.array([(*one, 0.0) for one in product((-1.0, 0.0, 1.0), repeat=3)])
"""Moves, in steps, of the whole vane and of all else."""
STRETCH = 4
"""Stations over which light is averaged along a bend."""
SIGMA_MM, SOFT_MM, SMOOTH_MM = 0.4, 0.8, 1.5
SURER = 0.3
"""What an edge beyond `CAP` adds, up to three times that: a strong one is surer, but it may be a glint."""
FLIP = 0.5
"""What an edge costs that changes its sign from one stretch to the next: where two cross, none is followed."""
BENT_COST, FREE_MM, FAR_MM = 4.0, 0.5, 2.0
"""What a bend must be better by than none, in edges over what is usual, for one of many fits some rust: nothing up to
the second, which is within reach of the tracing anyway, all of it from the third on."""
SURE_BEND = 12.0
"""What a bend is better by than none, in edges over what is usual, when it is surely one: where no vane stands, rust
makes up less."""
FAR_TIPS_MM = np.arange(1.5, 12.1, 0.5)
NEAR_SHARE, MOST_BETTER, BEYOND_MOST, LEAST_SHARED = 0.12, 3.0, 0.1, 1.4
"""Shifts at the tip of what most vanes share, either way; how much unlike theirs may be, a share of it; what one vane
counts for in full, in edges over what is usual, and how much of what is beyond; and what they must be better by, mean
over them."""
OFF_MM, OFF_COST = 0.4, 0.5
"""How far a whole vane usually stands off the common line, and what that costs."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ground:
    """Signed edges of all vanes in light and in roughness (N, 2, S, M), what is usual on each part of them (N, 2, P).

    `line` (3, S) says of each station its share of the way to the tip, the middle of the common pair, and half of its
    width, in columns; `steps_mm` are those of columns and stations.
    """

    signed: Grid
    usual: Array
    line: Array
    steps_mm: tuple[float, float]

    @classmethod
    def of(cls, signed: Grid, strips: Strips, share: Array, pair_mm: Array, along_mm: float) -> _Ground:
        step = strips.step_mm
        middle = (pair_mm.mean(axis=1) - float(strips.across_mm[0])) / step
        half = (pair_mm[:, 1] - pair_mm[:, 0]) / 2 / step
        line = np.stack([share, middle, half])
        return cls(signed=signed, usual=_usual(signed), line=line, steps_mm=(step, along_mm))

    def softened(self) -> _Ground:
        """The same with edges averaged across to `SOFT_MM`."""
        flat = np.ascontiguousarray(self.signed).reshape(-1, self.signed.shape[3])
        sigma = np.sqrt(SOFT_MM**2 - SIGMA_MM**2) / self.steps_mm[0]
        size = (2 * int(np.ceil(3 * sigma)) + 1, 1)
        soft = cv2.GaussianBlur(flat, size, sigmaX=sigma, borderType=cv2.BORDER_REPLICATE)
        signed = np.asarray(soft, dtype=np.float32).reshape(self.signed.shape)
        return replace(self, signed=signed, usual=_usual(signed))

    def tried(self, bends: Array) -> Array:
        """Worth of every vane with all of some bends (H, 4), (N, H)."""
        out = np.empty((len(self.signed), len(bends)))
        _try(self.signed, self.usual, self.line, self.steps_mm, bends, out)
        return out

    def bettered(self, bends: Array) -> tuple[Array, Array]:
        """Bends of all vanes (N, K, 4) moved to where they are worth most, and what they are worth (N, K).

        The first of each vane stays none, and only slides.
        """
        bends, worth = bends.copy(), np.empty(bends.shape[:2])
        _better(self.signed, self.usual, self.line, self.steps_mm, bends, worth)
        return bends, worth


@compiled
def _cost(bend: Array) -> float:
    """What a bend costs for being none that is likely."""
    far = min(max((abs(bend[0]) - FREE_MM) / (FAR_MM - FREE_MM), 0.0), 1.0)
    off = bend[3] / OFF_MM
    return float(BENT_COST * far + OFF_COST * off * off)


@compiled
def _shape(share: Array, start: float, power: float, out: Array) -> None:
    """How much of its shift at the tip a bend has at shares of the line."""
    for i in range(len(share)):
        beyond = (share[i] - start) / (1 - start)
        out[i] = beyond**power if beyond > 0 else 0.0


@compiled
def _columns(line: Array, shape: Array, bend: Array, steps: tuple[float, float], out: NDArray[np.int32]) -> None:
    """Columns (2, S) of the right and left edge of a vane that is bent so."""
    rows = len(shape)
    for i in range(rows):
        low, high = max(i - 1, 0), min(i + 1, rows - 1)
        slope = bend[0] * (shape[high] - shape[low]) / ((high - low) * steps[1])
        middle = line[1, i] + (bend[3] + bend[0] * shape[i]) / steps[0]
        half = line[2, i] * np.sqrt(1 + slope * slope)
        out[0, i], out[1, i] = np.rint(middle - half), np.rint(middle + half)


@compiled
def _lies(both: Grid, usual: Array, columns: NDArray[np.int32]) -> float:
    """Edge at a column of each row over what is usual, less what changes its sign, in light and in roughness."""
    return _lies_in(both[0], usual[0], columns) + BY_GRAIN * _lies_in(both[1], usual[1], columns)


@compiled
def _lies_in(signed: Grid, usual: Array, columns: NDArray[np.int32]) -> float:
    """Edge at a column of each row over what is usual, less what changes its sign."""
    total, before, last = 0.0, 0.0, signed.shape[1] - 1
    for part in range(len(usual)):
        light = 0.0
        for i in range(part * STRETCH, (part + 1) * STRETCH):
            light += signed[i, min(max(columns[i], 0), last)]
        light /= STRETCH * usual[part]
        if light == 0.0:  # not seen: it speaks neither for nor against
            before = 0.0
            continue
        size = abs(light)
        total += min(size, CAP) + SURER * min(max(size - CAP, 0.0), 2 * CAP) - 1.0
        if light * before < 0:
            total -= FLIP * min(size, abs(before), CAP)
        before = light
    return total


@compiled
def _try(
    signed: Grid, usual: Array, line: Array, steps: tuple[float, float], bends: Array, out: Array
) -> None:
    """Worth (N, H) of all vanes with each of some bends; those of one start and power follow each other."""
    shape, columns = np.empty(line.shape[1]), np.empty((2, line.shape[1]), dtype=np.int32)
    for h in range(len(bends)):
        if h == 0 or bends[h, 1] != bends[h - 1, 1] or bends[h, 2] != bends[h - 1, 2]:
            _shape(line[0], bends[h, 1], bends[h, 2], shape)
        _columns(line, shape, bends[h], steps, columns)
        for n in range(len(signed)):
            both = _lies(signed[n], usual[n], columns[0]) + _lies(signed[n], usual[n], columns[1])
            out[n, h] = both - _cost(bends[h])


@compiled
def _move(
    signed: Grid, usual: Array, line: Array, steps: tuple[float, float], moves: Array, fine: Array,
    bend: Array,
) -> float:
    """What a bend is worth once it is moved, in place, by that of some moves (H, 4) of `fine` steps that helps most."""
    shapes, columns = np.empty((len(moves), line.shape[1])), np.empty((2, line.shape[1]), dtype=np.int32)
    tried, best, most = np.empty((len(moves), 4)), 0, -np.inf
    for h in range(len(moves)):
        for j in range(4):
            tried[h, j] = min(max(bend[j] + moves[h, j] * fine[j], LEAST[j]), MOST[j])
        same = 0
        while tried[same, 1] != tried[h, 1] or tried[same, 2] != tried[h, 2]:
            same += 1
        if same == h:
            _shape(line[0], tried[h, 1], tried[h, 2], shapes[h])
        _columns(line, shapes[same], tried[h], steps, columns)
        worth = _lies(signed, usual, columns[0]) + _lies(signed, usual, columns[1]) - _cost(tried[h])
        if worth > most:
            best, most = h, worth
    bend[:] = tried[best]
    return most


@compiled
def _better(
    signed: Grid, usual: Array, line: Array, steps: tuple[float, float], bends: Array, worth: Array
) -> None:
    """Each bend (N, K, 4) moved, by ever finer steps, aside and then in all else to where it is worth most."""
    for n in range(len(bends)):
        for k in range(bends.shape[1]):
            for fine in range(len(BETTER)):
                here = bends[n, k]
                worth[n, k] = _move(signed[n], usual[n], line, steps, ASIDE, BETTER[fine], here)
                if k > 0:
                    worth[n, k] = _move(signed[n], usual[n], line, steps, AROUND, BETTER[fine], here)


def _usual(signed: Grid) -> Array:
    """Mean edge of each part of each vane, (N, 2, P)."""
    number, two, rows, width = signed.shape
    usual = np.abs(signed.reshape(number, two, rows // STRETCH, STRETCH, width).mean(axis=3)).mean(axis=3)
    return np.asarray(np.maximum(usual, QUIET * np.median(usual, axis=2, keepdims=True)) + 0.004)


def shifts(bends: Array, share: Array) -> Array:
    """Shift (H, S) of bends (H, 4) at shares of the line up to the tip."""
    tip, start, power, off = bends.T[:, :, None]
    return np.asarray(off + tip * np.clip((share - start) / (1 - start), 0, None) ** power)


@cache
def _tried() -> Array:
    """None, and every bend of a coarse grid, (H, 4)."""
    tips = np.concatenate([-TIPS_MM[::-1], TIPS_MM])
    return np.array([(0.0, 0.5, 2.0, 0.0), *((t, s, p, 0.0) for s in STARTS for p in POWERS for t in tips.tolist())])


def likeliest(strips: Strips, along_step_mm: float, pair_mm: Array, tip: int) -> tuple[Array, Array, Array]:
    """Shift (N, S) of each vane from the common pair `pair_mm` (S, 2), and how much better than none it is (N,).

    The third is the shift (S,) of most vanes from the pair, where they show that it leaves them; 0 where not.
    `tip` is the station where vanes usually end; what lies beyond plays no part.
    """
    few = slice(0, tip, 2)
    made = (strips, grain_of(strips, along_step_mm))
    signed = np.stack([signed_across(one, along_step_mm, SIGMA_MM, SMOOTH_MM)[:, few] for one in made], axis=1)
    rows = signed.shape[2] // STRETCH * STRETCH
    share = np.arange(len(pair_mm)) / tip
    sharp = _Ground.of(
        np.ascontiguousarray(signed[:, :, :rows]), strips, share[few][:rows], pair_mm[few][:rows], 2 * along_step_mm
    )
    tried = _tried()
    coarse = sharp.softened().tried(tried)
    likely = np.stack([_likely(tried, worth) for worth in coarse])
    bends, worth = sharp.bettered(likely)
    each = np.arange(len(bends))
    best = bends[each, np.argmax(worth, axis=1)]
    return shifts(best, share), worth.max(axis=1) - worth[:, 0], _of_most(tried, coarse, share)


def _of_most(tried: Array, worth: Array, share: Array) -> Array:
    """Shift (S,) at shares of the line of all vanes but one, of the worth (N, H) of bends; 0 where they share none."""
    which = np.empty(len(worth), dtype=np.int64)
    _most_share(tried, worth, which)
    kept = tried[which[which >= 0]]
    return shifts(kept, share).mean(axis=0) if len(kept) else np.zeros(len(share))


@compiled
def _most_share(tried: Array, worth: Array, which: NDArray[np.int64]) -> None:
    """The bend of each vane that runs as most of them do; -1 of one that does not, and of all where they share none."""
    each, own, most = np.empty(len(worth)), np.empty(len(worth), dtype=np.int64), LEAST_SHARED * (len(worth) - 1)
    cost = np.array([_cost(tried[h]) for h in range(len(tried))])
    which[:] = -1
    for t in range(2 * len(FAR_TIPS_MM)):
        tip = -FAR_TIPS_MM[t] if t < len(FAR_TIPS_MM) else FAR_TIPS_MM[t - len(FAR_TIPS_MM)]
        near = max(APART_MM, NEAR_SHARE * abs(tip))
        total, least = 0.0, np.inf
        for n in range(len(worth)):
            each[n] = -np.inf
            for h in range(len(tried)):
                better = worth[n, h] + cost[h] - worth[n, 0]
                if abs(tried[h, 0] - tip) <= near and better > each[n]:
                    each[n], own[n] = better, h
            counted = max(min(each[n], MOST_BETTER + BEYOND_MOST * (each[n] - MOST_BETTER)), -MOST_BETTER)
            total, least = total + counted, min(least, counted)
        if total - least > most:
            most = total - least
            for n in range(len(worth)):
                which[n] = own[n] if each[n] > 0 else -1


def _likely(tried: Array, worth: Array) -> Array:
    """None, and the best few whose tips lie apart, (1 + KEPT, 4)."""
    kept, worth = [0], worth.copy()
    for _ in range(KEPT):
        kept.append(int(np.argmax(worth)))
        worth[np.abs(tried[:, 0] - tried[kept[-1], 0]) <= APART_MM] = -np.inf
    return tried[kept]
