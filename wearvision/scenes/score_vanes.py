"""Hold measured vanes in plan against the truth: their number, which are bent or missing, how honest the intervals.

Rules. A found vane and a true one match when their middles lie less than half the distance between neighbours apart,
best pairs first. A vane counts as bent when its true tip shift is 1.0 mm or more and its tip is in view. It is found
when the shift measured, with its uncertainty, is one that is told as bent (`measure.vanes.telling`, which also flags
it), to the right side. False is one told of a vane whose true shift is less, or of what is no vane; for nothing is one
of these on a vane bent by less than 0.5 mm, or on none. A bent vane whose shift is given as not measured is missed,
however it is flagged. Beside it stand the same counts with no guard band: 1.0 mm or more measured. Photos refused
(``usable`` false) are counted apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.vanes.telling import BENT_MM, told_bent
from wearvision.quantity import K95
from wearvision.scenes.score import Counted, error_figures, records, usable

Array = NDArray[np.float64]
VIEWS = ("vane-front", "vane-back")
QUANTITIES = ("tip_shift", "bend_angle", "shortening")
STRAIGHT_MM = 0.5
"""A vane bent by less is straight: a look at it is for nothing."""


@dataclass(kw_only=True)
class Tally(Counted):
    """Running counts and, per quantity, lists of (error, u95)."""

    number_right: int = 0
    bent: int = 0
    bent_found: int = 0
    false: int = 0
    for_nothing: int = 0
    bent_by_value: int = 0
    false_by_value: int = 0
    gone: int = 0
    gone_found: int = 0
    false_gone: int = 0
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    unmeasured: dict[str, int] = field(default_factory=dict)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo."""
    if not usable(tally, truth, result):
        return
    count = result["summary"].get("vane_count", {}).get("value")
    if count == truth["summary"]["vane_count"]:
        tally.number_right += 1
    else:
        tally.notes.append(f"{truth['photo']}: {count} vanes for {truth['summary']['vane_count']}")
    vanes, found = list(truth["findings"]), [f for f in result["findings"] if f["kind"] == "vane"]
    pairs = match(vanes, found)
    for i, vane in enumerate(vanes):
        _add_vane(tally, truth["photo"], vane, found[pairs[i]] if i in pairs else None)
    for j in set(range(len(found))) - set(pairs.values()):
        tally.false_by_value += abs(_shift(found[j])[0]) >= BENT_MM
        if told_bent(*_shift(found[j])):
            tally.false += 1
            tally.for_nothing += 1
            tally.notes.append(f"{truth['photo']}: {found[j]['id']} is bent and no vane")


def _add_vane(tally: Tally, photo: str, vane: Mapping[str, Any], found: Mapping[str, Any] | None) -> None:
    truth = vane["truth"]
    where = f"{photo}, vane {vane['index']}"
    gone = found is not None and "missing" in found["quantities"]["tip_shift"].get("unmeasured", "")
    if truth.get("missing"):
        tally.gone += 1
        tally.gone_found += gone
        if not gone:
            tally.notes.append(f"{where}: missing, not told")
        return
    if gone:
        tally.false_gone += 1
        tally.notes.append(f"{where}: is there, told as missing")
    shift, (measured, u) = truth["tip_shift"], _shift(found)
    told, large = told_bent(measured, u), abs(measured) >= BENT_MM
    if abs(shift) < BENT_MM:
        tally.false_by_value += large
        tally.false += told
        tally.for_nothing += told and abs(shift) < STRAIGHT_MM
    elif vane.get("tip_in_view", True):
        tally.bent += 1
        told, large = told and measured * shift > 0, large and measured * shift > 0
        tally.bent_by_value += large
        tally.bent_found += told
    if told != (abs(shift) >= BENT_MM and vane.get("tip_in_view", True)):
        tally.notes.append(f"{where}: bent by {shift:.2f} mm, {'told' if told else 'not told'}, {_said(found)}")
    for name in QUANTITIES:
        given = {} if found is None else found["quantities"][name]
        if "value" not in given:
            tally.unmeasured[name] = tally.unmeasured.get(name, 0) + 1
        else:
            tally.errors.setdefault(name, []).append((given["value"] - truth[name], given["u95"]))


