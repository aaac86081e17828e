"""Rolling-bearing life: equivalent load, L10, and the factor a change of load makes (ISO 281, from memory)."""

from __future__ import annotations

from typing import Literal

from wearvision.rules.effects.span import not_negative, positive

Rolling = Literal["ball", "roller"]
EXPONENT: dict[Rolling, float] = {"ball": 3.0, "roller": 10 / 3}
PAIR_E = 1.14
ASKED_LIFE = "API 610 asks 25 000 h rated and 16 000 h at worst, ASME B73.1 17 500 h (from memory)"


def pair_load_n(radial_n: float, axial_n: float) -> float:
    """Equivalent load of a pair of 40-degree angular-contact ball bearings, back to back, N."""
    not_negative("radial bearing load", radial_n)
    not_negative("axial bearing load", axial_n)
    if axial_n <= PAIR_E * radial_n:
        return radial_n + 0.55 * axial_n
    return 0.57 * radial_n + 0.93 * axial_n


def life_mrev(rating_n: float, load_n: float, rolling: Rolling) -> float:
    """L10 in millions of revolutions: (C/P)^p."""
    return float((positive("dynamic load rating", rating_n) / positive("bearing load", load_n)) ** EXPONENT[rolling])


def life_h(mrev: float, speed_rpm: float) -> float:
    """L10 in hours."""
    return 1e6 * mrev / (60 * positive("speed", speed_rpm))


def life_ratio(load_old_n: float, load_new_n: float, rolling: Rolling) -> float:
    """Life after a load change over life before: (P_old/P_new)^p."""
    ratio = positive("bearing load", load_old_n) / positive("bearing load", load_new_n)
    return float(ratio ** EXPONENT[rolling])
