"""How worn the faces of an axial stack are, from confirmed readings, and what that adds to each gap.

A depth is read against the standing metal beside it, which is where feeler and dial touch. Two questions, two
answers. Over the deepest place the gap is at most the gap at standing metal plus the deepest reading of both faces:
the two deepest places need not pass each other. Averaged over the face, which is what leakage across the vanes goes
by, a mark counts for its share of the face; what has no share counts for all that is left of the face.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot

from wearvision.rules.gauged import NOTHING, Gauged
from wearvision.rules.pump import RunningSide


@dataclass(frozen=True, kw_only=True)
class Patch:
    """A worn part of a face.

    Attributes
    ----------
    what : str
        `groove G2`, or why its extent is not known.
    share, share_u : float
        Of the face's area, 0 to 1, and its standard uncertainty; `known` says whether `share` was measured or
        stated, or is all that is left.
    depth_axial : Gauged
        Deepest reading in it.
    """

    what: str
    share: float
    share_u: float = 0.0
    depth_axial: Gauged
    known: bool = True

    @property
    def averaged_axial(self) -> Gauged:
        """Share times deepest reading: at most what the patch adds to the gap averaged over the face."""
        share, depth = self.share, self.depth_axial
        u = hypot(share * depth.u_mm, self.share_u * depth.value_mm)
        return Gauged(value_mm=share * depth.value_mm, u_mm=u, how=self.what)


@dataclass(frozen=True, kw_only=True)
class Face:
    """One face of a gap.

    Attributes
    ----------
    name : str
    deepest_axial : Gauged or None
        Deepest confirmed reading; `None` where nothing was read.
    patches : tuple of Patch
        Where it is worn and how deep; empty: anywhere, up to the deepest reading.
    """

    name: str
    deepest_axial: Gauged | None
    patches: tuple[Patch, ...] = ()

    @property
    def averaged_axial(self) -> Gauged | None:
        """At most what its wear adds to the gap averaged over the face."""
        if self.deepest_axial is None or not self.patches:
            return self.deepest_axial
        total = sum_of((patch.averaged_axial for patch in self.patches), "marks by their share of the face")
        return min(total, self.deepest_axial, key=lambda g: g.high_mm)

    @property
    def extent_known(self) -> bool:
        """Whether every worn place has a share of the face, or nothing was read."""
        return self.deepest_axial is None or (bool(self.patches) and all(p.known for p in self.patches))

    @property
    def worn_share(self) -> float:
        """Largest share of the face that may be worn, 0 to 1."""
        if not self.patches:
            return 0.0 if self.deepest_axial is None else 1.0
        return min(1.0, sum(p.share for p in self.patches))


@dataclass(frozen=True, kw_only=True)
class Wear:
    """Deepest confirmed reading of each face, axial, `None` where nothing was read; and where the faces are worn."""

    casing_axial: Gauged | None = None
    impeller_axial: Gauged | None = None
    cover_axial: Gauged | None = None
    back_vanes_axial: Gauged | None = None
    casing_patches: tuple[Patch, ...] = ()
    impeller_patches: tuple[Patch, ...] = ()
    cover_patches: tuple[Patch, ...] = ()

    @property
    def _casing(self) -> Face:
        return Face(name="casing", deepest_axial=self.casing_axial, patches=self.casing_patches)

    @property
    def _cover(self) -> Face:
        return Face(name="cover", deepest_axial=self.cover_axial, patches=self.cover_patches)

    def front_faces(self, side: RunningSide) -> tuple[Face, Face]:
        """The two faces of the front gap: the one it runs against, and the impeller's own."""
        other = self._casing if side == "casing" else self._cover
        return other, Face(name="impeller", deepest_axial=self.impeller_axial, patches=self.impeller_patches)

    def back_faces(self, side: RunningSide) -> tuple[Face, Face]:
        """The two faces of the back gap: the one behind, and the back vanes."""
        other = self._cover if side == "casing" else self._casing
        return other, Face(name="back vanes", deepest_axial=self.back_vanes_axial)


def share_said(face: Face) -> str:
    """How much of a face that was read counts as worn, in words."""
    percent = 100 * face.worn_share
    share = f"{percent:.0f} % of it worn" if percent >= 10 else f"{percent:.2g} % of it worn"
    return share if face.extent_known else f"up to {share}, extent not known"


def unread(faces: Iterable[Face]) -> tuple[str, ...]:
    """Names of the faces without a confirmed reading."""
    return tuple(face.name for face in faces if face.deepest_axial is None)


def deepest(faces: Iterable[Face]) -> Gauged:
    """What wear adds to a gap at most, over the deepest places of both faces; a face not read counts as unworn."""
    return sum_of((f.deepest_axial for f in faces), "deepest readings of both faces")


def averaged(faces: Iterable[Face]) -> Gauged:
    """What wear adds at most to a gap averaged over the face; a face not read counts as unworn."""
    return sum_of((f.averaged_axial for f in faces), "averaged over both faces")


def sum_of(depths: Iterable[Gauged | None], how: str) -> Gauged:
    """Sum of what is known; `NOTHING` when nothing is."""
    total = NOTHING
    for depth in depths:
        total = total if depth is None else total.plus(depth, how)
    return total
