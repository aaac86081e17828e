"""What is said while the measuring code is compiled, which takes a minute or so once on every machine."""

from __future__ import annotations

from wearvision.measure.compiled import kept_in


def words() -> str:
    """One line for whoever waits."""
    if kept_in() is None:
        return "preparing the measuring code, at every run: name a folder to keep it in by NUMBA_CACHE_DIR"
    return "preparing the measuring code, first run only"
