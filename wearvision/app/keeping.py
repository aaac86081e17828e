"""Backup and restore of a data folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wearvision.store import backup as archive


def backup(data: Path, file: Path) -> dict[str, Any]:
    """Write one consistent archive of ledger and photos."""
    made = archive.backup(data, file)
    return {"file": str(file), "members": len(made.members)}


def restore(file: Path, data: Path) -> dict[str, Any]:
    """Restore an archive into a new data folder, and prove it."""
    made = archive.restore(file, data)
    return {"data": str(data), "members": len(made.members)}
