"""The clearances of one pump and what reuse of its worn parts costs: pump file and confirmed readings in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from wearvision.app.depths import known_of
from wearvision.app.pump import read_pump
from wearvision.app.shop import Shop, open_shop
from wearvision.errors import UsageError
from wearvision.rules.clearance.axial import AxialStack, axial_stack
from wearvision.rules.clearance.axial_advice import axial_advice
from wearvision.rules.clearance.axial_table import axial_json, axial_lines
from wearvision.rules.clearance.line import Line
from wearvision.rules.clearance.rings import RingClearance, both_together, ring_clearance
from wearvision.rules.decision import DecisionWord
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.direction import Direction
from wearvision.rules.effects.everything import all_directions, all_effects
from wearvision.rules.effects.follow_ups import follow_ups
from wearvision.rules.pump import Impeller, Pump


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table of lines: the axial stack, or one ring pair."""

    title: str
    lines: tuple[Line, ...]
    advice: tuple[str, ...]
    word: DecisionWord


@dataclass(frozen=True, kw_only=True)
class Clearances:
    """Everything worked out for one pump.

    Attributes
    ----------
    pump : Pump
    stack : AxialStack or None
    rings : tuple of RingClearance
    effects : tuple of Effect or Blocked
    directions : tuple of Direction
        What can be told by direction only.
    follow_ups : tuple of str
    judged : tuple of str
        What the confirmed sheets of its parts came to, where that is not reuse.
    unread : tuple of str
        A question for each named part without a confirmed sheet.
    file : str
        Name and sha256 of the pump file.
    """

    pump: Pump
    stack: AxialStack | None
    rings: tuple[RingClearance, ...]
    effects: tuple[Effect | Blocked, ...]
    directions: tuple[Direction, ...]
    follow_ups: tuple[str, ...]
    judged: tuple[str, ...]
    unread: tuple[str, ...]
    file: str

    @property
    def both_rings(self) -> str:
        """Both rings of a double-suction impeller together; empty otherwise."""
        double = self.pump.impeller is not None and self.pump.impeller.suctions == 2
        return both_together(self.rings) if double else ""

    @property
    def questions(self) -> tuple[str, ...]:
        """What only a person can settle."""
        asked = self.stack.questions if self.stack else ()
        contradicted = (q for e in self.effects if isinstance(e, Blocked) for q in e.questions)
        rings = (q for ring in self.rings for q in ring.questions)
        return (*self.unread, *asked, *rings, *dict.fromkeys(contradicted))

    @property
    def missing(self) -> tuple[str, ...]:
        """Facts that would give more."""
        if self.stack is None and not self.pump.rings:
            return ("gaps (table [axial]) or ring readings (tables [[rings]]): without them there is no clearance",)
        return self.stack.missing if self.stack else ()

    @property
    def needs_person(self) -> bool:
        """Whether something is undecided or asked, or there is nothing to work on."""
        nothing = self.stack is None and not self.rings
        open_stack = self.stack is not None and self.stack.open
        return nothing or bool(self.questions) or open_stack or any(r.open for r in self.rings)

    @property
    def tables(self) -> tuple[Table, ...]:
        """The axial stack, then each ring pair."""
        return tuple(self._tables())

    def _tables(self) -> Iterator[Table]:
        if self.stack is not None:
            stack = self.stack
            yield Table(title="Axial stack", lines=axial_lines(stack), advice=axial_advice(stack), word=stack.word)
        for ring in self.rings:
            size = f"ring {ring.fit.ring_diameter.value_mm:.2f} mm"
            title = f"Ring pair: {ring.pair.name}, {size}"
            yield Table(title=title, lines=ring.lines, advice=(ring.advice,), word=ring.word)

    def to_json(self) -> dict[str, Any]:
        """Everything, schema `wearvision.clearance/1`."""
        return {
            "schema": "wearvision.clearance/1", "pump": self.pump.tag, "name": self.pump.name, "file": self.file,
            "read_by": self.pump.read_by, "read_at": self.pump.read_at,
            "guard_factor": self.pump.guard_factor, "needs_person": self.needs_person,
            "axial": axial_json(self.stack) if self.stack else None, "rings": [r.to_json() for r in self.rings],
            "both_rings": self.both_rings, "effects": [_effect(e) for e in self.effects],
            "directions": [d.to_json() for d in self.directions], "judged": list(self.judged),
            "follow_ups": list(self.follow_ups), "questions": list(self.questions), "missing": list(self.missing),
        }  # fmt: skip


def clearances_of(file: Path, data: Path) -> Clearances:
    """Read a pump file, look its parts up in the ledger of `data`, and work everything out.

    A data folder that does not exist is no error: then no reading is confirmed.
    """
    pump = read_pump(file)
    with _shop(data, wanted=bool(pump.tags)) as shop:
        return _clearances(shop, pump, file)


def clearances_for(shop: Shop, tag: str, file: Path) -> Clearances:
    """Those of the pump that a part belongs to.

    Raises
    ------
    UsageError
        When the pump file does not name the part.
    """
    pump = read_pump(file)
    if tag not in pump.tags:
        named = ", ".join(pump.tags) or "none"
        raise UsageError(f"{tag} is no part of pump {pump.tag}", got=str(file), do=f"parts it names: {named}")
    return _clearances(shop, pump, file)


def _clearances(shop: Shop | None, pump: Pump, file: Path) -> Clearances:
    """Work everything out for one pump, from a ledger proved sound."""
    if shop is not None:
        shop.ledger.require_sound()
    known = known_of(shop, pump)
    guard = pump.guard_factor
    stack = None if pump.axial is None else axial_stack(pump.axial, known.wear, pump.thermal, guard_factor=guard)
    rings = tuple(ring_clearance(pair, pump.thermal, guard_factor=guard) for pair in known.rings)
    effects = all_effects(pump, stack, rings)
    return Clearances(
        pump=pump, stack=stack, rings=rings, effects=effects, directions=all_directions(pump, rings, effects),
        follow_ups=follow_ups(pump.impeller or Impeller(), cracks=known.cracks, semi_open=pump.axial is not None),
        judged=known.judged, unread=known.questions,
        file=f"{file.name} sha256 {sha256(file.read_bytes()).hexdigest()}",
    )  # fmt: skip


@contextmanager
def _shop(data: Path, *, wanted: bool) -> Iterator[Shop | None]:
    if wanted and data.exists():
        with open_shop(data) as shop:
            yield shop
    else:
        yield None


def _effect(effect: Effect | Blocked) -> dict[str, object]:
    return {"blocked": isinstance(effect, Blocked), **effect.to_json()}


def amount(line: Line) -> str:
    """The figure of a line, or that it is not known."""
    return "not known" if line.figure is None else line.figure.text.removesuffix(" mm")
