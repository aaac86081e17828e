"""A steel rule in a photo: found, read, and turned into a scale, or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.lens import Lens
from wearvision.measure.prior import Prior, prior_of
from wearvision.measure.rule.bands import Line, find_lines
from wearvision.measure.rule.decide import Clue, own_units, settle
from wearvision.measure.rule.digits import numbered
from wearvision.measure.rule.hierarchy import Pattern, find_pattern
from wearvision.measure.rule.lattice import Lattice, find_chain, fit_law, grow
from wearvision.measure.rule.marks import Marks, measure_marks
from wearvision.measure.rule.pitch import rough_pitch
from wearvision.measure.rule.refine import refined
from wearvision.measure.rule.result import RuleScale
from wearvision.measure.rule.solve import sights_of, solve_rule
from wearvision.measure.rule.strip import Strip, moved_to, place_px, unroll
from wearvision.measure.rule.units import GRADUATIONS
from wearvision.quantity import Unmeasured
from wearvision.stated import RuleUnit, Stated

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

LEAST_PX = 64
"""Smaller photos are not searched."""
LINES, MORE_LINES = 8, 3
"""Candidate lines looked at, and looked at more once one is certain."""
FAINT_VOTES, FAINT_PITCH = 0.02, 0.1
"""In a photo whose best line has fewer votes, a line on which no period stands out more is not read. The best lines of
drawn rules have 0.03 votes and more, those of photos of worn parts seldom 0.02."""
GROWN = 2
"""Rows of a line whose chains are followed."""
NEAR_PX, BLOCK = 24.0, 4
"""How far to either side of a line a lattice is sought, and rows of 2 px looked at together."""
MOST_SCATTER, GOES_ON = 0.08, 0.35
"""Most scatter of marks, in periods; least darkness in a neighbouring block of rows, of that in their own."""
REACH_PERIODS, REACH_PX = 26.0, (60.0, 320.0)
"""How far across the marks are followed: numbers beyond the longest of a 1/64 in scale end there."""
FEET_SHARE = 0.3
"""Of the shortest marks' length: a line that runs off the marks' feet by more, end to end, is turned."""
PARALLEL = 0.2
"""Scales of one rule are parallel within this angle, rad."""
SHARPEST = 0.001
"""Most relative standard uncertainty of the period in the photo: beyond, marks were not followed well."""
UNEVEN = Unmeasured(reason="the rule's marks do not follow one another evenly", hint="show more of the rule, sharp")
NONE = Unmeasured(reason="no steel rule seen", hint="lay a rule flat beside the part, its marks sharp and in view")


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One row of marks, read."""

    strip: Strip
    lattice: Lattice
    marks: Marks
    pattern: Pattern
    clue: Clue


def find_rule(
    gray: Gray, stated: Stated, *, focal35_mm: float | None = None, lens: Lens | None = None
) -> RuleScale | Unmeasured:
    """The scale of a steel rule in the photo.

    Parameters
    ----------
    gray : (H, W) uint8
    stated : Stated
        `rule` settles what the marks leave open; `rule_class` and `card_height_mm` (of what the rule lies on) enter
        the uncertainty and the plane.
    focal35_mm : 35 mm film focal length of EXIF; a prior, never a scale
    lens : calibration of the camera, instead

    Raises
    ------
    BadInput
        For an image that is not 8-bit gray.
    """
    if gray.ndim != 2 or gray.dtype != np.uint8:
        raise BadInput("a gray 8-bit image is needed", got=(gray.shape, str(gray.dtype)))
    readings = _readings(gray) if min(gray.shape) >= LEAST_PX else []
    if not readings:
        return NONE
    rule = _one_rule(readings)
    ratios = [1.0, *(_ratio(rule[0], other) for other in rule[1:])]
    told = settle([r.clue for r in rule], ratios, stated.rule)
    if isinstance(told, Unmeasured):
        return told
    index, unit = told
    size = (gray.shape[1], gray.shape[0])
    prior = prior_of(size, focal35_mm, lens=lens)
    return _scale(rule, index, unit, stated, prior, size)


