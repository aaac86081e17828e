"""What becomes of freed memory: it stays with the process, as the next photo needs as much again."""

from __future__ import annotations

import contextlib
import ctypes

KEPT_MB, LARGEST_MB = 64, 32
"""So much freed memory stays, of blocks up to the latter size. By its own rules the GNU C library gives back most of it
after many a photo, by how its blocks happen to lie, and 4000 to 5000 fresh pages for the next one take 0 to 5 % of its
time."""
TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3
"""What is set, by their numbers in the C library's malloc.h (mallopt(3))."""


def keep_freed() -> bool:
    """Have the process keep freed memory; false where the C library has no such setting."""
    with contextlib.suppress(AttributeError, OSError, TypeError):  # musl and macOS; no C library to ask; Windows
        mallopt = ctypes.CDLL(None).mallopt
        return bool(mallopt(MMAP_THRESHOLD, LARGEST_MB << 20) and mallopt(TRIM_THRESHOLD, KEPT_MB << 20))
    return False
