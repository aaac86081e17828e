"""Leakage of a new pump by its specific speed, and how it grows when the ring opens.

Q_L/Q per ring 4.1/n_q^1.6 below n_q 27 and 0.15/n_q^0.6 above: an average of new pumps at ordinary clearance
(Guelich, Centrifugal Pumps, ch. 3, from memory).
"""

from __future__ import annotations

from wearvision.rules.effects.span import Span, not_negative, positive

SPREAD = 1 / 3
"""Relative spread put on the average: our own allowance, the source gives none."""
BRANCH_N_Q = 27.0


def specific_speed(speed_rpm: float, eye_flow_m3_s: float, head_m: float) -> float:
    """n_q = n sqrt(Q)/H^0.75 (rev/min, m3/s, m), with the flow of one eye and the head of one stage."""
    flow = positive("flow", eye_flow_m3_s)
    return float(positive("speed", speed_rpm) * flow**0.5 / positive("head", head_m) ** 0.75)


def leakage_share(n_q: float) -> float:
    """Q_L/Q of one ring of a new pump, Q being the flow of the ring's eye."""
    if positive("specific speed", n_q) < BRANCH_N_Q:
        return float(4.1 / n_q**1.6)
    return float(0.15 / n_q**0.6)


def growth(new_diametral_mm: float, worn_diametral_mm: float) -> Span:
    """Factor on the leakage when the diametral clearance goes from new to worn.

    A short ring leaks as C, a long one as C^1.5, so the factor lies between the ratio and its power 1.5
    (derived from the gap-flow form): 2.0 to 2.83 for a doubling.
    """
    ratio = not_negative("worn diametral clearance", worn_diametral_mm) / positive(
        "new diametral clearance", new_diametral_mm
    )
    steep = float(ratio**1.5)
    return Span(min(ratio, steep), max(ratio, steep))