def _readings(gray: Gray) -> list[Reading]:
    """Rows of marks with a pattern; once one is certain, only lines along it are looked at."""
    readings: list[Reading] = []
    sure: Line | None = None
    left = LINES
    least = None
    for line in find_lines(gray, LINES):
        if left == 0:
            break
        if least is None:
            least = FAINT_PITCH if line.votes < FAINT_VOTES else 0.0
        if sure is not None and abs(float(sure.along @ line.across)) > PARALLEL:
            continue
        left -= 1
        reading = read_line(gray, line, least)
        if reading is not None and len(reading.pattern.splits) > 1:
            readings.append(reading)
            if own_units(reading.clue)[1]:
                left = min(left, MORE_LINES) if sure is None else 0
                sure = line
    return readings


def read_line(gray: Gray, line: Line, least: float = 0.0) -> Reading | None:
    """Lattice, marks and pattern along a candidate line; None when there are no regular marks, or when no rough
    period stands out by `least`.

    A line that runs at an angle to the marks' feet leaves them: then they are read once more along their feet.
    """
    reading = _read_along(gray, line, least)
    if reading is None or (straight := _along_feet(reading)) is None:
        return reading
    again = _read_along(gray, straight)
    return reading if again is None or len(again.lattice.n) < len(reading.lattice.n) else again


def _along_feet(reading: Reading) -> Line | None:
    """The line half a shortest mark from the marks' feet; None where the one that was read is as good."""
    line, marks, short = reading.strip.line, reading.marks, reading.pattern.short_px
    if len(reading.pattern.splits) < 2 or not abs(marks.foot_px[-1] - marks.foot_px[0]) > FEET_SHARE * short:
        return None
    ends = [0, -1]

    def row(share: float) -> Array:
        s = marks.foot_px[ends] + share * marks.side * short
        return place_px(line, marks.t_px[ends] + marks.lean.shift(marks.t_px[ends], s), s)

    middle, mark = row(0.5), row(1.0) - row(0.0)
    way = middle[1] - middle[0]
    length = float(np.hypot(*way))
    along = way / length
    skew = (mark @ along) / (mark @ np.array([-along[1], along[0]]))
    return Line(
        centre_px=middle.mean(axis=0), along=along, skew=(float(skew.mean()), float(np.diff(skew)[0]) / length),
        votes=line.votes,
    )  # fmt: skip


def _read_along(gray: Gray, line: Line, least: float = 0.0) -> Reading | None:
    """`read_line`, on the line as it is."""
    near = unroll(gray, line, (-NEAR_PX - 2, NEAR_PX + 2), 2.0)
    count = len(near.s_px) // BLOCK
    blocks, inside, middles = (
        v[: count * BLOCK].reshape(count, BLOCK, *v.shape[1:]).mean(axis=1)
        for v in (near.values, near.inside, near.s_px)
    )
    pitches = rough_pitch(blocks, inside > 0.99, near.t_px)
    if max(p.clear for p in pitches) < least:
        return None
    chains = [(chain, k) for k, pitch in enumerate(pitches) if (chain := find_chain(blocks[k], near.t_px, pitch))]
    best, worth = None, 0.0
    for chain, k in sorted(chains, key=lambda c: -c[0].worth)[:GROWN]:
        lattice = grow(chain)
        if lattice is not None and (value := _worth(lattice)) > worth and _goes_on(lattice, blocks, k, near.t_px):
            best, worth = (float(middles[k]), lattice), value
    if best is None:
        return None
    return _read(gray, line, *best)


def _goes_on(lattice: Lattice, blocks: NDArray[np.float32], k: int, t_px: Array) -> bool:
    """Whether the marks of a row are seen in one beside it too, as chance peaks are not."""
    half = lattice.period_px(lattice.t_px) / 2
    places = np.stack([lattice.t_px - half, lattice.t_px, lattice.t_px + half])
    depth = []
    for row in (k, k - 1, k + 1):
        if 0 <= row < len(blocks):
            left, mark, right = np.interp(places, t_px, blocks[row])
            depth.append(float(np.median((left + right) / 2 - mark)))
    return lattice.scatter < MOST_SCATTER and max(depth[1:]) > GOES_ON * depth[0] > 0


def _worth(lattice: Lattice) -> float:
    """Many marks, few missing, little scatter."""
    count = len(lattice.n)
    whole = count / (int(lattice.n[-1]) - int(lattice.n[0]) + 1)
    return float(count * whole**2 * max(0.0, 1 - 4 * lattice.scatter) * lattice.strength)


