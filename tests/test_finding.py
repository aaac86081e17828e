import numpy as np
import pytest

from wearvision.errors import BadInput
from wearvision.finding import FLAGS, Finding
from wearvision.quantity import Measured
from wearvision.stated import Stated

SQUARE = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])


def finding(**changes: object) -> Finding:
    facts: dict[str, object] = {
        "id": "G1", "kind": "groove", "outline_px": SQUARE,
        "quantities": {"width": Measured(value=2, u=0.1, unit="mm")},
        "sealed": {"depth": Measured(value=0.777, u=0.5, unit="mm")}, "flags": ("faint",),
    }  # fmt: skip
    return Finding(**(facts | changes))  # type: ignore[arg-type]  # a test builds it from a dict


def test_public_form_names_the_sealed_estimate_and_never_shows_it() -> None:
    public = finding().to_json()
    assert public["sealed"] == ["depth"]
    assert "0.777" not in repr(public)


def test_outline_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        finding().outline_px[0] = 9


@pytest.mark.parametrize("changes", [{"flags": ("odd",)}, {"kind": "dent"}, {"outline_px": SQUARE[:2]}])
def test_nonsense_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        finding(**changes)


def test_a_struck_finding_stays_with_its_reason() -> None:
    struck = finding().strike("machined step")
    assert struck.struck == "machined step"
    assert struck.to_json()["struck"] == "machined step"


def test_every_flag_is_one_plain_sentence() -> None:
    assert all(text.endswith(".") and text[0].isupper() and "\n" not in text for text in FLAGS.values())


@pytest.mark.parametrize(
    "facts",
    [
        {"part_kind": "gearbox"}, {"view": "inside"}, {"card_height_mm": float("nan")}, {"check_bar_mm": 40.0},
        {"mm_per_px": 0.0}, {"nominal": {"bore": 3.0}}, {"nominal": {"vane_count": -1.0}},
    ],
)  # fmt: skip
def test_stated_facts_are_checked_where_they_enter(facts: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        Stated(**facts)  # type: ignore[arg-type]  # wrong on purpose
