"""Cards as the command writes them."""

from __future__ import annotations

from pathlib import Path

import pytest

from wearvision.app.cards import write_card
from wearvision.errors import BadInput


def test_two_prints_never_share_a_serial_even_within_a_second(tmp_path: Path) -> None:
    """A check bar measured on one print must not be taken for another's."""
    made = [write_card(tmp_path / "card.png", n % 2, "small", "", None, "A4")["serial"] for n in range(4)]
    assert len(set(made)) == 4


def test_a_serial_of_yours_is_kept(tmp_path: Path) -> None:
    assert write_card(tmp_path / "card.pdf", 0, "standard", "K7Q2M4", "wear-face", "A4")["serial"] == "K7Q2M4"


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"\.pdf or \.png"):
        write_card(tmp_path / "card.svg", 0, "standard", "A", None, "A4")
