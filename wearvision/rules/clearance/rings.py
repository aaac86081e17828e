"""A wear-ring pair judged: how open, when to renew, whether it stays open when hot. All clearances diametral.

The largest clearance is held against the limit, so that the worst reading counts as it does on every sheet.
Limit: the maker's design value times `renew_factor`, else the table's. Renewing at twice the new clearance is a
handbook statement of good practice (Civil Engineering Handbook, Centrifugal pumps); 0.020 to 0.040 in for
split-case pumps is common practice, no source. A new pair stands at its new clearance, so on that side only a
proven shortfall counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wearvision.rules.clearance.hold import OPEN, hold
from wearvision.rules.clearance.line import Line, lines_json
from wearvision.rules.clearance.ring_fit import RingFit, ring_fit
from wearvision.rules.clearance.ring_limits import new_clearance, suspicions
from wearvision.rules.clearance.ring_table import NewClearance
from wearvision.rules.clearance.thermal import material, ring_change_diametral
from wearvision.rules.decision import Decision, DecisionWord, Limit
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import IN, RingPair, Thermal

PRACTICE_DIAMETRAL = Limit(lower_mm=0.020 * IN, upper_mm=0.040 * IN)
"""Common practice for split-case pumps, no source."""


@dataclass(frozen=True, kw_only=True)
class RingClearance:
    """What the readings of one pair say.

    Attributes
    ----------
    pair : RingPair
    fit : RingFit
        Clearance and shape, diametral.
    new : NewClearance or None
        The new clearance, diametral; `None` when only a person can state it.
    renew, tight, practice, touch : Decision or None
        Largest clearance against `renew_at_diametral_mm`; smallest against the new one; mean against practice;
        whether the smallest stays open when hot.
    hot_min_diametral : Gauged or None
        Smallest clearance when hot.
    questions : tuple of str
        What a person has to settle.
    """

    pair: RingPair
    fit: RingFit
    new: NewClearance | None
    renew: Decision | None
    tight: Decision | None
    practice: Decision | None
    hot_min_diametral: Gauged | None
    touch: Decision | None
    questions: tuple[str, ...]

    @property
    def mean_diametral(self) -> Gauged:
        """Mean clearance, the one leakage follows."""
        return self.fit.mean_diametral

    @property
    def new_diametral_mm(self) -> float | None:
        """Clearance of a new pair, diametral, mm."""
        return None if self.new is None else self.new.clearance_diametral_mm

    @property
    def renew_at_diametral_mm(self) -> float | None:
        """Clearance at which the pair is renewed, diametral, mm."""
        return None if self.new_diametral_mm is None else self.new_diametral_mm * self.pair.renew_factor

    @property
    def word(self) -> DecisionWord:
        """`within`, `beyond` (renew, or proven too tight), or `undecided`."""
        decided = [d.word for d in (self.renew, self.tight, self.touch) if d is not None]
        if "beyond" in decided:
            return "beyond"
        return "undecided" if self.open else "within"

    @property
    def open(self) -> bool:
        """Whether a person is needed: undecided near a limit, or asked something."""
        near = any(d is not None and d.word == "undecided" for d in (self.renew, self.touch))
        return near or self.renew is None or bool(self.questions)

    @property
    def advice(self) -> str:
        """What to do with the pair, one sentence."""
        if self.touch is not None and self.touch.word != "within":
            return "Would touch or may touch when hot: open the clearance, or ask the maker."
        if self.renew is None:
            return "Undecided: state the maker's design clearance (diametral)."
        if self.questions:
            return "Undecided: answer the question first."
        if self.renew.word == "beyond":
            return "Renew the pair."
        if self.tight is not None and self.tight.word == "beyond":
            return "Tighter than new: check readings and fit before it runs."
        if self.renew.word == "undecided":
            return f"Undecided: {self.renew.what_would_settle}."
        return "May run on."

    @property
    def lines(self) -> tuple[Line, ...]:
        """The table of this pair."""
        fit, new, renew = self.fit, self.new, self.renew_at_diametral_mm
        return (
            Line(key="clearance_min_diametral", label="Clearance, diametral, smallest", figure=fit.min_diametral,
                 limit="" if new is None else f"{new.clearance_diametral_mm:.3f} mm when new", decision=self.tight,
                 note="only a proven shortfall counts"),
            Line(key="clearance_mean_diametral", label="Clearance, diametral, mean", figure=fit.mean_diametral,
                 limit=PRACTICE_DIAMETRAL.text, decision=self.practice, note="common practice, no source"),
            Line(key="clearance_max_diametral", label="Clearance, diametral, largest", figure=fit.max_diametral,
                 limit="" if renew is None else f"renew at {renew:.3f} mm", decision=self.renew,
                 note="" if new is None else f"{self.pair.renew_factor:g} x {new.source}"),
            *_shape("bore", fit.bore_ovality_diametral, fit.bore_taper_diametral),
            *_shape("ring", fit.ring_ovality_diametral, fit.ring_taper_diametral),
            *self._hot(),
        )  # fmt: skip

    def _hot(self) -> tuple[Line, ...]:
        if self.hot_min_diametral is None:
            return ()
        return (
            Line(key="clearance_hot_min_diametral", label="Clearance when hot, diametral, smallest",
                 figure=self.hot_min_diametral, limit=OPEN.text, decision=self.touch,
                 note="worst while warming up, with the rotor hot before the case"),
        )  # fmt: skip

    def to_json(self) -> dict[str, object]:
        """Everything derived, by name."""
        new = self.new_diametral_mm
        return {
            "name": self.pair.name, "word": self.word, "advice": self.advice,
            "ring_diameter": self.fit.ring_diameter.to_json(), "bore_diameter": self.fit.bore_diameter.to_json(),
            "new_clearance_diametral_mm": new,
            "new_clearance_diametral_source": self.new.source if self.new else None,
            "renew_at_clearance_diametral_mm": self.renew_at_diametral_mm,
            "mean_over_new_clearance_diametral": None if new is None else self.mean_diametral.value_mm / new,
            "lines": lines_json(self.lines), "questions": list(self.questions),
        }  # fmt: skip


def ring_clearance(pair: RingPair, thermal: Thermal | None = None, *, guard_factor: float) -> RingClearance:
    """Judge one ring pair.

    Parameters
    ----------
    pair : RingPair
    thermal : Thermal, optional
        For the allowance above 260 C and the hot clearance.
    guard_factor : float

    Raises
    ------
    BadInput
        Fewer than two readings of bore or ring, or a ring that would not go into its bore.
    """
    fit = ring_fit(pair)
    new, asked = new_clearance(pair, fit.ring_diameter.value_mm, thermal)
    change = _heat(pair, fit.ring_diameter.value_mm, thermal)
    hot = None if change is None else fit.min_diametral.plus(change, "smallest when hot")
    upper = lower = None
    if new is not None:
        upper = Limit(upper_mm=new.clearance_diametral_mm * pair.renew_factor, inclusive=False)
        lower = Limit(lower_mm=new.clearance_diametral_mm)
    return RingClearance(
        pair=pair, fit=fit, new=new, renew=hold(fit.max_diametral, upper, guard_factor),
        tight=hold(fit.min_diametral, lower, guard_factor),
        practice=hold(fit.mean_diametral, PRACTICE_DIAMETRAL, guard_factor),
        hot_min_diametral=hot, touch=hold(hot, OPEN, guard_factor),
        questions=(*asked, *suspicions(pair, fit.mean_diametral, new, fit.ring_diameter.value_mm)),
    )  # fmt: skip


def both_together(rings: Sequence[RingClearance]) -> str:
    """Both rings of a double-suction impeller, one sentence; empty for fewer than two.

    The impeller's thrust is balanced only while both leak alike (common practice, no source).
    """
    if len(rings) < 2:
        return ""
    wide, tight = (f(rings, key=lambda r: r.mean_diametral.value_mm) for f in (max, min))
    said = f"Mean clearances differ by {wide.mean_diametral.minus(tight.mean_diametral).text}, diametral"
    if any(r.word == "beyond" for r in rings):
        return f"{said}; a pair is beyond its limit: renew both, or unequal leakage leaves axial thrust."
    if any(r.word == "undecided" for r in rings):
        return f"{said}; a pair is undecided: both wait for it."
    return f"{said}; both may run on together."


def _heat(pair: RingPair, diameter_mm: float, thermal: Thermal | None) -> Gauged | None:
    """The worst change by heat that the facts allow to work out, diametral."""
    if thermal is None or not (pair.bore_material and pair.ring_material) or thermal.setting_temp_c is None:
        return None
    start, process = thermal.setting_temp_c, thermal.process_temp_c
    rotor = process if thermal.rotor_temp_c is None else thermal.rotor_temp_c
    case = process if thermal.case_temp_c is None else thermal.case_temp_c
    cases = [t for t in (case, thermal.warm_up_case_temp_c) if t is not None]
    if rotor is None or not cases:
        return None
    bore, ring = material(pair.bore_material), material(pair.ring_material)
    changes = [ring_change_diametral(bore, t - start, ring, rotor - start, diameter_mm) for t in cases]
    return min(changes, key=lambda c: c.value_mm)


def _shape(of: str, ovality: Gauged | None, taper: Gauged | None) -> tuple[Line, ...]:
    both = (("ovality", ovality, "two directions at one place"), ("taper", taper, "two places"))
    return tuple(
        Line(key=f"{of}_{name}_diametral", label=f"{name.capitalize()} of the {of}, diametral", figure=figure,
             note="" if figure else f"needs readings at {needs}")
        for name, figure, needs in both
    )  # fmt: skip


