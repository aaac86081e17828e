"""Hold measured photos against the truth: which grooves were found, how well, how honest the intervals.

Rules. A found groove matches a true one when their outlines, filled on the photo's pixels, overlap by
intersection over union of at least 0.3 (best pairs first, each used once). A true groove counts when it is
at least 0.8 mm and 6 px wide and some of it is in view, however shallow;
others count neither for nor against, and nor does a find that matches or lies mostly on one of them.
Photos that the measurement refuses (``usable`` false) are counted apart, their grooves not as missed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.stated import NOMINALS, Stated

Mask = NDArray[np.bool_]

MATCH_IOU = 0.3
LEAST_WIDTH_MM, LEAST_WIDTH_PX = 0.8, 6.0
SHRINK = 2
"""Outlines are filled at half the photo's resolution."""
QUANTITIES = ("width", "width_max", "radius", "arc", "arc_in_view", "area")
OTHER_NAMES = {
    "gasket_inner_diameter_mm": "land_inner_diameter_mm", "gasket_outer_diameter_mm": "land_outer_diameter_mm",
    "lip_length_nominal_mm": "lip_length_mm", "vane_width_nominal_mm": "vane_thickness_mm",
    "vane_height_nominal_mm": "vane_height_mm",
}  # fmt: skip
"""Drawing sizes as another renderer names them."""


@dataclass(kw_only=True)
class Counted:
    """What every tally counts."""

    photos: int = 0
    refused: int = 0
    notes: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class Matched(Counted):
    """A tally of what is found one by one, and of what is told and is not there."""

    found: int = 0
    missed: int = 0
    false: int = 0


@dataclass(kw_only=True)
class Tally(Matched):
    """Running counts and, per quantity, lists of (error, u95) of matched grooves."""

    clean: int = 0
    false_on_clean: int = 0
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    unmeasured: dict[str, int] = field(default_factory=dict)


def usable(tally: Counted, truth: Mapping[str, Any], result: Mapping[str, Any]) -> bool:
    """Count one more photo; false where the measurement refuses it, which is noted with the reasons."""
    tally.photos += 1
    if result.get("usable", False):
        return True
    tally.refused += 1
    reasons = ", ".join(str(r.get("code")) for r in result.get("retake", []))
    tally.notes.append(f"{truth['photo']}: refused ({reasons})")
    return False


def stated_of(truth: Mapping[str, Any]) -> Stated:
    """What a technician would state about a photo with this truth; sizes that no view asks for are left out."""
    stated = truth["stated"]
    bar = float(stated["check_bar_100_mm"])
    sizes = {OTHER_NAMES.get(name, name): value for name, value in stated["stated"].items()}
    return Stated(
        part_kind=truth["part_kind"],
        view=truth["view"],
        card_size=truth["card"].get("name", "standard"),
        card_height_mm=float(stated["card_height_mm"]),
        check_bar_mm=bar,
        light_kind=stated["stated"].get("light_kind"),
        nominal={name: float(value) for name, value in sizes.items() if name in NOMINALS},
    )


def counts(finding: Mapping[str, Any]) -> bool:
    """Whether a true groove is one that ought to be found."""
    truth = finding["truth"]
    return bool(
        truth["width"] >= LEAST_WIDTH_MM
        and width_px(finding) >= LEAST_WIDTH_PX
        and truth["arc_in_view"] > 0
    )


def width_px(finding: Mapping[str, Any]) -> float:
    """Width of a true groove in pixels, from its record or from its outline's area over length."""
    if "width_px" in finding:
        return float(finding["width_px"])
    line = np.array(finding["outline_px"], dtype=float)
    length_px = float(np.hypot(*np.diff(line, axis=0).T).sum())
    length_mm = math.radians(finding["truth"]["arc"]) * finding["truth"]["radius"]
    return float(finding["truth"]["width"] * length_px / length_mm)


