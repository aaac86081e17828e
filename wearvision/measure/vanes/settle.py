"""Which disc, which number and which centre: each that is likely is traced, and the one that holds best is taken.

A further place of the disc is looked at only while the vanes do not lie alike, or hardly stand out from their gaps; so
is a map of how rough the picture is, which shows vanes that are no brighter than their disc.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.chart import Chart, Copies, chart_of, grain_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.measure.vanes.ends import common_end, scores
from wearvision.measure.vanes.find import find_vanes
from wearvision.measure.vanes.fold import NUMBERS
from wearvision.measure.vanes.foot import Where, camera_foot
from wearvision.measure.vanes.hub import Disc, find_discs
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.present import Presence, presence
from wearvision.measure.vanes.refine import beside
from wearvision.measure.vanes.rim import axis_by_rim
from wearvision.measure.vanes.trace import trace
from wearvision.measure.vanes.traces import MOST_GAIN, Traces
from wearvision.quantity import Unmeasured

LEAST_HOLDS, LEAST_ALIKE, SURE_HOLDS = 0.4, 0.75, 0.85
"""Below this the vanes do not lie alike, and nothing is said of them; below the second they are counted, and not
compared; above the third no other disc is tried."""
NONE_BESIDE = 0.93
"""Where the vanes lie so much alike no other pair of lines along them is tried."""
MOVES, CLEARER, SAME_MM = 2, 1.05, 1.0
"""How often the line is moved to what most vanes share, how much clearer they must be about it, and by how much less
their thickness may differ: another is that of other lines."""
MORE = 0.5
"""Power of their number by which more vanes count for more: twice as many hold if seven tenths as well."""
LEAST_OTHER = 2.0
"""A number other than the one stated must stand out, and its vanes lie alike, by so much together."""
SURE_CLEAR = 2.5
"""From here on most vanes are clear along the common line up to their tips (`Traces.clearness`): where they are not, it
may be another line, and other discs are tried. Of drawn photos one in twenty lies below."""
LEAST_APART, SURE_APART = 0.6, 0.9
"""Logarithm by which vanes must stand out from the gaps between them, or they may be none; from the second on no
other disc is looked for."""
OTHERS = 3
"""Layouts of one disc that are looked at where nothing is sure."""
FAR_MM = 2.5
"""An axis by the rim that lies so far from where the disc's circles seem to have theirs is a place to begin from."""
STIFF = 0.1
"""How straight the common line is held, `Layout.stiff`, once it is doubted."""
HINT = "take it again from straight above, the whole disc in frame, with light from two sides"
DISC_HINT = "take the whole disc in, from straight above, and state its diameter"