def _read(gray: Gray, line: Line, row_px: float, lattice: Lattice) -> Reading | None:
    t = lattice.t_px * (1 + row_px * line.skew[1])
    law, scatter = fit_law(lattice.n, t)
    lattice = Lattice(law=law, n=lattice.n, t_px=t, scatter=scatter, strength=lattice.strength)
    period = float(lattice.period_px(float(np.median(t))))
    reach = float(np.clip(REACH_PERIODS * period, *REACH_PX))
    strip = unroll(gray, moved_to(line, row_px), (-reach, reach), max(1.0, reach / 110))
    marks = measure_marks(strip, lattice)
    if marks is None:
        return None
    pattern = find_pattern(marks.n, marks.t_px, marks.length_px)
    slim = pattern.short_px / period
    told = numbered(strip, marks, pattern) if pattern.splits else 0
    return Reading(
        strip=strip, lattice=lattice, marks=marks, pattern=pattern,
        clue=Clue(pattern=pattern, slim=slim, numbered=told),
    )  # fmt: skip


def _one_rule(readings: list[Reading]) -> list[Reading]:
    """The readings that belong to one rule: the best, and one beside it that runs along it."""
    ranked = sorted(readings, key=_standing, reverse=True)
    first = ranked[0]
    beside = [r for r in ranked[1:] if _beside(first, r)]
    return [first, *beside[:1]]


def _standing(reading: Reading) -> tuple[bool, float]:
    return own_units(reading.clue)[1], _worth(reading.lattice) * len(reading.pattern.splits)


def _beside(a: Reading, b: Reading) -> bool:
    """Whether two rows of marks may be the two scales of one rule: parallel, apart, facing each other, close."""
    la, lb = a.strip.line, b.strip.line
    if abs(float(la.along @ lb.across)) > PARALLEL:
        return False
    gap = float((lb.centre_px - la.centre_px) @ la.across)
    longest = float(np.nanmax(a.marks.length_px)) + float(np.nanmax(b.marks.length_px))
    facing = b.marks.side * float(la.along @ lb.along)
    return 0.5 * longest < a.marks.side * gap < 6 * longest and a.marks.side * facing < 0


def _ratio(a: Reading, b: Reading) -> float:
    """Period of b over that of a where the marks of a, drawn on, would cross b: so tilt drops out."""
    line, lean = a.strip.line, a.marks.lean
    t = np.array([np.median(a.lattice.t_px)])
    gap = (b.strip.line.centre_px - line.centre_px) @ b.strip.line.across
    s = float(gap / (line.across @ b.strip.line.across))
    slope = line.skew[1] + lean.slope
    at = place_px(line, t + lean.shift(t, s), np.array([s]))[0]
    tb = (at - b.strip.line.centre_px) @ b.strip.line.along
    return float(b.lattice.period_px(np.array(tb)) / (a.lattice.period_px(t)[0] * (1 + s * slope)))


def _scale(
    rule: list[Reading], index: int, unit: RuleUnit, stated: Stated, prior: Prior, size_px: tuple[int, int]
) -> RuleScale | Unmeasured:
    reading, graduation = rule[index], GRADUATIONS[unit]
    lattice = refined(reading.strip, reading.lattice, reading.marks)
    sights = sights_of(reading.strip, lattice, reading.marks, graduation.period_mm)
    solved = solve_rule(sights, size_px, prior, stated.card_height_mm, stated.rule_class)
    ends = sights.mark_px[solved.used][[0, -1]]
    partner = next((own_units(r.clue)[0] for k, r in enumerate(rule) if k != index), ())
    at = sights.mark_px[int(np.argmin(np.abs(sights.mark_mm)))]
    told = RuleScale(
        unit=graduation.unit, period_mm=graduation.period_mm, marks_used=int(solved.used.sum()),
        residual_px=solved.residual_px, ends_px=ends, band_px=_band(reading), at_px=at, plane=solved.plane,
        partner=partner[0] if len(partner) == 1 else None, stated=not own_units(reading.clue)[1],
    )  # fmt: skip
    return told if told.period_u < SHARPEST else UNEVEN


def _band(reading: Reading) -> Array:
    """Outline of the marks in the photo, (4, 2)."""
    marks, line = reading.marks, reading.strip.line
    longest = float(np.nanmax(marks.length_px))
    t = marks.t_px[[0, -1, -1, 0]]
    s = marks.foot_px[[0, -1, -1, 0]] + marks.side * longest * np.array([0, 0, 1, 1])
    return place_px(line, t + marks.lean.shift(t, s), s)
