"""What a gate says when it closes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Retake:
    """A gate the photo did not pass: a code and one sentence that tells the tech what to do."""

    code: str
    say: str