def _shift(found: Mapping[str, Any] | None) -> tuple[float, float]:
    """Measured shift and its standard uncertainty; none, for sure, where it is not measured."""
    given = {} if found is None else found["quantities"]["tip_shift"]
    return (float(given["value"]), float(given["u95"]) / K95) if "value" in given else (0.0, 0.0)


def _said(found: Mapping[str, Any] | None) -> str:
    """What is given of a vane's shift, for the notes."""
    given = {} if found is None else found["quantities"]["tip_shift"]
    if "value" in given:
        return f"{given['value']:.2f} +- {given['u95']:.2f}"
    return str(given.get("unmeasured", "no vane found"))


def match(vanes: list[Mapping[str, Any]], found: list[Mapping[str, Any]]) -> dict[int, int]:
    """Index of the found vane for each true one that has a match."""
    if not vanes or not found:
        return {}
    true = np.array([_middle(v["outline_px"]) for v in vanes])
    seen = np.array([_middle(f["outline_px"]) for f in found])
    apart = np.hypot(*(true[:, None] - seen[None]).transpose(2, 0, 1))
    between = np.hypot(*(true[:, None] - true[None]).transpose(2, 0, 1)) + np.where(np.eye(len(true)) > 0, np.inf, 0.0)
    most = 0.5 * float(between.min()) if len(true) > 1 else np.inf
    pairs: dict[int, int] = {}
    for i, j in sorted(np.ndindex(*apart.shape), key=lambda p: float(apart[p])):
        if i not in pairs and j not in pairs.values() and apart[i, j] < most:
            pairs[i] = j
    return pairs


def _middle(outline_px: list[list[float]]) -> Array:
    """Middle of an outline's box: the same for a centreline and for the area about it."""
    points = np.array(outline_px, dtype=float)
    return np.asarray((points.min(axis=0) + points.max(axis=0)) / 2)


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a run, ready for JSON."""
    measured = max(tally.photos - tally.refused, 1)
    return {
        "photos": tally.photos, "refused": tally.refused, "number_right": round(tally.number_right / measured, 4),
        "bent": tally.bent, "bent_found": tally.bent_found, "recall": round(tally.bent_found / max(tally.bent, 1), 4),
        "false_per_impeller": round(tally.false / measured, 4),
        "for_nothing_per_impeller": round(tally.for_nothing / measured, 4),
        "bent_by_value": tally.bent_by_value, "false_by_value": round(tally.false_by_value / measured, 4),
        "missing": tally.gone, "missing_found": tally.gone_found, "missing_false": tally.false_gone,
        "quantities": {
            name: error_figures(tally.errors[name]) | {"not_measured": tally.unmeasured.get(name, 0)}
            for name in QUANTITIES if name in tally.errors
        }, "notes": tally.notes,
    }  # fmt: skip


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}; number right {100 * figures['number_right']:.1f} %",
        f"bent by 1 mm or more: {figures['bent_found']} of {figures['bent']} found; false per impeller "
        f"{figures['false_per_impeller']}, on straight ones {figures['for_nothing_per_impeller']} (by 1 mm or more "
        f"measured: {figures['bent_by_value']}, {figures['false_by_value']}); missing: {figures['missing_found']} of "
        f"{figures['missing']} told, {figures['missing_false']} false",
        f"{'quantity':12} {'n':>4} {'none':>5} {'median':>8} {'90 %':>8} {'cover':>6}",
    ]
    for name, f in figures["quantities"].items():
        lines.append(
            f"{name:12} {f['count']:4d} {f['not_measured']:5d} {f['error_median']:8.3f} {f['error_p90']:8.3f} "
            f"{f['coverage_95']:6.2f}"
        )
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder with the truth of vanes in plan beside them."""
    return records(folder, *VIEWS)
