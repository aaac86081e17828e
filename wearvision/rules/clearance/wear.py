"""How deep the faces of an axial stack are worn, from confirmed readings, and what that adds to each gap.

A depth is read against the standing metal beside it, which is where feeler and dial touch. So the gap over the
deepest place is at most the gap at standing metal plus the deepest reading of both faces: the two deepest places
need not pass each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.gauged import NOTHING, Gauged
from wearvision.rules.pump import RunningSide

FACES = ("casing", "impeller", "cover", "back_vanes")


@dataclass(frozen=True, kw_only=True)
class Wear:
    """Deepest confirmed reading of each face, axial; `None` where nothing was read."""

    casing_axial: Gauged | None = None
    impeller_axial: Gauged | None = None
    cover_axial: Gauged | None = None
    back_vanes_axial: Gauged | None = None

    def front(self, side: RunningSide) -> Gauged:
        """What wear adds to the front gap at most: the face it runs against, and the impeller's own."""
        other = self.casing_axial if side == "casing" else self.cover_axial
        return _sum(other, self.impeller_axial)

    def back(self, side: RunningSide) -> Gauged:
        """What wear adds to the back gap at most: the face behind, and the back vanes."""
        other = self.cover_axial if side == "casing" else self.casing_axial
        return _sum(other, self.back_vanes_axial)

    @property
    def unread(self) -> tuple[str, ...]:
        """Faces without a confirmed reading; they count as unworn, and the table says so."""
        faces = zip(FACES, (self.casing_axial, self.impeller_axial, self.cover_axial, self.back_vanes_axial),
                    strict=True)  # fmt: skip
        return tuple(name.replace("_", " ") for name, depth in faces if depth is None)


def _sum(*depths: Gauged | None) -> Gauged:
    total = NOTHING
    for depth in depths:
        total = total if depth is None else total.plus(depth, "deepest readings of both faces")
    return total
