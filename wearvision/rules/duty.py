"""Whether two duties, stated in words on two days, are the same: case, order, spacing and units do not count.

`River water, 2950 rpm` and `2950 1/min  river water` are one duty; `440 gpm` and `100 m3/h` are. Amounts within 1 %
are alike: our own choice, a stated duty is no closer than that. Words are compared as words: another word is another
duty, and whoever meant the same is told how to correct it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import isclose

from wearvision.errors import BadInput
from wearvision.rules.amounts import AMOUNT_KINDS, AmountKind, parse_amount

ALIKE = 0.01
"""Relative difference of two amounts that counts as none."""
_AMOUNT = re.compile(r"(?<![\w.,/])[+-]?\d+(?:[.,]\d+)? *(?:deg *|°)?[^\W\d_%°]*[%²³\d]?(?:/[^\W\d_]+[²³\d]?)?")
_WORD = re.compile(r"[^\W_]+")


def same_duty(one: str, other: str) -> bool:
    """Whether both say the same; two that nobody stated do."""
    words, amounts = _read(one)
    others, their_amounts = _read(other)
    if words != others or [kind for kind, _ in amounts] != [kind for kind, _ in their_amounts]:
        return False
    return all(isclose(a, b, rel_tol=ALIKE) for (_, a), (_, b) in zip(amounts, their_amounts, strict=True))


def _read(text: str) -> tuple[list[str], list[tuple[AmountKind, float]]]:
    """Words in lower case and amounts in one unit each, both sorted."""
    amounts: list[tuple[AmountKind, float]] = []

    def take(found: re.Match[str]) -> str:
        amount = next(_amounts(found[0]), None)
        if amount is None:
            return found[0]
        amounts.append(amount)
        return " "

    rest = _AMOUNT.sub(take, text)
    return sorted(_WORD.findall(rest.casefold())), sorted(amounts)


def _amounts(text: str) -> Iterator[tuple[AmountKind, float]]:
    """The kinds of amount this can be, in their order."""
    for kind in AMOUNT_KINDS:
        try:
            yield kind, parse_amount(text.strip(), kind)
        except BadInput:
            continue
