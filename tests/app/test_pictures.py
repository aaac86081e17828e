"""Words beside a mark on a picture."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests import sheet_kit as kit
from wearvision.app.pictures import label
from wearvision.quantity import Measured, Quantity


@pytest.mark.parametrize(
    ("name", "value", "u", "words"),
    [
        ("width", 4.24, 0.1, "4.2 mm wide"),
        ("width", 0.5, 0.274, "up to 1.1 mm wide"),  # 0.5 + 1.96 x 0.274 = 1.04: never less than it may be
        ("thickness", 3.79, 0.04, "3.8 mm thick"),
        ("edge_radius", 0.55, 0.07, "0.6 mm radius"),
        ("radius", 80.0, 0.1, ""),
    ],
)
def test_an_extent_in_words(name: str, value: float, u: float, words: str) -> None:
    told: dict[str, Quantity] = {name: Measured(value=value, u=u, unit="mm")}
    assert label(replace(kit.finding(), quantities=told)) == words


def test_a_repeat_names_the_mark_it_is() -> None:
    assert label(kit.finding(same_as="b3585b44/G1")) == "is G1 of another photo"
