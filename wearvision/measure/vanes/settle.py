"""Which disc, which number and which centre: each that is likely is traced, and the one that holds best is taken.

A further place of the disc is looked at only while the vanes do not lie alike, or hardly stand out from their gaps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.chart import Chart, chart_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.measure.vanes.ends import common_end, scores
from wearvision.measure.vanes.find import find_vanes
from wearvision.measure.vanes.fold import NUMBERS
from wearvision.measure.vanes.foot import Where, camera_foot
from wearvision.measure.vanes.hub import Disc, find_discs
from wearvision.measure.vanes.layout import Layout
from wearvision.measure.vanes.present import Presence, presence
from wearvision.measure.vanes.rim import axis_by_rim
from wearvision.measure.vanes.trace import Traces, holds, trace
from wearvision.quantity import Unmeasured

LEAST_HOLDS, SURE_HOLDS = 0.4, 0.85
"""Below this the vanes do not lie alike, and nothing is said of them; above the second no other disc is tried."""
MORE = 0.5
"""Power of their number by which more vanes count for more: twice as many hold if seven tenths as well."""
LEAST_OTHER = 2.0
"""A number other than the one stated must stand out, and its vanes lie alike, by so much together."""
LEAST_APART, SURE_APART = 0.6, 0.9
"""Logarithm by which vanes must stand out from the gaps between them, or they may be none; from the second on no
other disc is looked for."""
HINT = "take it again from straight above, the whole disc in frame, with light from two sides"
DISC_HINT = "take the whole disc in, from straight above, and state its diameter"


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


def settle(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], blur_px: float, *, diameter_mm: float | None,
    number: int | None, thickness_mm: float | None = None,
) -> Settled | Unmeasured:  # fmt: skip
    """Find the vanes of a disc; `number` is what is stated: one more to try."""
    chart = chart_of(gray, plane, cards_px)
    discs = find_discs(chart, diameter_mm, camera_foot(plane)[1])
    if not discs:
        return Unmeasured(reason="no disc with a bore or a rim was found", hint=DISC_HINT)
    best: Settled | None = None
    told = [replace(d, axis=_axis(chart, plane, d, diameter_mm)) for d in discs]
    again = [d for d, one in zip(discs, told, strict=True) if one.axis is not None]  # it may have been no rim
    for disc in (*told, *again):
        if disc in again and best is not None and best.clear:
            break
        found = find_vanes(chart, plane, disc, diameter_mm, number, thickness_mm)
        tried = [_held(gray, plane, one, cards_px, blur_px) for one in _numbers(found, number)]
        if tried:
            one = _settled(gray, plane, max(tried, key=_likely), cards_px)
            best = one if best is None else max(best, one, key=_believed)
        if best is not None and best.held > SURE_HOLDS and best.apart > SURE_APART:
            break
    if best is None:
        return Unmeasured(reason="no vanes stand out from the disc", hint=DISC_HINT)
    if best.held < LEAST_HOLDS:
        return Unmeasured(reason="the vanes' edges could not be followed alike on all of them", hint=HINT)
    if best.apart < LEAST_APART:
        return Unmeasured(reason="the vanes hardly stand out from the gaps between them", hint=HINT)
    if number not in (None, best.layout.number) and best.held * best.layout.score < LEAST_OTHER:
        return Unmeasured(reason=f"{number} vanes are stated, and no other number stands out clearly", hint=DISC_HINT)
    return best


def _axis(chart: Chart, plane: Plane, disc: Disc, diameter_mm: float | None) -> Where | None:
    return axis_by_rim(chart, plane, disc.centre_mm, diameter_mm / 2) if diameter_mm else None


def _settled(
    gray: Image, plane: Plane, tried: tuple[float, Traces, Layout], cards_px: tuple[Array, ...]
) -> Settled:
    held, traces, layout = tried
    score = scores(traces)
    tip = common_end(score, traces, layout.disc_mm)
    shown = presence(gray, plane, layout, traces, tip, cards_px)
    return Settled(held=held, traces=traces, layout=layout, end_score=score, tip_mm=tip, shown=shown)


def _believed(one: Settled) -> tuple[bool, float]:
    return one.clear, one.held * one.layout.score


def _likely(tried: tuple[float, Traces, Layout]) -> float:
    """How much speaks for a number: how well the vanes lie alike, how far they stand out, and how many they are."""
    held, _, layout = tried
    return float(held * np.sqrt(max(layout.score, 0.0)) * layout.number**MORE)


def _numbers(found: list[Layout], stated: int | None) -> list[Layout]:
    """The layout that stands out most, that of the number stated, and where nothing is of twice as many."""
    if not found:
        return []
    first = found[0]
    other = [one for one in found if one.number == stated != first.number]
    if stated is None and 2 * first.number in NUMBERS:
        other = [replace(first, number=2 * first.number)]
    return [first, *other[:1]]


def _held(
    gray: Image, plane: Plane, one: Layout, cards_px: tuple[Array, ...], blur_px: float
) -> tuple[float, Traces, Layout]:
    """How much the vanes of a layout lie alike once they are traced, the traces, and the layout."""
    traces = trace(gray, plane, one, cards_px, blur_px)
    return holds(traces), traces, one
