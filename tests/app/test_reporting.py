"""What a report says of the facts it stands on."""

from __future__ import annotations

from wearvision.app.reporting import stated_words


def test_a_fact_that_differs_from_photo_to_photo_is_told_for_each() -> None:
    told = stated_words({
        "face_a.jpg": {"view": "wear-face", "card_height_mm": 0.0},
        "face_b.jpg": {"view": "wear-face", "card_height_mm": -6.0, "check_bar_mm": 100.1},
    })  # fmt: skip
    assert told == {
        "view": "wear-face", "card_height_mm": "0.0 (face_a.jpg); -6.0 (face_b.jpg)",
        "check_bar_mm": "100.1 (face_b.jpg)",
    }  # fmt: skip


def test_what_nobody_stated_is_not_told() -> None:
    always = {"known_circle": "rim", "rule_class": "II"}
    assert stated_words({"a.jpg": always}) == {}
    assert stated_words({"a.jpg": {**always, "rule": "mm", "known_diameter_mm": 80.0}}) == {
        "known_circle": "rim", "rule_class": "II", "rule": "mm", "known_diameter_mm": "80.0",
    }  # fmt: skip
