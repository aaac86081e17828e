"""Freed memory stays with the process."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

FAULTS = """
import resource
import numpy as np
import wearvision.photos

def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    held = [np.ones(1 << 18) for _ in range(20)]
    del held
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

print([faults() for _ in range(3)][-1])
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only the GNU C library can be told")
def test_memory_of_one_photo_serves_the_next():
    """Forty megabytes in arrays, three times over: the third time no page of them is fresh."""
    done = subprocess.run([sys.executable, "-c", FAULTS], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 100