Tried = tuple[float, Traces, Layout]
"""How well the vanes of a layout lie alike, 0 to 1, their traces, and the layout."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Settled:
    """Vanes that were traced.

    Attributes
    ----------
    held : float
        How well they lie alike, 0 to 1.
    traces : Traces
    layout : Layout
    end_score : (N, S) array
        How much each station looks like the end of its vane.
    tip_mm : float
        Where most vanes end, along the line.
    shown : Presence
    """

    held: float
    traces: Traces
    layout: Layout
    end_score: Array
    tip_mm: float
    shown: Presence

    @property
    def apart(self) -> float:
        """How far the vanes stand out from the gaps; where no gap is seen nothing speaks against them."""
        return float(np.nan_to_num(self.shown.apart, nan=np.inf))

    @property
    def clear(self) -> bool:
        """Whether the vanes lie alike and stand out, so that something may be said of them."""
        return self.apart >= LEAST_APART and self.held >= LEAST_HOLDS

    @property
    def sure(self) -> bool:
        """Whether no other disc is looked at."""
        return self.alike and self.apart > SURE_APART

    @property
    def alike(self) -> bool:
        """Whether the vanes lie alike for sure, and most of them clearly."""
        return self.held > SURE_HOLDS and self.traces.clearness() > SURE_CLEAR


@dataclass(frozen=True, kw_only=True, eq=False)
class _Search:
    """One photo with its small map, and what is stated of the disc."""

    gray: Image
    plane: Plane
    chart: Chart
    cards_px: tuple[Array, ...]
    blur_px: float
    diameter_mm: float | None
    number: int | None
    thickness_mm: float | None

    def best(self) -> Settled | None:
        """The disc whose vanes are believed most, each about the axis that its rim tells; `None` where no disc is seen.

        Where nothing is clear then, or the vanes lie alike too little to be sure, what was taken for the rim may have
        been none, another centre may hold although less stands out there, or the common line may swing along what are
        no vanes' edges. Last they are sought by how rough the picture is.
        """
        best, told = None, []
        for disc in self.discs():
            told.append(replace(disc, axis=self._axis(disc)))
            best = self._better(best, told[-1])
            if best is not None and best.sure:
                return best
        if best is None or not best.clear or not best.alike:
            for disc in (free for one in told for free in _freed(one)):
                best = self._better(best, disc, most=OTHERS)
                if best is not None and best.sure:
                    return best
        for disc in told:
            best = self._better(best, disc, STIFF)
        by_grain = replace(self, chart=grain_of(self.chart))
        for disc in told:
            best = by_grain._better(best, disc)
        return best

    def discs(self) -> list[Disc]:
        """Where the disc may be, likeliest first."""
        return find_discs(self.chart, self.diameter_mm, camera_foot(self.plane)[1])

    def _axis(self, disc: Disc) -> Where | None:
        if self.diameter_mm is None:
            return None
        return axis_by_rim(self.chart, self.plane, disc.centre_mm, self.diameter_mm / 2)

    def _better(self, best: Settled | None, disc: Disc, stiff: float = 0.0, most: int = 1) -> Settled | None:
        """What is believed more: the best so far, or the number and centre that hold best on a disc.

        Where none holds for sure, those that stand out less are traced as well, `most` in all.
        """
        found = find_vanes(self.chart, self.plane, disc, self.diameter_mm, self.number, self.thickness_mm, stiff)
        tried = [self._traced(one) for one in _numbers(found, self.number)]
        if not tried:
            return best
        if max(held for held, _, _ in tried) < SURE_HOLDS:
            tried += [self._traced(one) for one in found[1:most] if all(one is not old for _, _, old in tried)]
        one = self._settled(*self._of_most(self._alike(max(tried, key=_likely))))
        return one if best is None else max(best, one, key=_believed)

    def _alike(self, first: Tried) -> Tried:
        """The pair of lines along the same vanes that lies most alike, where that found does not lie so for sure."""
        if first[0] > NONE_BESIDE:
            return first
        others = [self._traced(one) for one in beside(self.chart, self.plane, first[2])]
        held, traces, layout = max((first, *others), key=_how_alike)
        return held, traces, replace(layout, score=first[2].score)

    def _of_most(self, first: Tried) -> Tried:
        """What most vanes share, where they show that the line leaves them: one that is bent may have drawn it."""
        best, now, clear = first, first, first[1].clearness()
        for _ in range(MOVES):
            _, traces, layout = now
            if not traces.most_mm.any() or CLEARER * clear > MOST_GAIN:  # none can be so much clearer
                break
            aside = np.interp(layout.line.along_mm, traces.line.along_mm, traces.most_mm)
            now = self._traced(replace(layout, line=layout.line.moved(aside)))
            same = abs(now[1].thickness_mm - best[1].thickness_mm) < SAME_MM
            if same and now[1].clearness() > CLEARER * clear:
                best, clear = now, now[1].clearness()
        return best

    def _traced(self, one: Layout) -> Tried:
        """How much the vanes of a layout lie alike once they are traced, the traces, and the layout."""
        traces = trace(self.gray, self.plane, one, self.cards_px, self.blur_px)
        return traces.alike(), traces, one

    def _settled(self, held: float, traces: Traces, layout: Layout) -> Settled:
        score = scores(traces)
        tip = common_end(score, traces, layout.disc_mm)
        shown = presence(self.gray, self.plane, layout, traces, tip, self.cards_px)
        return Settled(held=held, traces=traces, layout=layout, end_score=score, tip_mm=tip, shown=shown)


def settle(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], blur_px: float, *, diameter_mm: float | None,
    number: int | None, thickness_mm: float | None = None, copies: Copies | None = None,
) -> Settled | Unmeasured:  # fmt: skip
    """Find the vanes of a disc; `number` is what is stated: one more to try."""
    chart = chart_of(gray, plane, cards_px, copies)
    search = _Search(
        gray=gray, plane=plane, chart=chart, cards_px=cards_px, blur_px=blur_px, diameter_mm=diameter_mm, number=number,
        thickness_mm=thickness_mm,
    )  # fmt: skip
    best = search.best()
    if best is None:
        return Unmeasured(reason="no disc was found whose vanes stand out", hint=DISC_HINT)
    doubt = _doubted(best, number)
    return best if doubt is None else doubt


def _doubted(best: Settled, number: int | None) -> Unmeasured | None:
    """Why nothing is told of vanes that were traced, where they are too little believed."""
    if best.held < LEAST_HOLDS:
        return Unmeasured(reason="the vanes' edges could not be followed alike on all of them", hint=HINT)
    if best.apart < LEAST_APART:
        return Unmeasured(reason="the vanes hardly stand out from the gaps between them", hint=HINT)
    if number not in (None, best.layout.number) and best.held * best.layout.score < LEAST_OTHER:
        return Unmeasured(reason=f"{number} vanes are stated, and no other number stands out clearly", hint=DISC_HINT)
    return None


def _freed(disc: Disc) -> list[Disc]:
    """The disc as if no rim told its axis: where its circles seem to be, and where that axis is if that is far off."""
    if disc.axis is None:
        return []
    free = replace(disc, axis=None)
    far = float(np.hypot(*(disc.axis.middle_mm - disc.centre_mm))) > FAR_MM
    return [free, replace(free, centre_mm=disc.axis.middle_mm)] if far else [free]


def _believed(one: Settled) -> tuple[bool, float]:
    return one.clear, one.traces.clearness() * one.layout.score


def _likely(tried: Tried) -> float:
    """How much speaks for a number: how well the vanes lie alike, how far they stand out, and how many they are."""
    held, _, layout = tried
    return float(held * np.sqrt(max(layout.score, 0.0)) * layout.number**MORE)


def _how_alike(tried: Tried) -> float:
    """How much speaks for a pair of lines of all along the vanes: how alike they lie, more than how clearly."""
    held, _, layout = tried
    return float(held**2 * np.sqrt(max(layout.score, 0.0)))


def _numbers(found: list[Layout], stated: int | None) -> list[Layout]:
    """The layout that stands out most, that of the number stated, and where nothing is of twice as many."""
    if not found:
        return []
    first = found[0]
    other = [one for one in found if one.number == stated != first.number]
    if stated is None and 2 * first.number in NUMBERS:
        other = [replace(first, number=2 * first.number)]
    return [first, *other[:1]]
