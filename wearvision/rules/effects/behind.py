"""Sums behind the shroud in shop units, as new and now: what `tell_back` puts between bounds.

`doubt` runs from 0, the published rotation factor, to 1, the cautious one. Now: the back vanes have lost height, the
face behind is worn, the impeller stands where the axial back gap says; gaps are those at standing metal.
"""

from __future__ import annotations

from wearvision.rules.effects import back_vanes as vanes

ATMOSPHERE_KPA = 101.325
"""Standard atmosphere (ISO 2533), for gauge to absolute."""
MM = 1e-3


def factor_new(doubt: float, height: float, gap_new_axial: float) -> float:
    """k as new."""
    return _factor(doubt, height, height + gap_new_axial)


def factor_now(doubt: float, height: float, gap_axial: float, face_axial: float, loss_axial: float) -> float:
    """k now: lost vane height leaves the space behind the shroud as it is, a worn face adds to it."""
    return _factor(doubt, max(0.0, height - loss_axial), height + gap_axial + face_axial)


def box_new_kpa(
    doubt: float, rim_kpa: float, density: float, speed: float, tip: float, sleeve: float,
    height: float, gap_new_axial: float,
) -> float:  # fmt: skip
    """Pressure at the box as new, datum of the rim."""
    return rim_kpa - factor_new(doubt, height, gap_new_axial) ** 2 * _held_kpa(density, speed, tip, sleeve)


def box_now_kpa(
    doubt: float, rim_kpa: float, density: float, speed: float, tip: float, sleeve: float,
    height: float, gap_axial: float, face_axial: float, loss_axial: float,
) -> float:  # fmt: skip
    """Pressure at the box now, datum of the rim."""
    factor = factor_now(doubt, height, gap_axial, face_axial, loss_axial)
    return vanes.box_pressure(rim_kpa, factor, _held_kpa(density, speed, tip, sleeve))


def over_vapour_kpa(doubt: float, vapour_kpa: float, rim_kpa: float, *rest: float) -> float:
    """Pressure at the box now above the vapour pressure, the rim's being gauge and the vapour's absolute."""
    return box_now_kpa(doubt, rim_kpa, *rest) + ATMOSPHERE_KPA - vapour_kpa


def change_kpa(
    doubt: float, density: float, speed: float, tip: float, sleeve: float,
    height: float, gap_new_axial: float, gap_axial: float, face_axial: float, loss_axial: float,
) -> float:  # fmt: skip
    """Pressure at the box now less as new."""
    new, now = factor_new(doubt, height, gap_new_axial), factor_now(doubt, height, gap_axial, face_axial, loss_axial)
    return (new**2 - now**2) * _held_kpa(density, speed, tip, sleeve)


def relief_now_n(
    doubt: float, density: float, speed: float, tip: float, sleeve: float,
    height: float, gap_axial: float, face_axial: float, loss_axial: float,
) -> float:  # fmt: skip
    """Thrust relief of the back vanes now."""
    return _relief_n(factor_now(doubt, height, gap_axial, face_axial, loss_axial), density, speed, tip, sleeve)


def relief_lost_n(
    doubt: float, density: float, speed: float, tip: float, sleeve: float,
    height: float, gap_new_axial: float, gap_axial: float, face_axial: float, loss_axial: float,
) -> float:  # fmt: skip
    """Thrust relief as new less now: load that comes onto the bearing, toward the suction."""
    new = _relief_n(factor_new(doubt, height, gap_new_axial), density, speed, tip, sleeve)
    return new - relief_now_n(doubt, density, speed, tip, sleeve, height, gap_axial, face_axial, loss_axial)


def _factor(doubt: float, height: float, space_axial: float) -> float:
    published = vanes.rotation_factor(height, space_axial)
    return published + doubt * (vanes.cautious_rotation_factor(height, space_axial) - published)


def _held_kpa(density: float, speed: float, tip: float, sleeve: float) -> float:
    return 1e-3 * vanes.rotation_pressure_pa(
        density_kg_m3=density, speed_rpm=speed, tip_radius_m=tip * MM, sleeve_radius_m=sleeve * MM
    )


def _relief_n(factor: float, density: float, speed: float, tip: float, sleeve: float) -> float:
    held_pa = 1e3 * _held_kpa(density, speed, tip, sleeve)
    return vanes.relief_n(factor, rotation_pa=held_pa, tip_radius_m=tip * MM, sleeve_radius_m=sleeve * MM)