def filled(outline_px: Iterable[Iterable[float]], shape: tuple[int, int]) -> Mask:
    """Outline filled by the even-odd rule on a picture of ``shape``, at half resolution."""
    import cv2

    canvas = np.zeros((shape[0] // SHRINK, shape[1] // SHRINK), dtype=np.uint8)
    points = (np.array(list(outline_px), dtype=float) - 0.5) / SHRINK
    if len(points) >= 3:
        cv2.fillPoly(canvas, [np.round(points * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return canvas.astype(bool)


def true_region(finding: Mapping[str, Any], shape: tuple[int, int]) -> Mask:
    """Region of a true groove; records without a polygon give a centreline, thickened to the width."""
    import cv2

    if "polygon_px" in finding:
        return filled(finding["polygon_px"], shape)
    canvas = np.zeros((shape[0] // SHRINK, shape[1] // SHRINK), dtype=np.uint8)
    line = np.round((np.array(finding["outline_px"]) - 0.5) / SHRINK).astype(np.int32)
    cv2.polylines(canvas, [line], False, 1, max(1, round(width_px(finding) / SHRINK)))
    return canvas.astype(bool)


def overlap(one: Mask, other: Mask) -> float:
    """Intersection over union; 0 for two empty masks."""
    union = int((one | other).sum())
    return int((one & other).sum()) / union if union else 0.0


def pair_up(found: list[Mask], true: list[Mask]) -> dict[int, int]:
    """Index of the true region for each matched found one."""
    table = sorted(
        ((overlap(f, t), i, j) for i, f in enumerate(found) for j, t in enumerate(true)), reverse=True
    )
    pairs: dict[int, int] = {}
    for iou, i, j in table:
        if iou >= MATCH_IOU and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return pairs


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    name = truth["photo"]
    if not usable(tally, truth, result):
        return
    shape = (int(result["photo"]["height_px"]), int(result["photo"]["width_px"]))
    true = [f for f in truth["findings"] if f["kind"] == "groove"]
    found = [f for f in result.get("findings", []) if f["kind"] == "groove"]
    regions = [true_region(f, shape) for f in true]
    marks = [filled(f["outline_px"], shape) for f in found]
    pairs = pair_up(marks, regions)
    false = sum(1 for i, m in enumerate(marks) if i not in pairs and not _on_uncounted(m, true, regions))
    tally.false += false
    if not true:
        tally.clean += 1
        tally.false_on_clean += false
    by_truth = {j: i for i, j in pairs.items()}
    for j, groove in enumerate(true):
        if not counts(groove):
            continue
        if j in by_truth:
            tally.found += 1
            _compare(tally, groove["truth"], found[by_truth[j]].get("quantities", {}))
        else:
            tally.missed += 1
            t = groove["truth"]
            tally.notes.append(f"{name}: missed groove r {t['radius']:.1f}, width {t['width']:.2f} mm")
    if false:
        tally.notes.append(f"{name}: {false} false")


def _on_uncounted(mark: Mask, true: list[Mapping[str, Any]], regions: list[Mask]) -> bool:
    """Whether a find lies mostly on a true groove that does not count."""
    area = max(1, int(mark.sum()))
    return any(
        not counts(f) and int((mark & region).sum()) / area > 0.4 for f, region in zip(true, regions, strict=True)
    )


def _compare(tally: Tally, truth: Mapping[str, float], quantities: Mapping[str, Any]) -> None:
    whole = truth["arc_in_view"] >= truth["arc"] - 0.5
    for name in QUANTITIES:
        if name not in truth or (name in ("arc", "area") and not whole):
            continue
        value = quantities.get(name, {}).get("value")
        if value is None:
            tally.unmeasured[name] = tally.unmeasured.get(name, 0) + 1
            continue
        error = float(value) - float(truth[name])
        tally.errors.setdefault(name, []).append((error, float(quantities[name].get("u95", math.nan))))


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON. Shares are 0..1; errors in mm, deg, mm2."""
    precision = tally.found / max(1, tally.found + tally.false)
    recall = tally.found / max(1, tally.found + tally.missed)
    return {
        "photos": tally.photos,
        "refused": tally.refused,
        "found": tally.found,
        "missed": tally.missed,
        "false": tally.false,
        "precision": round(precision, 4),
        "recall": round(recall, 4),
        "f1": round(2 * precision * recall / max(1e-9, precision + recall), 4),
        "clean_photos": tally.clean,
        "false_per_clean_photo": round(tally.false_on_clean / tally.clean, 3) if tally.clean else None,
        "quantities": {name: _figures(tally, name) for name in QUANTITIES if name in tally.errors},
        "notes": tally.notes,
    }


def _figures(tally: Tally, name: str) -> dict[str, Any]:
    told = error_figures(tally.errors[name])
    over = told["u95_median"] / max(1e-9, told["error_median"])
    return told | {"not_measured": tally.unmeasured.get(name, 0), "u95_over_error_median": round(over, 2)}


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    lines = [
        f"photos {figures['photos']}, refused {figures['refused']}; grooves found {figures['found']}, "
        f"missed {figures['missed']}, false {figures['false']}",
        f"precision {figures['precision']:.3f}  recall {figures['recall']:.3f}  F1 {figures['f1']:.3f}; "
        f"false per clean photo {figures['false_per_clean_photo']} ({figures['clean_photos']} clean)",
        f"{'quantity':12} {'n':>4} {'none':>5} {'median':>9} {'90 %':>9} {'bias':>9} {'cover':>6} {'U95/err':>8}",
    ]
    for name, f in figures["quantities"].items():
        lines.append(
            f"{name:12} {f['count']:4d} {f['not_measured']:5d} {f['error_median']:9.3f} {f['error_p90']:9.3f} "
            f"{f['bias_median']:9.3f} {f['coverage_95']:6.2f} {f['u95_over_error_median']:8.2f}"
        )
    return "\n".join([*lines, *figures["notes"]])


def error_figures(pairs: list[tuple[float, float]]) -> dict[str, Any]:
    """Size, bias and coverage of errors told with their U95, one pair each."""
    errors, u95 = np.array(pairs, dtype=float).T
    size = np.abs(errors)
    return {
        "count": len(size), "error_median": round(float(np.median(size)), 4),
        "error_p90": round(float(np.percentile(size, 90)), 4), "bias_median": round(float(np.median(errors)), 4),
        "coverage_95": round(float(np.mean(size <= u95)), 4), "u95_median": round(float(np.median(u95)), 4),
    }  # fmt: skip


def records(folder: Path, *views: str) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record of one of the views beside them."""
    found = []
    for path in sorted(folder.glob("*.json")):
        record = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(record, dict) and record.get("view") in views and "findings" in record:
            found.append((folder / record["photo"], record))
    return found


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a wear-face truth record beside them."""
    return records(folder, "wear-face")
