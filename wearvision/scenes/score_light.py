"""Hold measured sections under a line of light against the truth: found or missed, how deep, how honest.

Rules. A true section counts when it is at least 0.4 mm deep, 1 mm wide along the line, and the camera sees at least
half of its lit places; what is slighter may be told or not. A measured `depth-section` is of the true one nearest to
its deepest place, within half its width and 1 mm along the picture; any other, or a second one of the same, is false.
A missed section is an error without bound in `error_p90_all`. Coverage is over all that was measured, slight or not.
Photos that the measurement refuses, and those of which it says that the depth cannot be told, are counted apart; their
sections are missed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.score import Matched, records, usable

LEAST_DEPTH_MM, LEAST_WIDTH_MM, LEAST_VIEW, NEAR_MM = 0.4, 1.0, 0.5, 1.0

UNTOLD = ("line of light", "depth under the line")


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, (counts, error, u95) of what was measured."""

    untold: int = 0
    sound: int = 0
    false_sound: int = 0
    errors: dict[str, list[tuple[bool, float, float]]] = field(default_factory=dict)


def counts(section: Mapping[str, Any]) -> bool:
    """Whether a true section is one that ought to be found."""
    true = section["truth"]
    return bool(
        true["depth"] >= LEAST_DEPTH_MM and true["width"] >= LEAST_WIDTH_MM and true["in_view"] >= LEAST_VIEW
    )


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    name, free = truth["photo"], [f for f in truth["findings"] if f["kind"] == "depth-section"]
    sound, wanted = not free, [f for f in free if counts(f)]
    tally.sound += sound
    if not usable(tally, truth, result):
        tally.missed += len(wanted)
        return
    for found in (f for f in result["findings"] if f["kind"] == "depth-section"):
        mine = _nearest(found, free, truth)
        if mine is None:
            tally.false += 1
            tally.false_sound += sound
            tally.notes.append(f"{name}: false {found['id']} depth {found['quantities']['depth'].get('value')}")
            continue
        free = [f for f in free if f is not mine]
        _compare(tally, name, mine, found)
    left = [f for f in free if counts(f)]
    tally.missed += len(left)
    tally.found += len(wanted) - len(left)
    why = "; ".join(str(n["why"]) for n in result["not_assessed"] if n["what"] in UNTOLD)
    tally.untold += bool(why)
    tally.notes += [f"{name}: missed {f['truth']} {why}" for f in left]
    tally.notes += [f"{name}: {why}"] if why and not left else []


def _nearest(
    found: Mapping[str, Any], free: list[Mapping[str, Any]], truth: Mapping[str, Any]
) -> Mapping[str, Any] | None:
    """The true section at the measured one's deepest place."""
    place = np.array(found["places_px"][0], dtype=float)
    best, near = None, np.inf
    for section in free:
        away = float(np.hypot(*(np.array(section["outline_px"]) - place).T).min()) * truth["mm_per_px"]
        if away < min(near, NEAR_MM + section["truth"]["width"] / 2):
            best, near = section, away
    return best


def _compare(tally: Tally, name: str, true: Mapping[str, Any], found: Mapping[str, Any]) -> None:
    for what in ("depth", "width"):
        got = found["quantities"].get(what, {})
        if "value" not in got:
            continue
        error, u95 = float(got["value"]) - true["truth"][what], float(got["u95"])
        tally.errors.setdefault(what, []).append((counts(true), error, u95))
        if abs(error) > u95:
            tally.notes.append(f"{name}: {what} {true['truth'][what]:.2f}, off by {error:.2f} (U95 {u95:.2f})")


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm, shares 0..1."""
    names = ("photos", "refused", "untold", "found", "missed", "false", "sound", "false_sound")
    figures: dict[str, Any] = {name: getattr(tally, name) for name in names}
    quantities = {what: _figures(tally, what) for what in ("depth", "width") if what in tally.errors}
    return {**figures, "quantities": quantities, "notes": tally.notes}


def _figures(tally: Tally, what: str) -> dict[str, Any]:
    told, errors, u95 = np.array(tally.errors[what], dtype=float).T
    counted = np.abs(errors[told > 0])
    every = np.concatenate([counted, np.full(tally.missed, np.inf)])
    return {
        "count": len(counted), "not_measured": tally.missed,
        "error_median": _round(counted, 50), "error_p90": _round(counted, 90),
        "error_p90_all": None if not len(every) else round(float(np.percentile(every, 90, method="lower")), 4),
        "bias_median": _round(errors, 50), "covered": len(errors),
        "coverage_95": round(float(np.mean(np.abs(errors) <= u95)), 4), "u95_median": _round(u95, 50),
    }  # fmt: skip


def _round(values: Any, share: float) -> float | None:
    return round(float(np.percentile(values, share)), 4) if len(values) else None


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}, told that it cannot be told {figures['untold']}; "
        f"sections found {figures['found']}, missed {figures['missed']}, false {figures['false']}",
        f"sound faces {figures['sound']}, false sections there {figures['false_sound']}",
    ]
    for what, f in figures["quantities"].items():
        lines.append(
            f"{what}: {f['count']} counted, error median {f['error_median']} mm, 90 % {f['error_p90']} mm, with the "
            f"missed {f['error_p90_all']} mm, bias {f['bias_median']} mm; intervals cover {f['coverage_95']:.2f} of "
            f"{f['covered']}, U95 median {f['u95_median']} mm"
        )
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of this view beside them."""
    return records(folder, "line-light")
