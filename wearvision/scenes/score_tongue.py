"""Hold measured volute lips against the truth: washouts found and missed, how well, how honest the intervals.

Rules. A photo shows one lip. A finding `washout` counts as found when both ends of its outline's line lie within 5 % of
the lip's length, at least 3 mm, of the true lip's ends; any other is false. On sound lips every washout is false. The
figures of sound lips come from the photo's summary, told apart from those of washouts. Where the measurement says that
it cannot tell the lip, that is counted as not told, and a washout there as missed. A washed lip that is told without a
washout, its true deviation outside the interval, counts as called sound, beside being missed. Relative errors of the
area are those of true areas above 5 mm2. Photos that the measurement refuses are counted apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.score import Matched, error_figures, records, usable

QUANTITIES = ("max_deviation", "rms_deviation", "area")
LEAST_AREA_MM2 = 5.0
STRAIGHT = 0.7
"""Cosine of the angle from which an outline turns off its straight side."""


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, (error, u95, true)."""

    sound: int = 0
    false_on_sound: int = 0
    not_told: int = 0
    called_sound: int = 0
    errors: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    name = truth["photo"]
    if not usable(tally, truth, result):
        return
    lip = next(f for f in truth["findings"] if f["kind"] in ("washout", "clean_lip"))
    found = [f for f in result["findings"] if f["kind"] == "washout"]
    right = [f for f in found if _same(f, lip, float(truth["mm_per_px"]), float(truth["summary"]["lip_length_mm"]))]
    tally.false += len(found) - (len(right) if lip["kind"] == "washout" else 0)
    if "max_deviation" not in result["summary"]:
        tally.not_told += 1
        why = "; ".join(str(n["why"]) for n in result["not_assessed"] if n["what"] == "lip")
        tally.notes.append(f"{name}: not told: {why}")
    if lip["kind"] == "clean_lip":
        tally.sound += 1
        tally.false_on_sound += len(found)
        if not found:
            _compare(tally, name, "sound ", lip["truth"], result["summary"])
    elif right:
        tally.found += 1
        _compare(tally, name, "", lip["truth"], right[0]["quantities"])
    else:
        tally.missed += 1
        told = result["summary"].get("max_deviation", {})
        if "value" in told and not found and float(lip["truth"]["max_deviation"]) > told["value"] + told["u95"]:
            tally.called_sound += 1
            tally.notes.append(f"{name}: called sound")
        tally.notes.append(f"{name}: missed washout, max {lip['truth']['max_deviation']:.2f} mm")
    if len(found) > len(right) or (found and lip["kind"] == "clean_lip"):
        tally.notes.append(f"{name}: false washout")


def _same(found: Mapping[str, Any], lip: Mapping[str, Any], mm_per_px: float, length_mm: float) -> bool:
    """Whether both lie on one lip: the straight side of each outline joins its first and last edge places."""
    ends = [_ends(np.array(one["outline_px"], dtype=float)) for one in (found, lip)]
    apart = [np.hypot(*(ends[0] - other).T).max() for other in (ends[1], ends[1][::-1])]
    return bool(min(apart) * mm_per_px < max(3.0, 0.05 * length_mm))


def _ends(outline: np.ndarray) -> np.ndarray:
    """Both ends of the straight side with which an outline closes: as far back from its last place as it runs on."""
    steps = np.diff(outline[::-1], axis=0)
    way = steps[0] / np.hypot(*steps[0])
    on = steps @ way > STRAIGHT * np.hypot(*steps.T)
    return np.asarray(outline[[-1 - int(np.argmin(on)) if not on.all() else 0, -1]])


def _compare(
    tally: Tally, name: str, kind: str, truth: Mapping[str, float], quantities: Mapping[str, Any]
) -> None:
    for what in QUANTITIES:
        got = quantities.get(what, {})
        if "value" not in got:
            continue
        error, u95 = float(got["value"]) - float(truth[what]), float(got["u95"])
        tally.errors.setdefault(kind + what, []).append((error, u95, float(truth[what])))
        if what == "max_deviation" and abs(error) > max(0.25, u95):
            tally.notes.append(f"{name}: max deviation {truth[what]:.2f}, off by {error:.2f} (U95 {u95:.2f})")


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm and mm2, shares 0..1."""
    return {
        "photos": tally.photos, "refused": tally.refused, "found": tally.found, "missed": tally.missed,
        "false": tally.false, "not_told": tally.not_told, "sound": tally.sound,
        "false_on_sound": tally.false_on_sound, "called_sound": tally.called_sound,
        "quantities": {name: _figures(name, rows) for name, rows in tally.errors.items()}, "notes": tally.notes,
    }  # fmt: skip


def _figures(name: str, rows: list[tuple[float, float, float]]) -> dict[str, Any]:
    out = error_figures([(error, u95) for error, u95, _ in rows])
    errors, _, true = np.array(rows, dtype=float).T
    size, large = np.abs(errors), true > LEAST_AREA_MM2
    if name == "area" and large.any():
        share = size[large] / true[large]
        out |= {"relative_median": round(float(np.median(share)), 4)}
        out |= {"relative_p90": round(float(np.percentile(share, 90)), 4)}
    return out


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}; washouts found {figures['found']}, missed "
        f"{figures['missed']}, false {figures['false']}; lip not told {figures['not_told']}; sound lips "
        f"{figures['sound']}, false on them {figures['false_on_sound']}; washed lips called sound "
        f"{figures['called_sound']}",
        f"{'quantity':22} {'n':>4} {'median':>9} {'90 %':>9} {'bias':>9} {'cover':>6} {'U95':>8}",
    ]
    for name, f in figures["quantities"].items():
        more = f"  relative {f['relative_median']:.3f}, 90 % {f['relative_p90']:.3f}" if "relative_median" in f else ""
        lines.append(
            f"{name:22} {f['count']:4d} {f['error_median']:9.3f} {f['error_p90']:9.3f} {f['bias_median']:9.3f} "
            f"{f['coverage_95']:6.2f} {f['u95_median']:8.3f}{more}"
        )
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of this view beside them."""
    return records(folder, "tongue")
