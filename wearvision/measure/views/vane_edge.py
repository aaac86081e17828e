"""The end of a vane in profile: its section and both top corners."""

from __future__ import annotations

from wearvision.measure.finders.stub import Stub
from wearvision.measure.finders.vane_edge import find_vane_edge, to_findings
from wearvision.measure.look import Look, Seen

NO_CARD = "no card in the picture: the vane is looked for beside it"


def see(look: Look) -> Seen:
    """Section and corners of the vane beside the card."""
    if not look.cards_px:
        return Seen(not_assessed=(("vane edge", NO_CARD),))
    stub = find_vane_edge(look.gray, look.plane, look.cards_px[0], look.cards_px, blur_px=look.blur_px)
    if not isinstance(stub, Stub):
        return Seen(not_assessed=(("vane edge", f"{stub.reason}; {stub.hint}"),))
    nominal = look.stated.nominal.get("vane_height_mm")
    return Seen(findings=to_findings(stub, look.plane, nominal, blur_px=look.blur_px))
