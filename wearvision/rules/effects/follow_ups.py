"""What else to do before a used impeller goes back in, as lines of text that each name their source."""

from __future__ import annotations

from collections.abc import Sequence

from wearvision.rules.crack import CrackSuspected
from wearvision.rules.pump import Impeller

PRACTICE = "common practice, no source"
CRACK = (
    "hold {tag}: penetrant test of the suspect line, or magnetic particle test of a ferritic part, and a signed"
    " result before any reuse (ASTM E165/E165M, ISO 3452-1, from memory)"
)
TESTED = "{tag}: crack suspected and tested, {answer}, report {record}, {by}, {day} ({how}, from memory)"
STRAIGHT = (
    "check the shaft for straightness: runout at most 0.05 mm full indicator reading (ASME B73.1, from memory; the"
    " maker's figure rules)"
)
BACK_AGAIN = "measure the axial back gap again after setting the axial front gap: one opens the other (derived)"


def follow_ups(
    impeller: Impeller, *, cracks: Sequence[CrackSuspected] = (), semi_open: bool = False
) -> tuple[str, ...]:
    """The lines, most urgent first; balance and straightness are always among them.

    Parameters
    ----------
    impeller : Impeller
        `reworked` stands for welded, filled or machined; two suctions make it wide.
    cracks : sequence of CrackSuspected
        On any of the pump's parts.
    semi_open : bool
        It has an axial front and back gap.
    """
    lines = [_crack(crack) for crack in sorted(cracks, key=lambda c: c.test is not None)]
    if impeller.reworked:
        lines.append(f"penetrant test of welded or filled places and their surroundings ({PRACTICE})")
    state = "after all cutting and filling" if impeller.reworked else "as it is, worn"
    planes = "in two planes" if impeller.suctions == 2 else "in one plane"
    lines.append(
        f"balance the impeller {state}, {planes}, grade G{impeller.balance_grade_mm_s:g} or finer (ISO 21940-11, from"
        " memory); metal lost or added at one place counts mass times radius (derived)"
    )
    lines.append(STRAIGHT)
    return (*lines, BACK_AGAIN) if semi_open else tuple(lines)


def _crack(crack: CrackSuspected) -> str:
    """What is still to be tested, or the result that stands."""
    test = crack.test
    if test is None:
        return CRACK.format(tag=crack.tag)
    return TESTED.format(tag=crack.tag, answer=test.answer, record=test.record or "without number", by=test.by,
                         day=test.at[:10], how=test.how)  # fmt: skip
