"""Hold measured profiles of vanes against the truth: found or missed, how well, how honest the intervals.

Rules. The true section is found when a measured `vane-section` overlaps it by intersection over union of at least
0.5; any other measured section is false. Corners are compared by their `side`. A true radius of at least 0.4 mm
counts for the error of `edge_radius`; where it was not measured ("at most", or the vane was missed) it counts as an
error without bound in `error_p90_all`; so does a size that is not told. `bounds` counts corners told as "at most r"
and how many of them are. Coverage is over all that was measured, whatever the radius. Photos that the measurement
refuses are counted apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.score import Matched, filled, overlap, records, usable

MATCH_IOU = 0.5
LEAST_RADIUS_MM = 0.4
SIZES = ("height", "thickness", "height_loss")


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, (truth, error, u95) of what was measured."""

    errors: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    untold: int = 0
    bounds: list[tuple[float, float]] = field(default_factory=list)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    name = truth["photo"]
    if not usable(tally, truth, result):
        return
    shape = (int(result["photo"]["height_px"]), int(result["photo"]["width_px"]))
    section = next(f for f in truth["findings"] if f["kind"] == "vane-section")
    region = filled(section["outline_px"], shape)
    found = [f for f in result["findings"] if f["kind"] == "vane-section"]
    hits = [f for f in found if overlap(filled(f["outline_px"], shape), region) >= MATCH_IOU]
    tally.false += len(found) - bool(hits)
    corners = [f for f in truth["findings"] if f["kind"] == "vane-edge"]
    if not hits:
        tally.missed += 1
        tally.untold += sum(f["truth"]["edge_radius"] >= LEAST_RADIUS_MM for f in corners)
        why = "; ".join(str(n["why"]) for n in result["not_assessed"] if n["what"] == "vane edge")
        tally.notes.append(f"{name}: missed ({summary_words(truth)}): {why or 'something else was measured'}")
        return
    tally.found += 1
    for size in SIZES:
        _compare(tally, name, size, section["truth"][size], hits[0]["quantities"].get(size, {}))
    for corner in corners:
        edges = [f for f in result["findings"] if f["kind"] == "vane-edge" and f.get("side") == corner["side"]]
        _compare_corner(tally, name, corner, edges[0]["quantities"] if edges else {})


def summary_words(truth: Mapping[str, Any]) -> str:
    """What stood behind the vane, for a note."""
    return str(truth.get("summary", {}).get("backdrop", ""))


def _compare(tally: Tally, name: str, what: str, true: float, got: Mapping[str, Any]) -> bool:
    if "value" not in got:
        return False
    error, u95 = float(got["value"]) - true, float(got["u95"])
    tally.errors.setdefault(what, []).append((true, error, u95))
    if abs(error) > max(2 * u95, 0.3):
        tally.notes.append(f"{name}: {what} {true:.2f}, off by {error:.2f} (U95 {u95:.2f})")
    return True


def _compare_corner(tally: Tally, name: str, corner: Mapping[str, Any], got: Mapping[str, Any]) -> None:
    true = float(corner["truth"]["edge_radius"])
    if _compare(tally, name, "edge_radius", true, got.get("edge_radius", {})):
        return
    if true >= LEAST_RADIUS_MM:
        tally.untold += 1
        tally.notes.append(f"{name}: {corner['side']} radius {true:.2f} not measured: {got.get('edge_radius', {})}")
    bound = got.get("edge_radius_max", {})
    if "value" in bound:
        tally.bounds.append((true, float(bound["value"])))


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm, shares 0..1."""
    return {
        "photos": tally.photos, "refused": tally.refused, "found": tally.found, "missed": tally.missed,
        "false": tally.false,
        "bounds": {"count": len(tally.bounds), "held": sum(true <= most for true, most in tally.bounds),
                   "median": _median([most for _, most in tally.bounds])},
        "quantities": {what: _figures(tally, what) for what in ("edge_radius", *SIZES) if what in tally.errors},
        "notes": tally.notes,
    }  # fmt: skip


def _median(values: list[float]) -> float | None:
    return round(float(np.median(values)), 3) if values else None


def _figures(tally: Tally, what: str) -> dict[str, Any]:
    true, errors, u95 = np.array(tally.errors[what], dtype=float).T
    counted = np.abs(errors[true >= LEAST_RADIUS_MM]) if what == "edge_radius" else np.abs(errors)
    extra = tally.untold if what == "edge_radius" else tally.missed + tally.found - len(errors)
    with_missed = np.concatenate([counted, np.full(extra, math.inf)])
    return {
        "count": len(counted), "not_measured": extra,
        "error_median": round(float(np.median(counted)), 4),
        "error_p90": round(float(np.percentile(counted, 90)), 4),
        "error_p90_all": round(float(np.percentile(with_missed, 90, method="lower")), 4),
        "bias_median": round(float(np.median(errors)), 4),
        "covered": len(errors), "coverage_95": round(float(np.mean(np.abs(errors) <= u95)), 4),
        "u95_median": round(float(np.median(u95)), 4),
    }  # fmt: skip


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    bounds = figures["bounds"]
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}; vanes found {figures['found']}, missed "
        f"{figures['missed']}, false {figures['false']}",
        f"corners told as at most r: {bounds['count']}, true of {bounds['held']}, median bound {bounds['median']} mm",
        f"{'quantity':12} {'n':>4} {'none':>5} {'median':>8} {'90 %':>8} {'90 % all':>9} {'bias':>8} {'cover':>6} "
        f"{'of':>4} {'U95':>7}",
    ]
    for what, f in figures["quantities"].items():
        lines.append(
            f"{what:12} {f['count']:4d} {f['not_measured']:5d} {f['error_median']:8.3f} {f['error_p90']:8.3f} "
            f"{f['error_p90_all']:9.3f} {f['bias_median']:8.3f} {f['coverage_95']:6.2f} {f['covered']:4d} "
            f"{f['u95_median']:7.3f}"
        )
    return "\n".join([*lines, *figures["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of this view beside them."""
    return records(folder, "vane-edge")
