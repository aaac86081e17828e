"""Safety lines of the teardown page and the report, as data, each with where it comes from.

`common practice, no source` is a rule of the trade; a regulation or standard named `from memory` was not seen
when the line was written. None of these replaces the maker's manual, local code or licensed practice.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from wearvision.stated import PartKind

PRACTICE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One hazard and the line to show for it.

    Attributes
    ----------
    id : str
    line : str
        What to do, one or two plain sentences.
    mark : str
        Where the line comes from.
    kinds : tuple of PartKind
        Part kinds it is shown for; empty for all.
    views : tuple of str
        Shown only when a photo of such a view belongs to the part; empty for all.
    """

    id: str
    line: str
    mark: str
    kinds: tuple[PartKind, ...] = ()
    views: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """`{"id", "line", "mark"}`."""
        return {"id": self.id, "line": self.line, "mark": self.mark}


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        id="energy", mark="29 CFR 1910.147, from memory",
        line="Isolate, lock and tag every energy source, release what is stored, and try to start before"
             " touching.",
    ),
    Caution(
        id="pressure", mark=PRACTICE,
        line="Vent and drain both sides; crack joints open away from the face.",
    ),
    Caution(
        id="residue", mark=PRACTICE,
        line="Ask for a decontamination certificate with the part and read the safety data sheet; flush dead"
             " spots, the back of the impeller and the seal chamber.",
    ),
    Caution(
        id="edges", mark=PRACTICE,
        line="Worn edges cut like knives: wear cut-resistant gloves and never turn a rotor by its vanes.",
    ),
    Caution(
        id="lifting", mark=PRACTICE,
        line="Weigh first; lift rotor and casing with rated gear; part casings with their jack-screws.",
    ),
    Caution(
        id="gasket", mark="29 CFR 1910.1001, from memory", kinds=("casing", "box-cover", "side-plate"),
        line="Old grey sheet gasket may hold asbestos: do not scrape it dry, brush or sand it; treat it as"
             " asbestos until tested.",
    ),
    Caution(
        id="beryllium", mark="29 CFR 1910.1024, from memory", kinds=("ring-pair", "impeller"),
        line="Some copper alloys hold beryllium: no dry grinding or sanding until the alloy is known.",
    ),
    Caution(
        id="penetrant", mark=PRACTICE,
        line="Penetrant and cleaner give off solvent vapour and burn: fresh air, no flame, gloves.",
    ),
    Caution(
        id="laser", mark="IEC 60825-1, from memory", views=("line-light",),
        line="Use a class 2 line laser at most; never look into the beam nor at its mirror image.",
    ),
    Caution(
        id="phone", mark=PRACTICE,
        line="No phone or camera in an explosion-hazard area unless it is rated for it.",
    ),
    Caution(
        id="defer", mark=PRACTICE,
        line="The maker's manual, local codes and licensed or certified practice rule over this sheet.",
    ),
)  # fmt: skip


def cautions_for(kind: PartKind, views: Collection[str]) -> tuple[Caution, ...]:
    """The lines for a part kind, given the views of its photos."""
    return tuple(
        c for c in CAUTIONS if (not c.kinds or kind in c.kinds) and (not c.views or not set(views).isdisjoint(c.views))
    )
