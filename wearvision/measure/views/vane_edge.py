"""The end of a vane in profile: its section and both top corners."""

from __future__ import annotations

from wearvision.measure.finders.stub import Stub
from wearvision.measure.finders.vane_edge import find_vane_edge
from wearvision.measure.finders.vane_edge_belief import fits
from wearvision.measure.finders.vane_edge_figures import to_findings
from wearvision.measure.finders.vane_edge_search import sizes_of
from wearvision.measure.look import Look, Seen

NO_CARD = "no card in the picture: the vane is looked for beside it"


def see(look: Look) -> Seen:
    """Section and corners of the vane beside the card."""
    if not look.cards_px:
        return Seen(not_assessed=(("vane edge", NO_CARD),))
    told = look.stated.nominal
    sizes = sizes_of(told.get("vane_height_mm"), told.get("vane_thickness_mm"))
    stub = find_vane_edge(
        look.gray, look.plane, look.cards_px, sizes, blur_px=look.blur_px, copies=look.copies, lights=look.lights
    )
    if not isinstance(stub, Stub):
        return Seen(not_assessed=(("vane edge", f"{stub.reason}; {stub.hint}"),))
    return Seen(findings=to_findings(stub, look.plane, sizes, fits(stub), blur_px=look.blur_px))
