"""Loops over pixels and cells, compiled to machine code at their first call and kept beside the source.

For what numpy says only with thousands of small calls, or with large arrays thrown away at once; all else stays
numpy. Such a loop takes and gives numbers and arrays, checks no index, and calls only compiled loops of its own
file, since what is kept notices changes in that file alone. A float32 with an integer is a float64 in it, unlike in
numpy. `NUMBA_DISABLE_JIT=1` runs it as plain Python.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar, cast

from numba import njit
from numba.core import event

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(loop: Loop) -> Loop:
    """The loop as machine code; rounding as in Python, division by nought as in numpy."""
    try:
        return cast(Loop, njit(cache=True, error_model="numpy")(loop))
    except RuntimeError:  # nowhere to keep it: compiled anew in every process
        return cast(Loop, njit(error_model="numpy")(loop))


def inlined(loop: Loop) -> Loop:
    """A piece of several compiled loops of its file, set into each where it is called: as quick as if written there."""
    return cast(Loop, njit(inline="always", error_model="numpy")(loop))


def kept_in() -> str | None:
    """Folder where machine code is kept for later runs; `None` where nothing can be written."""
    path: str | None = compiled(_nothing).stats.cache_path  # type: ignore[attr-defined]  # numba has no types
    return path


def _nothing() -> None:
    """A loop that does nothing."""


@contextmanager
def while_compiling(tell: Callable[[], None]) -> Iterator[None]:
    """Tell whenever a loop is about to be compiled in this process, which takes a second or so each."""

    class Told(event.Listener):  # type: ignore[misc]  # numba has no types
        def on_start(self, event: object) -> None:
            tell()

        def on_end(self, event: object) -> None:
            pass

    with event.install_listener("numba:compile", Told()):
        yield
