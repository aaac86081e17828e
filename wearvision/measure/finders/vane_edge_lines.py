"""The straight pieces of a vane's end section: the bar's edge, two flanks, the top.

Each is the straight line across which the picture changes most *in the mean*. Behind the section the vane's own flank,
its back or the shroud may show, which ends in a second line further out: the innermost clear line counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.chart import scale_at
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, slope
from wearvision.measure.finders.vane_edge_search import Place, Sizes
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

MARGIN_MM, NEAR_MM = 5.5, 3.0
"""What is looked at around the place, and above and below once it is settled."""
COARSE_MM, FINE_PX = 0.1, 0.5
"""Least sample for the lines; samples for the outline, photo px."""
BASE_DEG, FLANK_DEG, TOP_DEG = 9.0, 7.0, 5.0
"""How far lines may lean: the bar's edge from the coarse one, flanks and top from square to the bar's edge."""
CLEAR, CLEAR_LEVEL = 0.04, 0.06
"""Share of the strongest line's slope that another must have to count: a flank; top or base."""
ASKEW_MM = 0.05
"""How near to a stronger line's end another may come."""
PLAY_MM, PLAY_TOP_MM = 3.2, 4.0
"""How far a line, and the top, may lie from where the coarse search has them."""
FOOT_MM = 1.0
"""What of the flanks' foot and of the bar beside it may be a fillet."""
SHOULDER_MM = 4.2
ONE_SIDE = 0.4
"""What an edge counts that shows on one side only, or the other way round on the other."""
LEAST_Z, FURTHER, FLIPPED = 4.0, 0.6, 0.5
"""Slope over noise of a line; what it costs to take one further out, and one whose sign is not the bar's."""
LEVEL_FURTHER = 0.35
"""The same for top and base: a lit top or the bar's own surface shows behind less often than a flank."""
Z_ENOUGH = 25.0
"""Slope over its noise beyond which a line is no surer."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """A patch about a place; `u` (along the bar) of its columns, `v` (up) of its rows, mm from the coarse foot."""

    patch: Patch
    place: Place
    u: Array
    v: Array


@dataclass(frozen=True, kw_only=True)
class Line:
    """`at + lean * x` (x: the other coordinate); `way` is the sign of the slope outward, `z` slope over noise."""

    at: float
    lean: float
    way: float
    z: float

    def __call__(self, x: float) -> float:
        """Place over the other coordinate."""
        return self.at + self.lean * x


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Left, right (places along, over up), top and base (up, over along), mm about the coarse foot."""

    left: Line
    right: Line
    top: Line
    base: Line

    @property
    def worth(self) -> float:
        """Log of how clear the lines are, the worse flank excused in part; signs that differ from the bar's cost."""
        sides = sorted(np.log(min(line.z, Z_ENOUGH) + 1) for line in (self.left, self.right))
        top, base = (np.log(min(line.z, most) + 1) for line, most in ((self.top, Z_ENOUGH), (self.base, 8 * Z_ENOUGH)))
        odd = sum(line.way != self.base.way for line in (self.left, self.right)) + 2 * (self.top.way != self.base.way)
        return float(top + 1.5 * base + sides[1] + 0.7 * sides[0] - FLIPPED * odd)


def coarse_section(gray: Image, plane: Plane, place: Place) -> Section:
    """The picture round a place for its lines: a photo pixel a sample, or what is enough for means along lines."""
    return _section(gray, plane, place, max(COARSE_MM, _px_mm(plane, place)), MARGIN_MM)


def fine_section(gray: Image, plane: Plane, place: Place) -> Section:
    """The picture round a place for its outline."""
    return _section(gray, plane, place, FINE_PX * _px_mm(plane, place), NEAR_MM)


def _px_mm(plane: Plane, place: Place) -> float:
    return scale_at(plane, plane.to_px(place.base_mm.reshape(1, 2)))


def _section(gray: Image, plane: Plane, place: Place, step: float, level_mm: float) -> Section:
    """Upright, with so much above the top and below the foot."""
    wide, high = place.wide_mm + 2 * (MARGIN_MM + 1), place.high_mm + 2 * level_mm
    start = place.base_mm - place.along * wide / 2 + place.up * (high - level_mm)
    patch = patch_of(gray, plane, start, place.along, (wide, high), down=-place.up, step_mm=step)
    rows, columns = patch.values.shape
    u, v = np.arange(columns, dtype=np.float64) * step, np.arange(rows, dtype=np.float64) * step
    return Section(patch=patch, place=place, u=u - wide / 2, v=high - level_mm - v)


