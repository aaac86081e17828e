"""What holds sealed estimates, closed so that nobody reads one in passing: in the journal beside the board.

An envelope, not a lock: it keeps an honest eye from an estimate before its readings are in.
"""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any


def close(records: list[dict[str, Any]]) -> str:
    """Records as one text that says nothing at a glance."""
    text = json.dumps(records, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return base64.b64encode(zlib.compress(text.encode())).decode("ascii")


def unfold(envelope: str) -> list[dict[str, Any]]:
    """Inverse of `close`; `ValueError` when the text is none of its envelopes."""
    try:
        records: list[dict[str, Any]] = json.loads(zlib.decompress(base64.b64decode(envelope, validate=True)))
    except zlib.error as error:
        raise ValueError(f"no envelope: {error}") from None
    return records
