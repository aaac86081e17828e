"""How heat changes a gap: growth of casing and rotor, from the materials and lengths of this pump.

Mean coefficients near room temperature, 1e-6 per K, read in stored public tables (materials text, appendix B,
table B.6, https://pdfslide.us/documents/thermal-expansion-data-table.html and its continuation
https://issuhub.com/view/index/5550?pageIndex=844; cast bronzes http://www.wisetool.com/designation/te.htm, per
deg F, x 1.8) unless marked `from memory`. They rise with temperature: from 100 C on use a table by temperature
(ASME BPVC II-D, TE-1). The maker's own table of cold settings rules over any figure from here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from wearvision.errors import BadInput
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import RunningSide

OWN_ALLOWANCE = 0.5
"""Half-width, 1e-6 per K, given to a single published figure: our allowance, no source."""
MAKERS_TABLE = "the maker's table of cold settings rules over this figure"
_STATED = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?e-6 ?(?:/|per) ?K")


@dataclass(frozen=True, kw_only=True)
class Material:
    """Mean coefficient of linear expansion, 1e-6 per K, its half-width, and where it stands."""

    name: str
    alpha_um_m_k: float
    half_width_um_m_k: float = OWN_ALLOWANCE
    source: str


_B6 = "materials text, table B.6"
_MEMORY = "from memory"
_TABLE = (
    Material(name="grey iron", alpha_um_m_k=11.4, source=_B6),
    Material(name="carbon steel", alpha_um_m_k=11.7, source=_B6),
    Material(name="carbon steel 1040", alpha_um_m_k=11.3, source=_B6),
    Material(name="stainless 304", alpha_um_m_k=17.2, source=_B6),
    Material(name="stainless 316", alpha_um_m_k=15.9, source=_B6),
    Material(name="stainless 405", alpha_um_m_k=10.8, source=_B6),
    Material(name="stainless 440A", alpha_um_m_k=10.2, source=_B6),
    Material(name="ductile iron 60-40-18", alpha_um_m_k=11.2, source=_B6),
    Material(name="ductile iron 80-55-06", alpha_um_m_k=10.6, source=_B6),
    Material(name="bearing bronze C93200", alpha_um_m_k=18.0, source=_B6),
    Material(name="tin bronze", alpha_um_m_k=18.25, half_width_um_m_k=0.25, source="bronze table, 18.0 to 18.5"),
    Material(name="aluminium bronze", alpha_um_m_k=16.65, half_width_um_m_k=0.45, source="bronze table, 16.2 to 17.1"),
    Material(name="duplex 2205", alpha_um_m_k=13.0, half_width_um_m_k=1.0, source=_MEMORY),
    Material(name="cast duplex CD4MCu", alpha_um_m_k=12.0, half_width_um_m_k=1.0, source=f"{_MEMORY}, weak"),
)
MATERIALS: Mapping[str, Material] = MappingProxyType({m.name: m for m in _TABLE})


def material(name: str) -> Material:
    """A material of the table, or one stated by its coefficient, `12.1e-6 / K`.

    Raises
    ------
    BadInput
        When it is neither; lists the table.
    """
    for known in MATERIALS.values():
        if known.name.lower() == name.strip().lower():
            return known
    stated = _STATED.fullmatch(name.strip())
    if stated is None:
        names = ", ".join(MATERIALS)
        raise BadInput("no such material in the table", got=name, do=f'state it like "12.1e-6 / K", or use {names}')
    return Material(name=name.strip(), alpha_um_m_k=float(stated[1]), source="stated in the pump file")


def growth(of: Material, size_mm: float, rise_k: float) -> Gauged:
    """Growth of a length or a diameter, mm; its uncertainty is that of the coefficient alone."""
    change = of.alpha_um_m_k * 1e-6 * size_mm * rise_k
    half_width = of.half_width_um_m_k * 1e-6 * size_mm * abs(rise_k)
    return Gauged(value_mm=change, u_mm=half_width / math.sqrt(3), how=f"{of.name}, {rise_k:g} K")


def front_change_axial(
    case: Material, case_length_axial_mm: float, case_rise_k: float,
    rotor: Material, rotor_length_axial_mm: float, rotor_rise_k: float, side: RunningSide = "casing",
) -> Gauged:  # fmt: skip
    """How heat changes the front gap, mm; positive opens it.

    Lengths run from the thrust bearing's axial datum to the gap. The rotor grows towards a gap at the casing
    and away from one at the cover (reverse vanes), so there the sign turns.
    """
    opens = growth(case, case_length_axial_mm, case_rise_k)
    closes = growth(rotor, rotor_length_axial_mm, rotor_rise_k)
    return opens.minus(closes, "by heat") if side == "casing" else closes.minus(opens, "by heat")


def ring_change_diametral(
    bore: Material, bore_rise_k: float, ring: Material, ring_rise_k: float, diameter_mm: float
) -> Gauged:
    """How heat changes a ring clearance, diametral, mm; positive opens it. Worst when the rotor heats first."""
    opens, closes = growth(bore, diameter_mm, bore_rise_k), growth(ring, diameter_mm, ring_rise_k)
    return opens.minus(closes, "by heat")
