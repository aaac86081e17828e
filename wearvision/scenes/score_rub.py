"""Hold measured rub bands against the truth of drawn wear faces: found or missed, how far out, how honest.

Rules. Every true band counts that lies between the edges of the face, whatever hides it. A measured `rub` is of the
true one both of whose radii it has within 1 mm; any other, or a second one of the same, is false. Photos that the
measurement refuses are counted apart; their bands are missed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.score import Matched, records, usable

NEAR_MM = 1.0
QUANTITIES = ("radius_inner", "radius_outer", "width", "area")


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, (error, u95) of what was found; areas as shares."""

    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    free = [_sizes(f["truth"]) for f in truth["findings"] if f["kind"] == "rub"]
    if not usable(tally, truth, result):
        tally.missed += len(free)
        return
    for found in (f["quantities"] for f in result["findings"] if f["kind"] == "rub"):
        mine = next((true for true in free if _near(true, found)), None)
        if mine is None:
            tally.false += 1
            tally.notes.append(f"{truth['photo']}: false band {found['radius_inner'].get('value')}")
            continue
        free.remove(mine)
        tally.found += 1
        for what in QUANTITIES:
            by = mine[what] if what == "area" else 1.0
            error = (float(found[what]["value"]) - mine[what]) / by
            tally.errors.setdefault(what, []).append((error, float(found[what]["u95"]) / by))
    tally.missed += len(free)
    tally.notes += [f"{truth['photo']}: missed {t['radius_inner']:.1f} to {t['radius_outer']:.1f}" for t in free]


def _sizes(truth: Mapping[str, float]) -> dict[str, float]:
    half = truth["width"] / 2
    return {"radius_inner": truth["radius"] - half, "radius_outer": truth["radius"] + half,
            "width": truth["width"], "area": truth["area"]}  # fmt: skip


def _near(true: Mapping[str, float], found: Mapping[str, Any]) -> bool:
    return all(abs(float(found[k]["value"]) - true[k]) < NEAR_MM for k in ("radius_inner", "radius_outer"))


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm, of areas as shares."""
    figures: dict[str, Any] = {n: getattr(tally, n) for n in ("photos", "refused", "found", "missed", "false")}
    quantities = {}
    for what, pairs in tally.errors.items():
        errors, u95 = np.array(pairs).T
        quantities[what] = {
            "count": len(errors), "error_median": round(float(np.median(np.abs(errors))), 4),
            "error_p90": round(float(np.percentile(np.abs(errors), 90)), 4),
            "coverage_95": round(float(np.mean(np.abs(errors) <= u95)), 4),
        }  # fmt: skip
    return {**figures, "quantities": quantities, "notes": tally.notes}


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    per = figures["false"] / max(1, figures["photos"] - figures["refused"])
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}; rub bands found {figures['found']}, missed "
        f"{figures['missed']}, false {figures['false']} ({per:.2f} per photo)"
    ]
    lines += [
        f"{what}: error median {f['error_median']}, 90 % {f['error_p90']}; intervals cover {f['coverage_95']:.2f} of "
        f"{f['count']}"
        for what, f in figures["quantities"].items()
    ]
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of a wear face beside them."""
    return records(folder, "wear-face")
