"""Back pump-out vanes: how fast they turn the liquid behind the shroud, and what that leaves at the box.

k = (S + t)/(2 S), t vane height, S shroud face to cover, so the axial back gap is S - t (Stepanoff, axial thrust
chapter, from memory). Good for t/S near 1 and vanes over the full radius, clearly optimistic below t/S 0.5. The
box pressure and the thrust relief follow from k with no net flow behind the impeller (derived).
"""

from __future__ import annotations

import math

from wearvision.errors import BadInput
from wearvision.rules.effects.span import not_negative, positive

VALID_T_OVER_S = 0.5
SMOOTH_K = 0.5
"""Rotation factor behind a shroud without vanes."""


def vane_share(vane_height_mm: float, back_space_axial_mm: float) -> float:
    """t/S, 0 to 1."""
    share = not_negative("back vane height", vane_height_mm) / positive("axial back space", back_space_axial_mm)
    if share > 1:
        raise BadInput(
            "the back vanes would be higher than the space behind the shroud",
            got=(vane_height_mm, back_space_axial_mm), do="the axial back space is vane height plus axial back gap",
        )  # fmt: skip
    return share


def rotation_factor(vane_height_mm: float, back_space_axial_mm: float) -> float:
    """k by the formula, 0.5 to 1: speed of the liquid over speed of the shaft."""
    return (1 + vane_share(vane_height_mm, back_space_axial_mm)) / 2


def cautious_rotation_factor(vane_height_mm: float, back_space_axial_mm: float) -> float:
    """k with the vanes' part cut by t/S, 0.5 to 1; never above `rotation_factor`, equal at t/S 0 and 1.

    Our own allowance (no source) for a formula that is known to be optimistic at small t/S.
    """
    share = vane_share(vane_height_mm, back_space_axial_mm)
    return (1 + share * share) / 2


def _squares_m2(tip_radius_m: float, sleeve_radius_m: float) -> float:
    if positive("vane tip radius", tip_radius_m) <= positive("sleeve radius", sleeve_radius_m):
        raise BadInput(
            "the back vanes must reach further out than the sleeve", got=(tip_radius_m, sleeve_radius_m),
            do="check which radius is which, in m",
        )  # fmt: skip
    return tip_radius_m**2 - sleeve_radius_m**2


def rotation_pressure_pa(
    *, density_kg_m3: float, speed_rpm: float, tip_radius_m: float, sleeve_radius_m: float
) -> float:
    """(rho/2) omega^2 (R^2 - r_s^2): what liquid at shaft speed would hold back, Pa."""
    omega = positive("speed", speed_rpm) * math.pi / 30
    return positive("density", density_kg_m3) / 2 * omega**2 * _squares_m2(tip_radius_m, sleeve_radius_m)


def box_pressure(rim: float, factor: float, rotation: float) -> float:
    """Pressure at the box, unit and datum of that at the rim: p_rim - k^2 (rho/2) omega^2 (R^2 - r_s^2)."""
    return rim - factor**2 * rotation


def relief_n(factor: float, *, rotation_pa: float, tip_radius_m: float, sleeve_radius_m: float) -> float:
    """Axial thrust the vanes take off, against a smooth shroud, N: (pi/2)(k^2 - 1/4)(R^2 - r_s^2) x rotation."""
    squares = _squares_m2(tip_radius_m, sleeve_radius_m)
    return math.pi / 2 * (factor**2 - SMOOTH_K**2) * squares * rotation_pa
