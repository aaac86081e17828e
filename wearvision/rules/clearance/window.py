"""The settings of the front gap that keep both gaps in range, or the proof that none does.

With total travel T, front wear Wf and back wear Wb, a setting s must satisfy

    front_low <= s,  s + Wf <= front_high,  back_low <= T - s,  T - s + Wb <= back_high.

Two lower and two upper edges make four rooms; a setting exists when all four are at least zero. Each room is held
against zero with its own uncertainty, so that the answer can also be that the gauges cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.decision import Decision, DecisionWord, Limit, decide
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import AxialFacts

_AT_LEAST_NOTHING = Limit(lower_mm=0.0)


@dataclass(frozen=True, kw_only=True)
class Room:
    """Distance between an upper and a lower edge, axial; negative: no setting satisfies both."""

    lacks: str
    room_axial: Gauged
    decision: Decision


@dataclass(frozen=True, kw_only=True)
class Window:
    """Settings of the front gap, cold, that keep both gaps in range.

    Attributes
    ----------
    low_axial, high_axial : Gauged
        Its ends; low above high when there is none.
    rooms : tuple of Room
    setting_axial_mm : float or None
        The target, moved as little as needed to be safely inside; `None` when no setting exists.
    """

    low_axial: Gauged
    high_axial: Gauged
    rooms: tuple[Room, ...]
    setting_axial_mm: float | None

    @property
    def word(self) -> DecisionWord:
        """`within`: a setting exists; `beyond`: none does; `undecided`: the gauges cannot tell."""
        return _worst(self.rooms)

    @property
    def why_not(self) -> tuple[str, ...]:
        """What leaves no room, or perhaps none."""
        return tuple(r.lacks for r in self.rooms if r.decision.word == self.word != "within")


def window(
    facts: AxialFacts, total_axial: Gauged, front_wear_axial: Gauged, back_wear_axial: Gauged, guard_factor: float
) -> Window:
    """Settings for liquids up to `front_up_to_c`, from total travel and wear, mm."""
    front_low, front_high = _exactly(facts.front_low_axial_mm), _exactly(facts.front_high_axial_mm)
    back_low, back_high = _exactly(facts.back_low_axial_mm), _exactly(facts.back_high_axial_mm)
    upper_front = front_high.minus(front_wear_axial)
    upper_back = total_axial.minus(back_low)
    lower_back = total_axial.plus(back_wear_axial).minus(back_high)
    rooms = tuple(
        Room(lacks=lacks, room_axial=room, decision=decide(room.value_mm, room.u_mm, _AT_LEAST_NOTHING, guard_factor))
        for lacks, room in (
            ("front faces worn by more than the front range is wide", upper_front.minus(front_low)),
            ("total too small for both least gaps", upper_back.minus(front_low)),
            ("total and wear together too large for both largest gaps", upper_front.minus(lower_back)),
            ("back faces worn by more than the back range is wide", back_high.minus(back_wear_axial).minus(back_low)),
        )
    )
    low = max(front_low, lower_back, key=lambda g: g.value_mm)
    high = min(upper_front, upper_back, key=lambda g: g.value_mm)
    word = _worst(rooms)
    setting = None if word == "beyond" else _inside(facts.front_target_axial_mm, low, high, guard_factor)
    return Window(low_axial=low, high_axial=high, rooms=rooms, setting_axial_mm=setting)


def shifted(found: Window, raise_axial: Gauged) -> Window:
    """The window for a hotter liquid: every cold setting raised alike."""
    setting = None if found.setting_axial_mm is None else found.setting_axial_mm + raise_axial.value_mm
    return Window(
        low_axial=found.low_axial.plus(raise_axial), high_axial=found.high_axial.plus(raise_axial),
        rooms=found.rooms, setting_axial_mm=setting,
    )  # fmt: skip


def _exactly(value_mm: float) -> Gauged:
    return Gauged(value_mm=value_mm, u_mm=0.0)


def _worst(rooms: tuple[Room, ...]) -> DecisionWord:
    words = {r.decision.word for r in rooms}
    return "beyond" if "beyond" in words else "undecided" if "undecided" in words else "within"


def _inside(target_mm: float, low: Gauged, high: Gauged, guard_factor: float) -> float:
    """The target, or the nearest setting that is inside with its guard; the middle when guards overlap."""
    least, most = low.value_mm + guard_factor * low.u_mm, high.value_mm - guard_factor * high.u_mm
    if least > most:
        return (low.value_mm + high.value_mm) / 2
    return min(max(target_mm, least), most)
