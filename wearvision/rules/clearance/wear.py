"""How deep the faces of an axial stack are worn, from confirmed readings, and what that adds to each gap.

A depth is read against the standing metal beside it, which is where feeler and dial touch. So the gap over the
deepest place is at most the gap at standing metal plus the deepest reading of both faces: the two deepest places
need not pass each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.gauged import NOTHING, Gauged
from wearvision.rules.pump import RunningSide

Face = tuple[str, Gauged | None]


@dataclass(frozen=True, kw_only=True)
class Wear:
    """Deepest confirmed reading of each face, axial; `None` where nothing was read."""

    casing_axial: Gauged | None = None
    impeller_axial: Gauged | None = None
    cover_axial: Gauged | None = None
    back_vanes_axial: Gauged | None = None

    def front_faces(self, side: RunningSide) -> tuple[Face, Face]:
        """The two faces of the front gap: the one it runs against, and the impeller's own."""
        other = ("casing", self.casing_axial) if side == "casing" else ("cover", self.cover_axial)
        return other, ("impeller", self.impeller_axial)

    def back_faces(self, side: RunningSide) -> tuple[Face, Face]:
        """The two faces of the back gap: the one behind, and the back vanes."""
        other = ("cover", self.cover_axial) if side == "casing" else ("casing", self.casing_axial)
        return other, ("back vanes", self.back_vanes_axial)

    def front(self, side: RunningSide) -> Gauged:
        """What wear adds to the front gap at most; a face not read counts as unworn."""
        return _sum(self.front_faces(side))

    def back(self, side: RunningSide) -> Gauged:
        """What wear adds to the back gap at most; a face not read counts as unworn."""
        return _sum(self.back_faces(side))


def unread(faces: tuple[Face, Face]) -> tuple[str, ...]:
    """Names of the faces without a confirmed reading."""
    return tuple(name for name, depth in faces if depth is None)


def _sum(faces: tuple[Face, Face]) -> Gauged:
    total = NOTHING
    for _, depth in faces:
        total = total if depth is None else total.plus(depth, "deepest readings of both faces")
    return total
