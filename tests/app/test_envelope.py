from __future__ import annotations

import pytest

from wearvision.app.envelope import close, unfold


def test_an_envelope_gives_back_what_went_in_and_says_nothing_at_a_glance() -> None:
    records = [{"id": "G1", "sealed": {"depth": {"value": 0.8813, "how": "guess", "unit": "mm"}}, "who": "Jörg"}]
    text = close(records)
    assert unfold(text) == records
    assert not any(word in text for word in ("sealed", "depth", "0.88", "guess"))


@pytest.mark.parametrize("text", ["", "[]", "QUJD", "{}", "é"])
def test_what_is_no_envelope_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        unfold(text)
