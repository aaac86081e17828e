"""What a card's label says goes before silence, never before what a person stated: contradictions are asked."""

from __future__ import annotations

import pytest

from wearvision.app.measuring import ASSUMED_VIEW, _resolve
from wearvision.cards.tags import CardText
from wearvision.stated import Stated

LABEL = CardText(card=0, size="standard", serial="A1", view="tongue")


def test_the_label_tells_the_view_that_nobody_stated() -> None:
    told, notes, asked = _resolve(Stated(), LABEL)
    assert (told.view, notes, asked) == ("tongue", (), ())


def test_without_either_the_view_is_assumed_and_that_is_said() -> None:
    told, notes, asked = _resolve(Stated(), None)
    assert (told.view, notes, asked) == ("wear-face", (ASSUMED_VIEW,), ())


@pytest.mark.parametrize(
    ("stated", "codes"),
    [
        (Stated(view="tongue", card_size="standard"), []), (Stated(view="wear-face"), ["view-conflict"]),
        (Stated(card_size="large"), ["size-conflict"]),
        (Stated(view="wear-face", card_size="small"), ["view-conflict", "size-conflict"]),
    ],
)  # fmt: skip
def test_a_wrong_view_or_size_is_asked(stated: Stated, codes: list[str]) -> None:
    told, _, asked = _resolve(stated, LABEL)
    assert [one.code for one in asked] == codes
    assert told.view == (stated.view or LABEL.view)
    assert all("was stated" in one.say for one in asked)
