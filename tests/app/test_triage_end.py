"""What a triage says at its end."""

from __future__ import annotations

from wearvision.app.triage import TriageEnd


def test_one_photo_is_no_photos() -> None:
    end = TriageEnd(
        board=None, parts=0, photos=1, fresh=1, aside=(), retakes=0, notes=(), dropped=0, stopped=False,
        next_command="",
    )  # fmt: skip
    assert end.words == "1 photo of 0 parts, 1 measured now; 0 photos to retake"
