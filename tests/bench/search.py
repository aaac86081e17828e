"""What the searches for a rule and for a known diameter cost where no card is read, in gray decodes too.

Run: python -m tests.bench.search PHOTO ...     (photos of worn parts without a rule; processor time of one core)
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from tests.bench.card import decode
from tests.bench.ratio import median_ms
from wearvision.measure.circle import solve_circle
from wearvision.measure.circle_start import KnownCircle
from wearvision.measure.rule.find import find_rule
from wearvision.stated import Stated

FACE = KnownCircle(which="rim", diameter_mm=200.0, other_mm=90.0)


def main(names: list[str]) -> None:
    """Print a line for each photo, and the middle and the longest of all."""
    cv2.setNumThreads(1)
    rows = []
    for path in map(Path, names):
        gray = decode(path)
        spent = median_ms({
            "": partial(decode, path), "rule": partial(find_rule, gray, Stated()),
            "circle": partial(solve_circle, gray, FACE),
        }, rounds=3)  # fmt: skip
        floor, rule, circle = spent[""], spent["rule"], spent["circle"]
        rows.append((rule, circle))
        told = f"rule {rule:.0f} ms = {rule / floor:.1f} decodes; circle {circle:.0f} ms = {circle / floor:.0f}"
        print(f"{path.name}: decode {floor:.0f} ms; {told}")
    middle, longest = np.median(rows, axis=0), np.max(rows, axis=0)
    print(f"rule: middle {middle[0]:.0f}, longest {longest[0]:.0f} ms; circle: {middle[1]:.0f}, {longest[1]:.0f} ms")


if __name__ == "__main__":
    main(sys.argv[1:])