def find_lines(section: Section, sizes: Sizes) -> Lines | None:
    """The four lines of a section; `None` where one is missing."""
    patch, u, v = section.patch, section.u, section.v
    half, high_mm = section.place.wide_mm / 2, section.place.high_mm
    sigma = max(1.0, 0.8 * patch.px_mm / patch.step_mm)
    across = slope(patch.values, sigma)
    down = np.ascontiguousarray(slope(np.ascontiguousarray(patch.values.T), sigma).T)
    base = _base(down, u, v, half)
    if base is None:
        return None
    pair = _sides(across, section, base, sizes)
    if pair is None:
        return None
    left, right = pair
    low, high = (side(base.at + 0.7 * high_mm) for side in (left, right))
    inner = (u > low + 0.2 * (high - low)) & (u < high - 0.2 * (high - low))
    if inner.sum() < 5:
        return None
    mid = float(u[inner].mean())
    window = base(mid) + max(1.5, sizes.high_mm[0]), base(mid) + sizes.high_mm[1]
    window = max(window[0], base(mid) + high_mm - PLAY_TOP_MM), min(window[1], base(mid) + high_mm + PLAY_TOP_MM)
    leans = _leans(base.lean, TOP_DEG)
    top = _pick(_radon(down[::-1, inner].T, u[inner] - mid, v[::-1], leans), v[::-1], window, leans, u[inner] - mid, -1)
    return None if top is None else Lines(left=left, right=right, top=_moved(top, -mid, -1), base=base)


def _sides(across: Grid, section: Section, base: Line, sizes: Sizes) -> tuple[Line, Line] | None:
    """Both flanks, above what may be a fillet."""
    u, v, half, high_mm = section.u, section.v, section.place.wide_mm / 2, section.place.high_mm
    rows = (v > base.at + FOOT_MM) & (v < base.at + max(0.62 * high_mm, FOOT_MM + 1.2))
    ref = float(v[rows].mean())
    leans = _leans(-base.lean, FLANK_DEG)
    radon = _radon(across[rows], v[rows] - ref, u, leans)
    found = (
        _peaks(radon, u, (-half - PLAY_MM, -half + PLAY_MM), leans, v[rows] - ref, 1, CLEAR),
        _peaks(radon, u, (half - PLAY_MM, half + PLAY_MM), leans, v[rows] - ref, -1, CLEAR),
    )
    pair = _flanks(*found, base.way, sizes) or _one_flank(found, base, sizes)
    return None if pair is None else (_moved(pair[0], -ref, -1), _moved(pair[1], -ref, 1))


def _leans(about: float, most_deg: float) -> Array:
    return np.asarray(np.tan(np.arctan(about) + np.radians(np.arange(-most_deg, most_deg + 0.1, 1.0))))


def _moved(line: Line, by: float, way: int) -> Line:
    """The line over a coordinate whose zero lies elsewhere; `way` turns its sign outward."""
    return Line(at=line.at + line.lean * by, lean=line.lean, way=line.way * way, z=line.z)


def _radon(slopes: Grid, x: Array, at: Array, leans: Array) -> Grid:
    """Mean slope (leans, places) along lines `at + lean * x`; each row of `slopes` is one x, each column one place."""
    return _along_lines(np.ascontiguousarray(slopes, dtype=np.float32), np.outer(leans, x) / float(at[1] - at[0]))


@compiled
def _along_lines(values: Grid, shift: Array) -> Grid:
    """Means (L, C) over the rows of a grid (R, C), each shifted by so many columns (L, R), its end ones repeated."""
    lines, rows = shift.shape
    columns = values.shape[1]
    out = np.zeros((lines, columns), np.float32)
    padded = np.empty(3 * columns, np.float32)
    for row in range(rows):
        padded[:columns], padded[2 * columns :] = values[row, 0], values[row, -1]
        padded[columns : 2 * columns] = values[row]
        for k in range(lines):
            steps = np.rint(32 * shift[k, row])
            first = columns + int(np.floor(steps / 32))
            part = np.float32(steps / 32 - np.floor(steps / 32))
            one, two = padded[first : first + columns], padded[first + 1 : first + 1 + columns]
            out[k] += (np.float32(1) - part) * one + part * two
    return out / np.float32(rows)


