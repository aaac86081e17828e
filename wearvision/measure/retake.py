"""What a gate says when it closes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Retake:
    """A gate the photo did not pass: a code, one sentence that tells the tech what to do, and the numbers in it."""

    code: str
    say: str
    numbers: Mapping[str, float] = field(default_factory=dict)

    def to_json(self) -> dict[str, object]:
        """`{"code", "say"}`, and `numbers` when there are any."""
        return {"code": self.code, "say": self.say} | ({"numbers": dict(self.numbers)} if self.numbers else {})
