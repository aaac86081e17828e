"""Which way each vane runs: many bends of the siblings' common line tried, and how much of both edges lies along each.

A vane stands at its root, so that it can leave its siblings' line only from some place outwards and ever further. A
shadow that runs beside a vane all the way, or a rust stain, is no bend: along no such line does it show two edges a
vane's thickness apart. All of the line counts, not only the tip. Softened edges tell which few bends are likely, sharp
ones how each of them runs exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import CAP, QUIET, Strips, edges_across

STARTS, POWERS = (0.15, 0.3, 0.45, 0.6, 0.75), (1.3, 2.2)
"""Where a bend begins, shares of the line up to the tip; power by which it grows."""
TIPS_MM = np.concatenate([np.arange(0.5, 3.0, 0.25), np.arange(3.0, 14.1, 0.5)])
"""Shifts at the tip that are tried, either way."""
KEPT, APART_MM = 6, 0.8
"""Likely bends that are bettered on sharp edges, and how far their tips lie apart."""
BETTER = np.array([[0.4, 0.08, 0.3, 0.3], [0.2, 0.05, 0.2, 0.15], [0.1, 0.03, 0.1, 0.08]])
"""Steps of tip (mm), start, power and of the whole vane (mm) by which they are bettered."""
LEAST, MOST = np.array([-15.0, 0.1, 1.0, -0.8]), np.array([15.0, 0.85, 2.6, 0.8])
AROUND = np.array([(*one, 0.0) for one in product((-1.0, 0.0, 1.0), repeat=3)])
BESIDE = np.array([(0.0, 0.0, 0.0, d) for d in (-2.0, -1.0, 0.0, 1.0, 2.0)])
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
OFF_MM, OFF_COST = 0.4, 0.5
"""How far a whole vane usually stands off the common line, and what that costs."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ground:
    """Signed edges of all vanes (N, S, M), what is usual on each part of them (N, P), and where the pair lies."""

    signed: Grid
    usual: Array
    share: Array
    pair_mm: Array
    first_mm: float
    step_mm: float
    along_mm: float

    @classmethod
    def of(cls, signed: Grid, strips: Strips, share: Array, pair_mm: Array, along_mm: float) -> _Ground:
        return cls(
            signed=signed, usual=_usual(signed), share=share, pair_mm=pair_mm, first_mm=float(strips.across_mm[0]),
            step_mm=strips.step_mm, along_mm=along_mm,
        )  # fmt: skip

    def softened(self) -> _Ground:
        """The same with edges averaged across to `SOFT_MM`."""
        flat = np.ascontiguousarray(self.signed).reshape(-1, self.signed.shape[2])
        sigma = np.sqrt(SOFT_MM**2 - SIGMA_MM**2) / self.step_mm
        size = (2 * int(np.ceil(3 * sigma)) + 1, 1)
        soft = cv2.GaussianBlur(flat, size, sigmaX=sigma, borderType=cv2.BORDER_REPLICATE)
        signed = np.asarray(soft, dtype=np.float32).reshape(self.signed.shape)
        return replace(self, signed=signed, usual=_usual(signed))

    def places(self, bends: Array) -> NDArray[np.intp]:
        """Flat index (2, H, S) of where the right and left edge of a vane lie that is bent so; bends (H, 4)."""
        rows, width = self.signed.shape[1:]
        shift = shifts(bends, self.share)
        slope = np.gradient(shift, self.along_mm, axis=1)
        half = (self.pair_mm[:, 1] - self.pair_mm[:, 0]) / 2 * np.sqrt(1 + slope**2)
        middle = (self.pair_mm.mean(axis=1) + shift - self.first_mm) / self.step_mm
        column = np.rint(np.stack([middle - half / self.step_mm, middle + half / self.step_mm]))
        return np.asarray(np.clip(column, 0, width - 1) + np.arange(rows) * width, dtype=np.intp)

    def worth(self, vane: NDArray[np.intp], bends: Array) -> Array:
        """Edge along bends (H, 4) of vanes (H,), tip mm, start, power, off mm, over what is usual, less their cost."""
        total = -_cost(bends)
        first = (vane * (self.signed.shape[1] * self.signed.shape[2]))[:, None]
        usual = self.usual[vane]
        for place in self.places(bends):
            total += _along(np.take(self.signed, place + first), usual)
        return np.asarray(total)

    def tried(self, bends: Array) -> Array:
        """The same for every vane with all of some bends (H, 4), (N, H)."""
        total = -_cost(bends)
        for place in self.places(bends):
            each = zip(self.signed, self.usual, strict=True)
            total = total + np.stack([_along(np.take(signed, place), usual[None]) for signed, usual in each])
        return np.asarray(total)


