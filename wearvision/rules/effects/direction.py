"""What can be told only by its direction, life of seal and packing among it: a word, never a number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wearvision.rules.effects.span import Span
from wearvision.rules.gauged import Gauged

Word = Literal["shorter", "longer", "unchanged", "either way", "not told", "uneven", "even as far as gauged"]


@dataclass(frozen=True, kw_only=True)
class Direction:
    """One consequence by its direction.

    Attributes
    ----------
    name, title : str
        Key, and the same for people.
    word : Word
    because : str
        One line: what it follows from, and what it leaves out.
    """

    name: str
    title: str
    word: Word
    because: str

    def to_json(self) -> dict[str, object]:
        """All fields by name."""
        return {"name": self.name, "title": self.title, "word": self.word, "because": self.because}


def life_word(pressure_change: Span) -> Word:
    """Life of a seal or packing from the change of the pressure it holds: higher pressure, shorter life."""
    if pressure_change == (0, 0):
        return "unchanged"
    if pressure_change.low >= 0:
        return "shorter"
    return "longer" if pressure_change.high <= 0 else "either way"


def sealing_directions(pressure_change_kpa: Span | None) -> tuple[Direction, Direction]:
    """Life of a mechanical seal and of packing, from the change of box pressure; `None` when that is not known."""
    if pressure_change_kpa is None:
        word: Word = "not told"
        because = "needs the change of box pressure; see what blocks it"
    else:
        word = life_word(pressure_change_kpa)
        because = {
            "shorter": "the box pressure rises",
            "longer": "the box pressure falls; a box below vapour pressure would turn this round",
            "unchanged": "the box pressure stays",
            "either way": "the box pressure may rise or fall within its range",
        }[word]
    tail = "; heat, solids and shaft motion are left out (direction derived, no figure is published)"
    return (
        Direction(name="seal_life", title="Life of a mechanical seal", word=word, because=because + tail),
        Direction(name="packing_life", title="Life of the packing", word=word, because=because + tail),
    )


def thrust_direction(differ_diametral: Gauged) -> Direction:
    """Whether the two rings of a double-suction impeller still balance its thrust: their difference, diametral."""
    even = differ_diametral.low_mm <= 0 <= differ_diametral.high_mm
    return Direction(
        name="axial_thrust_balance", title="Axial thrust of the two suctions",
        word="even as far as gauged" if even else "uneven",
        because="two rings that leak alike balance; unequal diametral clearances leave a thrust on the bearing, and no"
        " figure is published for it (common practice, no source)",
    )  # fmt: skip
