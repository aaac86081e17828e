"""One piece of wear: kind, outline, quantities and doubts. The one word that images and rules share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.quantity import Quantity

Kind = Literal[
    "groove", "pit", "crack", "rub", "gasket-land", "notch", "washout", "vane-edge", "vane-section", "vane",
    "depth-section",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)

FLAGS: Mapping[str, str] = {
    "faint": "Weak evidence: look at the part before trusting this mark.",
    "cut-by-frame": "The mark runs out of the picture; its true extent is larger.",
    "beside-edge": "The mark runs along an edge of the face; it may be a machined step.",
    "under-stain": "Rust, a stain or oil covers part of the mark; its edges were bridged.",
    "narrow": "Only a few pixels wide; the width is the least certain figure here.",
    "full-circle": "The mark goes all the way round.",
    "in-glare": "Part of the mark lies in glare.",
    "in-shadow": "Part of the mark lies in a shadow.",
    "breach": "Nothing is left to seal here: a leak path from one side to the other.",
    "suspected": "Suspected from the picture only.",
    "one-sided": "Little sound metal on one side of it: the level it is measured from is less sure.",
    "hole-like": "As large as a drilled hole: look whether it is one; not counted as a pit until then.",
    "marked": "Outlined by a person.",
    "reshaped": "Outline changed by a person.",
    "snapped": "Outline snapped to the picture around a person's box or taps: look whether it fits.",
    "not-snapped": "Ellipse in a person's box, not snapped: nothing stood out there to outline.",
}
"""Every doubt has one name and one sentence, defined here and nowhere else."""

DETAILS = ("side", "index")
"""Which one of several a finding is: an edge's side, a vane's index."""
Points = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Finding:
    """One piece of wear on one photo.

    Attributes
    ----------
    id : str
        Short and unique on its photo: letter of the kind and a number, `G1`.
    kind : Kind
    outline_px : (N, 2) array
        Closed outline in photo pixels (EXIF orientation applied), N >= 3, read-only.
    quantities : mapping of str to Quantity
        Open figures under the names of the design (`width`, `radius`, `arc`, ...).
    sealed : mapping of str to Quantity
        Depth or severity estimates. Never shown, nor written by `measure`, before the reading is committed.
    flags : tuple of str
        Keys of `FLAGS`.
    places_px : (M, 2) array
        Places to put a gauge, most telling first.
    by : str
        Name of the person who marked it; empty when the finder did.
    struck : str
        Reason a person struck it from the record; empty when it stands.
    detail : mapping of str to str or int
        Which one of several it is: `side` of an edge, `index` of a vane.
    same_as : str
        The finding on another photo of the part that this one repeats, `photo/G1`; it is gauged there.
    """

    id: str
    kind: Kind
    outline_px: Points
    quantities: Mapping[str, Quantity]
    sealed: Mapping[str, Quantity] = field(default_factory=dict)
    flags: tuple[str, ...] = ()
    places_px: Points = field(default_factory=lambda: np.zeros((0, 2)))
    by: str = ""
    struck: str = ""
    same_as: str = ""
    detail: Mapping[str, str | int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        unknown = [f for f in self.flags if f not in FLAGS]
        if unknown:
            raise BadInput("unknown flag on a finding", got=unknown, do="use a name from FLAGS")
        if self.kind not in KINDS:
            raise BadInput("unknown kind of finding", got=self.kind, do=f"use one of {', '.join(KINDS)}")
        for name in ("outline_px", "places_px"):
            points = np.array(getattr(self, name), dtype=np.float64).reshape(-1, 2)
            points.setflags(write=False)
            object.__setattr__(self, name, points)
        if unknown := sorted(set(self.detail) - set(DETAILS)):
            raise BadInput("unknown detail of a finding", got=unknown, do=f"use {' or '.join(DETAILS)}")
        if len(self.outline_px) < 3:
            raise BadInput("an outline needs three points or more", got=len(self.outline_px))

    def strike(self, reason: str) -> Finding:
        """The same finding, struck from the record for a reason that stays with it."""
        return replace(self, struck=reason)

    def to_json(self) -> dict[str, object]:
        """Public form of `measure`: sealed estimates are named, their values are not given."""
        out: dict[str, object] = {
            "id": self.id, "kind": self.kind, "outline_px": np.round(self.outline_px, 2).tolist(),
            "flags": list(self.flags), "quantities": {k: q.to_json() for k, q in self.quantities.items()},
            "places_px": np.round(self.places_px, 2).tolist(), "sealed": sorted(self.sealed),
        }  # fmt: skip
        for name in DETAILS:
            if name in self.detail:
                out[name] = self.detail[name]
        if self.by:
            out["by"] = self.by
        if self.struck:
            out["struck"] = self.struck
        if self.same_as:
            out["same_as"] = self.same_as
        return out
