"""Hold measured gasket lands against the truth: least width, notches found and missed, how honest the intervals.

Rules. The least width of the land is compared on every photo that is not refused; where it was not measured, that is
counted and named. A notch matches a true one when their outlines, filled, overlap by intersection over union of at
least 0.3, each used once; every true notch counts, however small, every other find is false. False notches are also
told for sound lands alone. Found and true cracks match when the find touches a crack's line, thickened to 3 mm, with
at least a third of its own length. Photos that the measurement refuses are counted apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.score import Matched, error_figures, filled, pair_up, records, usable

QUANTITIES = ("loss", "arc", "remaining_width", "area")
CRACK = ("length", "width")
"""Quantities of a crack, told of those that were found."""


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, (error, u95)."""

    sound: int = 0
    false_on_sound: int = 0
    missed_deep: int = 0
    unmeasured: int = 0
    cracks: int = 0
    cracks_found: int = 0
    cracks_false: int = 0
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    name = truth["photo"]
    if not usable(tally, truth, result):
        return
    _least(tally, name, truth, result)
    _notches(tally, name, truth, result)
    _cracks(tally, truth, result)


def _least(tally: Tally, name: str, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    lands = [f for f in result["findings"] if f["kind"] == "gasket-land"]
    got = lands[0]["quantities"].get("remaining_width", {}) if lands else {}
    true = float(truth["summary"]["min_remaining_width_mm"])
    if "value" not in got:
        tally.unmeasured += 1
        why = "; ".join(str(n["why"]) for n in result["not_assessed"] if n["what"] == "gasket land")
        tally.notes.append(f"{name}: least width not measured: {got.get('unmeasured', why)}")
        return
    _compare(tally, name, "least_width", true, got)


def _compare(tally: Tally, name: str, what: str, true: float, got: Mapping[str, Any]) -> None:
    if "value" not in got:
        return
    error, u95 = float(got["value"]) - true, float(got["u95"])
    tally.errors.setdefault(what, []).append((error, u95))
    if what == "least_width" and abs(error) > u95:
        tally.notes.append(f"{name}: {what} {true:.2f}, off by {error:.2f} (U95 {u95:.2f})")


def _notches(tally: Tally, name: str, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    shape = (int(result["photo"]["height_px"]), int(result["photo"]["width_px"]))
    true = [f for f in truth["findings"] if f["kind"] == "notch"]
    found = [f for f in result["findings"] if f["kind"] == "notch"]
    pairs = pair_up([filled(f["outline_px"], shape) for f in found], [filled(f["outline_px"], shape) for f in true])
    false = len(found) - len(pairs)
    tally.false += false
    if not true:
        tally.sound += 1
        tally.false_on_sound += false
    by_truth = {j: i for i, j in pairs.items()}
    for j, notch in enumerate(true):
        if j in by_truth:
            tally.found += 1
            for what in QUANTITIES:
                _compare(tally, name, what, float(notch["truth"][what]), found[by_truth[j]]["quantities"].get(what, {}))
        else:
            tally.missed += 1
            tally.missed_deep += notch["truth"]["loss"] >= 1.0
            t = notch["truth"]
            tally.notes.append(f"{name}: missed notch, loss {t['loss']:.2f}, arc {t['arc']:.1f}")
    if false:
        tally.notes.append(f"{name}: {false} false notches")


def _cracks(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    real = [f for f in truth["findings"] if f["kind"] == "crack"]
    told = [f for f in result["findings"] if f["kind"] == "crack"]
    true, found = ([np.array(f["outline_px"]) for f in cracks] for cracks in (real, told))
    near = 1.5 / float(truth["mm_per_px"])
    hit = np.zeros((len(found), len(true)), dtype=bool)
    for i, one in enumerate(found):
        for j, line in enumerate(true):
            apart = np.hypot(*(one[:, None] - line[None]).transpose(2, 0, 1)).min(axis=1)
            hit[i, j] = (apart < near).mean() >= 1 / 3
    tally.cracks += len(true)
    tally.cracks_found += int(hit.any(axis=0).sum()) if found else 0
    tally.cracks_false += len(found) - (int(hit.any(axis=1).sum()) if true else 0)
    for j, i in enumerate(hit.argmax(axis=0).tolist() if found else ()):
        for what in CRACK if hit[i, j] else ():
            _compare(tally, truth["photo"], f"crack_{what}", float(real[j]["truth"][what]), told[i]["quantities"][what])


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm, deg, mm2, shares 0..1."""
    return {
        "photos": tally.photos, "refused": tally.refused, "unmeasured": tally.unmeasured,
        "found": tally.found, "missed": tally.missed, "missed_from_1_mm": tally.missed_deep, "false": tally.false,
        "recall": round(tally.found / max(1, tally.found + tally.missed), 4), "sound_lands": tally.sound,
        "false_per_sound_land": round(tally.false_on_sound / tally.sound, 3) if tally.sound else None,
        "cracks": tally.cracks, "cracks_found": tally.cracks_found, "cracks_false": tally.cracks_false,
        "quantities": {
            q: error_figures(tally.errors[q])
            for q in ("least_width", *QUANTITIES, *(f"crack_{what}" for what in CRACK)) if q in tally.errors
        },
        "notes": tally.notes,
    }  # fmt: skip


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}, least width not measured {figures['unmeasured']}",
        f"notches found {figures['found']}, missed {figures['missed']} ({figures['missed_from_1_mm']} of them 1 mm "
        f"deep or more), false {figures['false']}; recall {figures['recall']:.3f}; false per sound land "
        f"{figures['false_per_sound_land']} ({figures['sound_lands']} sound)",
        f"cracks {figures['cracks']}, found {figures['cracks_found']}, false {figures['cracks_false']}",
        f"{'quantity':16} {'n':>4} {'median':>8} {'90 %':>8} {'bias':>8} {'cover':>6} {'U95':>7}",
    ]
    for what, f in figures["quantities"].items():
        lines.append(
            f"{what:16} {f['count']:4d} {f['error_median']:8.3f} {f['error_p90']:8.3f} {f['bias_median']:8.3f} "
            f"{f['coverage_95']:6.2f} {f['u95_median']:7.3f}"
        )
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of this view beside them."""
    return records(folder, "gasket-land")