def _peaks(
    radon: Grid, at: Array, window: tuple[float, float], leans: Array, x: Array, inward: int, clear: float
) -> list[Line]:  # fmt: skip
    """Clear lines, innermost first; `inward` is the direction of growing `at` that leads into the section.

    A line that crosses a stronger one within the stretch looked at is a part of that one, seen askew.
    """
    near = np.flatnonzero((at > window[0]) & (at < window[1]))
    if len(near) < 5:
        return []
    noise = 1.4826 * float(np.median(np.abs(radon))) + 0.02
    size = np.abs(radon[:, near]).max(axis=0)
    least = max(clear * float(size.max()), min(LEAST_Z * noise, float(size.max())))
    ends = np.array([float(x.min()), float(x.max())])
    found: list[Line] = []
    for i in np.argsort(-size):
        if size[i] < least or not 0 < i < len(near) - 1 or size[i] < size[max(0, i - 3) : i + 4].max():
            continue
        k = int(np.argmax(np.abs(radon[:, near[i]])))
        value = float(radon[k, near[i]])
        line = Line(at=float(at[near[i]]), lean=float(leans[k]), way=float(np.sign(value)), z=abs(value) / noise)
        gaps = [line.at - other.at + (line.lean - other.lean) * ends for other in found]
        if all(gap.prod() > 0 and np.abs(gap).min() > ASKEW_MM for gap in gaps):
            found.append(line)
    return sorted(found, key=lambda line: -inward * line.at)


def _pick(
    radon: Grid, at: Array, window: tuple[float, float], leans: Array, x: Array, inward: int
) -> Line | None:  # fmt: skip
    """The clearest line, further out ones at a price."""
    found = _peaks(radon, at, window, leans, x, inward, CLEAR_LEVEL)
    worth = [np.log(min(line.z, Z_ENOUGH) + 1) - LEVEL_FURTHER * k for k, line in enumerate(found)]
    return found[int(np.argmax(worth))] if found else None


def _flanks(left: list[Line], right: list[Line], way: float, sizes: Sizes) -> tuple[Line, Line] | None:
    """The pair that is clear, lies well in, and fits a stated thickness; `way` is the bar's sign outward."""
    best: tuple[float, tuple[Line, Line]] | None = None
    for i, one in enumerate(left):
        for k, two in enumerate(right):
            wide = two.at - one.at
            if not sizes.wide_mm[0] - 0.5 < wide < sizes.wide_mm[1] + 0.5:
                continue
            worth = sum(np.log(min(line.z, Z_ENOUGH) + 1) for line in (one, two)) - FURTHER * (i + k)
            worth -= FLIPPED * ((-one.way != way) + (two.way != way))
            if sizes.new_wide_mm:
                worth -= 0.5 * ((wide / sizes.new_wide_mm - 0.97) / 0.05) ** 2
            if best is None or worth > best[0]:
                best = float(worth), (one, two)
    return None if best is None else best[1]


def _one_flank(found: tuple[list[Line], list[Line]], base: Line, sizes: Sizes) -> tuple[Line, Line] | None:
    """The clearest flank, and the other where a stated thickness has it: there the vane's own flank may run on behind
    in the face's tone."""
    best: tuple[float, int, Line] | None = None
    for side, lines in enumerate(found):
        for k, line in enumerate(lines):
            worth = float(np.log(min(line.z, Z_ENOUGH) + 1)) - FURTHER * k
            worth -= FLIPPED * ((1, -1)[side] * line.way != -base.way)
            if best is None or worth > best[0]:
                best = worth, side, line
    if best is None or not sizes.new_wide_mm:
        return None
    _, side, line = best
    at = line.at + (1, -1)[side] * sizes.new_wide_mm
    other = Line(at=at, lean=-2 * base.lean - line.lean, way=-line.way, z=0.0)
    return (line, other) if side == 0 else (other, line)


def _base(down: Grid, u: Array, v: Array, half: float) -> Line | None:
    """The bar's edge: one straight line on both sides of the foot, or where a flank hides one, on one; the lowest."""
    left = (u > -half - SHOULDER_MM - FOOT_MM) & (u < -half - FOOT_MM)
    right = (u < half + SHOULDER_MM + FOOT_MM) & (u > half + FOOT_MM)
    if min(left.sum(), right.sum()) < 8:
        return None
    leans = _leans(0.0, BASE_DEG)
    parts = [_radon(down[::-1, side].T, u[side], v[::-1], leans) for side in (left, right)]
    one, two = parts
    alike = one * two > 0
    clearer = np.where(np.abs(one) > np.abs(two), one, two)
    both = np.where(alike, 0.5 * (one + two), ONE_SIDE * clearer).astype(np.float32)
    line = _pick(both, v[::-1], (-PLAY_MM, PLAY_MM), leans, u[left | right], -1)
    return None if line is None else _moved(line, 0.0, -1)
