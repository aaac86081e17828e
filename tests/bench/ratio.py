"""Ratios travel, milliseconds do not: every figure is counted in floors measured in the same run.

A floor is the least that must be done anyway. Floor and calls take turns and their medians are compared. Time is
processor time, children included: on a shared machine the wall clock tells of the neighbours. Waiting for a disk
is thus not counted.
"""

from __future__ import annotations

import json
import resource
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Call = Callable[[], object]


@dataclass(frozen=True, kw_only=True)
class Row:
    """One figure; a bound of `None` is none."""

    name: str
    ratio: float
    floor_ms: float
    at_most: float | None = None
    at_least: float | None = None

    @property
    def held(self) -> bool:
        return (self.at_most is None or self.ratio <= self.at_most) and (
            self.at_least is None or self.ratio >= self.at_least
        )


def median_ms(calls: Mapping[str, Call], rounds: int = 7) -> dict[str, float]:
    """Median processor time of each call, ms, taken in turns after one round that does not count."""
    return {name: statistics.median(times) for name, times in _times_ms(calls, rounds).items()}


def least_ms(calls: Mapping[str, Call], rounds: int = 7) -> dict[str, float]:
    """The least instead: what neighbours on a shared processor add is no part of a call."""
    return {name: min(times) for name, times in _times_ms(calls, rounds).items()}


def _times_ms(calls: Mapping[str, Call], rounds: int) -> dict[str, list[float]]:
    spent: dict[str, list[float]] = {name: [] for name in calls}
    for round_number in range(rounds + 1):
        for name, call in calls.items():
            start = _used_s()
            call()
            if round_number:
                spent[name].append(1e3 * (_used_s() - start))
    return spent


def _used_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def ratios(
    floor: Call, calls: Mapping[str, Call], *, at_most: Mapping[str, float] | None = None, rounds: int = 7
) -> list[Row]:
    """Each call in floors."""
    spent = median_ms({"": floor, **calls}, rounds)
    bounds = at_most or {}
    return [
        Row(name=name, ratio=spent[name] / spent[""], floor_ms=spent[""], at_most=bounds.get(name)) for name in calls
    ]


def against_stock(name: str, gray: Image, view: Call, part: Call, stock: Mapping[str, Call]) -> list[Row]:
    """A view in gray decodes of its photo, and stock calls over that part of it which they stand for."""
    coded = np.asarray(cv2.imencode(".jpg", gray, [cv2.IMWRITE_JPEG_QUALITY, 90])[1])
    ours = median_ms({"": lambda: cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE), "view": view, "part": part}, rounds=3)
    return [
        Row(name=f"{name}, in gray decodes", ratio=ours["view"] / ours[""], floor_ms=ours[""]),
        *(
            Row(name=f"{name}: {other} over ours", ratio=ms / ours["part"], floor_ms=ours["part"])
            for other, ms in median_ms(stock, rounds=1).items()
        ),
    ]


def table(rows: Sequence[Row]) -> str:
    """`name ratio floor_ms bound`, one line each."""
    lines = [f"{'name':46} {'ratio':>8} {'floor_ms':>9}  bound"]
    for row in rows:
        bound = f"<= {row.at_most:g}" if row.at_most is not None else ""
        bound += f">= {row.at_least:g}" if row.at_least is not None else ""
        bound += "" if row.held else "  BROKEN"
        lines.append(f"{row.name:46} {row.ratio:8.2f} {row.floor_ms:9.1f}  {bound}".rstrip())
    return "\n".join(lines)


def as_json(rows: Sequence[Row]) -> str:
    """The same as JSON."""
    return json.dumps([{**vars(row), "held": row.held} for row in rows], indent=1)
