"""Facts as the command line gives them."""

from __future__ import annotations

import pytest

from wearvision.app.single import Facts
from wearvision.errors import UsageError


def test_drawing_sizes_come_by_name_or_by_their_own_flag() -> None:
    stated = Facts(inner_mm=90.0, sizes=("vane_count=6", "land_width_mm = 12.5")).stated()
    assert stated.nominal == {"face_inner_diameter_mm": 90.0, "vane_count": 6.0, "land_width_mm": 12.5}


@pytest.mark.parametrize("text", ["vane_count", "vane_count=", "vane_count=x", "vane_count=nan", "colour=3", "=3"])
def test_what_is_no_drawing_size_is_refused_with_the_names_there_are(text: str) -> None:
    with pytest.raises(UsageError, match="land_width_mm"):
        Facts(sizes=(text,)).stated()
