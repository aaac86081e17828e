"""What a command costs before it does anything; the floor is a bare interpreter."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

from tests.bench.ratio import Row, ratios

HELP = 30.0
"""Floors: 0.3 s where a bare interpreter takes 10 ms."""


def python(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)


def rows() -> list[Row]:
    calls = {
        "wearvision --help": python("-m", "wearvision", "--help"),
        "import numpy": python("-c", "import numpy"),
        "import cv2": python("-c", "import cv2"),
        "import wearvision.crates.batch": python("-c", "import wearvision.crates.batch"),
        "import wearvision.measure.survey": python("-c", "import wearvision.measure.survey"),
    }
    return ratios(python("-c", "pass"), calls, at_most={"wearvision --help": HELP})