def _cost(bends: Array) -> Array:
    """What bends (H, 4) cost for being none that is likely, (H,)."""
    far = np.clip((np.abs(bends[:, 0]) - FREE_MM) / (FAR_MM - FREE_MM), 0, 1)
    return np.asarray(BENT_COST * far + OFF_COST * (bends[:, 3] / OFF_MM) ** 2)


def _along(light: Grid, usual: Array) -> Array:
    """Edge along places (H, S) over what is usual on each part (H, P), less what changes its sign, (H,)."""
    along = light.reshape(len(light), -1, STRETCH).sum(axis=2) / (STRETCH * usual).astype(np.float32)
    size = np.abs(along)
    total = (np.minimum(size, CAP) + SURER * np.clip(size - CAP, 0, CAP * 2) - 1.0).sum(axis=1)
    turned = along[:, 1:] * along[:, :-1] < 0
    return np.asarray(total - FLIP * (np.minimum(np.minimum(size[:, 1:], size[:, :-1]), CAP) * turned).sum(axis=1))


def _usual(signed: Grid) -> Array:
    """Mean edge of each part of each vane, (N, P)."""
    number, rows, width = signed.shape
    usual = np.abs(signed.reshape(number, rows // STRETCH, STRETCH, width).mean(axis=2)).mean(axis=2)
    return np.asarray(np.maximum(usual, QUIET * np.median(usual, axis=1, keepdims=True)) + 0.004)


def shifts(bends: Array, share: Array) -> Array:
    """Shift (H, S) of bends (H, 4) at shares of the line up to the tip."""
    tip, start, power, off = bends.T[:, :, None]
    return np.asarray(off + tip * np.clip((share - start) / (1 - start), 0, None) ** power)


def _tried() -> Array:
    """None, and every bend of a coarse grid, (H, 4)."""
    tips = np.concatenate([-TIPS_MM[::-1], TIPS_MM])
    return np.array([(0.0, 0.5, 2.0, 0.0), *((t, s, p, 0.0) for s in STARTS for p in POWERS for t in tips.tolist())])


def likeliest(strips: Strips, along_step_mm: float, pair_mm: Array, tip: int) -> tuple[Array, Array]:
    """Shift (N, S) of each vane from the common pair `pair_mm` (S, 2), and how much better than none it is (N,).

    `tip` is the station where vanes usually end; what lies beyond plays no part.
    """
    few = slice(0, tip, 2)
    signed = edges_across(strips, along_step_mm, SIGMA_MM, SMOOTH_MM)[0][:, few]
    rows = signed.shape[1] // STRETCH * STRETCH
    share = np.arange(len(pair_mm)) / tip
    sharp = _Ground.of(
        np.ascontiguousarray(signed[:, :rows]), strips, share[few][:rows], pair_mm[few][:rows], 2 * along_step_mm
    )
    tried = _tried()
    likely = np.stack([_likely(tried, worth) for worth in sharp.softened().tried(tried)])
    bends, worth = _bettered(sharp, likely)
    each = np.arange(len(bends))
    best = bends[each, np.argmax(worth, axis=1)]
    return shifts(best, share), worth.max(axis=1) - worth[:, 0]


def _likely(tried: Array, worth: Array) -> Array:
    """None, and the best few whose tips lie apart, (1 + KEPT, 4)."""
    kept, worth = [0], worth.copy()
    for _ in range(KEPT):
        kept.append(int(np.argmax(worth)))
        worth[np.abs(tried[:, 0] - tried[kept[-1], 0]) <= APART_MM] = -np.inf
    return tried[kept]


def _bettered(ground: _Ground, bends: Array) -> tuple[Array, Array]:
    """Bends of all vanes (N, K, 4) moved to where they are worth most, and what they are worth (N, K).

    The first of each vane stays none, and only slides.
    """
    number, kept = bends.shape[:2]
    n, k = np.ogrid[:number, :kept]
    for steps in BETTER:
        for way in (BESIDE, AROUND):
            near = np.clip(bends[:, :, None] + way * steps, LEAST, MOST)
            near[:, 0, :, :3] = bends[:, :1, :3]
            vane = np.repeat(np.arange(number), kept * len(way))
            here = ground.worth(vane, near.reshape(-1, 4)).reshape(near.shape[:3])
            bends = near[n, k, np.argmax(here, axis=2)]
    return bends, here.max(axis=2)
