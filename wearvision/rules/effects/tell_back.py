"""Back vanes and axial back gap told: how fast the liquid turns, pressure at the box, thrust relief, as new and now."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import behind
from wearvision.rules.effects.back_vanes import VALID_T_OVER_S
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.span import Span, over
from wearvision.rules.effects.telling import PART, Fact, Figure, between, fact, gauged, tell
from wearvision.rules.gauged import Gauged

CHANGE, LOST = "box_pressure_change", "thrust_relief_lost"
ROUTE = (
    "k = (S + t)/2S of back vane height and axial back space (Stepanoff, from memory), down to k with the vanes' part"
    " cut by t/S (our own allowance)"
)
PRESSURE = "; box = rim - k^2 (rho/2) omega^2 (R^2 - r^2) (derived)"
RELIEF = "; relief (pi rho omega^2/4)(k^2 - 1/4)(R^2 - r^2)^2 (derived)"
STILL = "no net flow behind the impeller, vanes from sleeve to rim"
DOUBT = (PART,)
"""From the published rotation factor to the cautious one."""
VAPOUR = "CAUTION: the box may fall below vapour pressure; open the axial back gap or ask the maker"


def back_effects(
    known: PumpFacts, stack: AxialStack | None, height_loss_axial: Gauged | None = None
) -> tuple[Effect | Blocked, ...]:
    """Rotation factor, box pressure and thrust relief; nothing for a pump without axial stack and back vanes.

    Parameters
    ----------
    known : PumpFacts
    stack : AxialStack or None
    height_loss_axial : Gauged, optional
        Loss of vane height all over, mm; without it the deepest confirmed reading bounds it from above.
    """
    if stack is None and known.vane_height.span is None:
        return ()
    height = known.vane_height
    behind_it = _Behind(
        turning=(known.density, known.speed, known.tip_radius, known.sleeve_radius), new=(height, _gap_new(stack)),
        now=(height, _gap_now(stack), _face(stack), _loss(stack, height_loss_axial)),
    )  # fmt: skip
    return (*_pressures(known, behind_it), *_reliefs(behind_it))


@dataclass(frozen=True, kw_only=True)
class _Behind:
    """Facts of the space behind the shroud: what turns it, and its sizes as new and now."""

    turning: tuple[Fact, ...]
    new: tuple[Fact, ...]
    now: tuple[Fact, ...]

    @property
    def both(self) -> tuple[Fact, ...]:
        return (*self.turning, *self.new, *self.now[1:])

    def words(self, name: str, title: str, unit: str, tail: str = "", *, new: bool = False, now: bool = True) -> Figure:
        """What is told; the validity of k where it stands on the sizes as new, now, or both."""
        valid = (_validity("as new", self.new) if new else "") + (_validity("now", self.now) if now else "")
        return Figure(name=name, title=title, unit=unit, route=ROUTE + tail, assumption=STILL + valid)


def _pressures(known: PumpFacts, b: _Behind) -> tuple[Effect | Blocked, ...]:
    factor = b.words("back_vane_rotation_factor", "Liquid behind the shroud over shaft speed, now", "1")
    box_new = b.words("box_pressure_new", "Pressure at the box, as new", "kPa gauge", PRESSURE, new=True, now=False)
    box_now = b.words("box_pressure_now", "Pressure at the box, now", "kPa gauge", PRESSURE)
    change = b.words(CHANGE, "Change of pressure at the box", "kPa", PRESSURE, new=True)
    above = b.words("box_pressure_over_vapour", "Pressure at the box above vapour pressure", "kPa",
                     f"{PRESSURE}; air at {behind.ATMOSPHERE_KPA:.0f} kPa")  # fmt: skip
    now = (known.rim_pressure, *b.turning, *b.now)
    return (
        tell(factor, b.now, behind.factor_now, spreads=DOUBT),
        tell(box_new, (known.rim_pressure, *b.turning, *b.new), behind.box_new_kpa, spreads=DOUBT),
        tell(box_now, now, behind.box_now_kpa, spreads=DOUBT),
        tell(change, b.both, behind.change_kpa, spreads=DOUBT),
        _warned(tell(above, (known.vapour_pressure, *now), behind.over_vapour_kpa, spreads=DOUBT)),
    )


def _reliefs(b: _Behind) -> tuple[Effect | Blocked, ...]:
    relief = b.words("thrust_relief_now", "Axial thrust taken off by the back vanes, now", "N", RELIEF)
    lost = b.words(LOST, "Axial thrust no longer taken off, toward the suction", "N", RELIEF, new=True)
    return (
        tell(relief, (*b.turning, *b.now), behind.relief_now_n, spreads=DOUBT),
        tell(lost, b.both, behind.relief_lost_n, spreads=DOUBT),
    )


def _warned(above: Effect | Blocked) -> Effect | Blocked:
    if isinstance(above, Blocked) or above.low > 0:
        return above
    return replace(above, assumption=f"{VAPOUR}; {above.assumption}")


def _gap_new(stack: AxialStack | None) -> Fact:
    stated = stack.facts.back_new_axial_mm if stack else None
    return fact("axial back gap as new or last set", stated, "mm", "[axial] back_new_axial")


def _gap_now(stack: AxialStack | None) -> Fact:
    after = stack.back_after_axial if stack else None
    if after is not None:
        return gauged("axial back gap after setting at standing metal", after)
    found = stack.back_gap_axial if stack else None
    return gauged("axial back gap as found at standing metal", found, "[axial] back_gap_axial")


def _face(stack: AxialStack | None) -> Fact:
    """Wear of the face behind the back vanes averaged over it: anything up to what its marks add at most."""
    worn = None if stack is None else stack.wear.back_faces(stack.facts.running_side)[0].averaged_axial
    return _up_to("axial wear averaged over the face behind", worn)


def _loss(stack: AxialStack | None, stated: Gauged | None) -> Fact:
    """As stated for all vanes, unless confirmed readings of the lowest places rule over it."""
    read = stack.wear.back_vanes_axial if stack else None
    if stated is not None and read in (None, stated):
        return gauged("axial loss of back vane height", stated)
    return _up_to("axial loss of back vane height", read)


def _up_to(words: str, most: Gauged | None) -> Fact:
    if most is None:
        return fact(words, 0.0, "mm", note="not read, taken as none")
    return Fact(words=words, span=Span(0.0, max(0.0, most.high_mm)), unit="mm")


def _validity(when: str, facts: tuple[Fact, ...]) -> str:
    """Whether t/S lies where k is good; empty while facts are missing."""
    spans = [f.span for f in facts if f.span is not None]
    if len(spans) < len(facts) or spans[0].low <= 0:
        return ""
    share = over(_vane_share, *spans)
    inside = "inside 0.5 to 1" if share.low >= VALID_T_OVER_S else "OUTSIDE 0.5 to 1, where k is clearly optimistic"
    return f"; t/S {when} {between(share)}, {inside}"


def _vane_share(height: float, gap_axial: float, face_axial: float = 0.0, loss_axial: float = 0.0) -> float:
    return max(0.0, height - loss_axial) / (height + gap_axial + face_axial)
