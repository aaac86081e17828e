"""Hold measured pits and cracks of drawn faces against the truth: found, missed, false, sizes, honest intervals.

Rules. A pit counts when its true diameter is at least 1 mm and 80 % of it is seen. A found pit matches a true one
(of any size) when its middle lies within half the true diameter of the true middle and their outlines overlap by
intersection over union of at least 0.3; each is used once, the best pairs first. A find of at least 1 mm that matches
none is false, and so is a hole taken for a pit; those flagged `hole-like` are no pits, and cost a true pit.
The density class is that nearest to the true density of the whole field; a face without pits asks for none.
A crack counts when it is at least 20 mm long and 80 % of it is seen; it is found when one find lies within 1.5 mm of
it with half of its own length, and along at least half of the true length. A find that lies so on no true
crack, however short, is false. Refused photos are counted apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.score import Counted, error_figures, records, usable

Array = NDArray[np.float64]

LEAST_PIT_MM, LEAST_CRACK_MM, SEEN = 1.0, 20.0, 0.8
MATCH_IOU, NEAR_MM, ALONG = 0.3, 1.5, 0.5
DENSITY_PER_M2 = (2.5e3, 1e4, 5e4, 1e5, 5e5)
"""ASTM G46 chart, column A, classes 1 to 5 (memory); the nearest on a log scale is the class."""


@dataclass(kw_only=True)
class Tally(Counted):
    """Running counts and, per quantity, (error, u95)."""

    sound: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def add(self, what: str, count: int = 1) -> None:
        """Count something."""
        self.counts[what] = self.counts.get(what, 0) + int(count)


def add_photo(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    """Count one photo: its truth record against the measurement's JSON object."""
    if not usable(tally, truth, result):
        return
    _pits(tally, truth, result)
    _class(tally, truth, result)
    _cracks(tally, truth, result)


def _in_view(one: Mapping[str, Any]) -> bool:
    """Whether enough of a true one is in view; all of it where its record does not say."""
    return bool(one["truth"].get("in_view", 1.0) >= SEEN)


def _pits(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    true = [f for f in truth["findings"] if f["kind"] == "pit"]
    holes = [f for f in truth["findings"] if f["kind"] == "hole"]
    seen = [f for f in result["findings"] if f["kind"] == "pit"]
    found = [f for f in seen if "hole-like" not in f["flags"]]
    pairs = pair_up(found, true)
    good = {j for j, f in enumerate(true) if f["truth"]["diameter"] >= LEAST_PIT_MM and _in_view(f)}
    hit, large = good & set(pairs.values()), [_diameter(f) >= LEAST_PIT_MM for f in found]
    false = sum(large[i] and i not in pairs for i in range(len(found)))
    for what, count in (("pits", len(good)), ("pits_found", len(hit)), ("pits_false", false), ("holes", len(holes))):
        tally.add(what, count)
    tally.add("holes_as_pits", len(pair_up(found, holes)))
    tally.add("holes_flagged", len(pair_up([f for f in seen if "hole-like" in f["flags"]], holes)))
    if not true:
        tally.sound += 1
        tally.add("false_on_sound", false)
    for i, j in pairs.items():
        if j in good:
            _compare(tally, "diameter", float(true[j]["truth"]["diameter"]), found[i]["quantities"]["diameter"])
    if false or len(hit) < len(good):
        tally.notes.append(f"{truth['photo']}: pits {len(good)}, found {len(hit)}, false {false}")


def _diameter(finding: Mapping[str, Any]) -> float:
    return float(finding["quantities"]["diameter"].get("value", 0.0))


def pair_up(found: list[Any], true: list[Any]) -> dict[int, int]:
    """Found -> true by overlap and middle, best pairs first, each used once."""
    scored = []
    for j, one in enumerate(true):
        line = np.array(one["outline_px"], dtype=float)
        middle, reach = line.mean(axis=0), float(np.ptp(line, axis=0).mean()) / 2
        for i, other in enumerate(found):
            mine = np.array(other["outline_px"], dtype=float)
            if np.hypot(*(mine.mean(axis=0) - middle)) <= reach:
                scored.append((overlap(mine, line), i, j))
    pairs: dict[int, int] = {}
    for share, i, j in sorted(scored, reverse=True):
        if share >= MATCH_IOU and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return pairs


def overlap(one: Array, other: Array) -> float:
    """Intersection over union of two outlines (N, 2), on a raster of a quarter pixel."""
    low = np.minimum(one.min(axis=0), other.min(axis=0)) - 1
    size = np.ceil((np.maximum(one.max(axis=0), other.max(axis=0)) - low + 1) * 4).astype(int)
    masks = []
    for line in (one, other):
        mask = np.zeros((int(size[1]), int(size[0])), dtype=np.uint8)
        cv2.fillPoly(mask, [np.round((line - low) * 4).astype(np.int32)], 1)
        masks.append(mask.astype(bool))
    return float((masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum())


def _class(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    density = float(truth["summary"]["pit_density_per_m2"])
    true = 1 + int(np.argmin(np.abs(np.log(density / np.array(DENSITY_PER_M2))))) if density else 0
    got = int(result["summary"].get("pit_density_class", {}).get("value", 0))
    tally.add("classes")
    tally.add("classes_right", got == true)
    if got != true:
        tally.notes.append(f"{truth['photo']}: density class {true}, told {got}")


def _cracks(tally: Tally, truth: Mapping[str, Any], result: Mapping[str, Any]) -> None:
    true = [f for f in truth["findings"] if f["kind"] == "crack"]
    found = [f for f in result["findings"] if f["kind"] == "crack"]
    near = NEAR_MM / float(truth["mm_per_px"])
    lines = [np.array(f["outline_px"], dtype=float)[: len(f["outline_px"]) // 2] for f in found]
    on = np.zeros((len(found), len(true)), dtype=bool)
    share = np.zeros((len(found), len(true)))
    for j, one in enumerate(true):
        target = dense(np.array(one["outline_px"], dtype=float))
        for i, line in enumerate(lines):
            apart = np.hypot(*(dense(line)[:, None] - target[None]).transpose(2, 0, 1))
            on[i, j] = (apart.min(axis=1) < near).mean() >= ALONG
            share[i, j] = (apart.min(axis=0) < near).mean() if on[i, j] else 0.0
    false = len(found) - (int(on.any(axis=1).sum()) if true else 0)
    tally.add("cracks_false", false)
    if false:
        tally.notes.append(f"{truth['photo']}: {false} false cracks")
    for j, one in enumerate(true):
        if one["truth"]["length"] < LEAST_CRACK_MM or not _in_view(one):
            continue
        tally.add("cracks")
        i = int(np.argmax(share[:, j])) if found else -1
        if i >= 0 and share[i, j] >= ALONG:
            tally.add("cracks_found")
            _compare(tally, "length", float(one["truth"]["length"]), found[i]["quantities"]["length"])
            _compare(tally, "width", float(one["truth"]["width"]), found[i]["quantities"]["width"])
        else:
            best = float(share[:, j].max()) if found else 0.0
            tally.notes.append(f"{truth['photo']}: missed crack {one['truth']}, {100 * best:.0f} % of it found")


def dense(line: Array, step_px: float = 4.0) -> Array:
    """A polyline (N, 2) at points a few pixels apart."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    s = np.arange(0, run[-1] + step_px, step_px)
    return np.column_stack([np.interp(s, run, line[:, k]) for k in (0, 1)])


def _compare(tally: Tally, what: str, true: float, got: Mapping[str, Any]) -> None:
    if "value" in got:
        tally.errors.setdefault(what, []).append((float(got["value"]) - true, float(got["u95"])))


def summary(tally: Tally) -> dict[str, Any]:
    """Figures of a tally, ready for JSON; errors in mm."""
    c = {name: tally.counts.get(name, 0) for name in (
        "pits", "pits_found", "pits_false", "false_on_sound", "holes", "holes_as_pits", "holes_flagged", "classes",
        "classes_right", "cracks", "cracks_found", "cracks_false",
    )}  # fmt: skip
    told = tally.photos - tally.refused
    return {
        "photos": tally.photos, "refused": tally.refused, "sound": tally.sound, **c,
        "pit_f1": round(2 * c["pits_found"] / max(1, c["pits"] + c["pits_found"] + c["pits_false"]), 4),
        "class_right": round(c["classes_right"] / max(1, c["classes"]), 4),
        "crack_recall": round(c["cracks_found"] / max(1, c["cracks"]), 4),
        "false_cracks_per_photo": round(c["cracks_false"] / max(1, told), 4),
        "quantities": {what: error_figures(pairs) for what, pairs in tally.errors.items()}, "notes": tally.notes,
    }  # fmt: skip


def table(figures: Mapping[str, Any]) -> str:
    """The summary as text for a person."""
    f = figures
    lines = [
        f"photos {f['photos']}, refused {f['refused']}",
        f"pits of 1 mm and more {f['pits']}: found {f['pits_found']}, false {f['pits_false']}, F1 {f['pit_f1']:.3f}; "
        f"false on {f['sound']} faces without pits: {f['false_on_sound']}",
        f"holes {f['holes']}: {f['holes_as_pits']} taken for pits, {f['holes_flagged']} flagged hole-like; "
        f"density class right on {f['classes_right']} of {f['classes']}",
        f"cracks of 20 mm and more {f['cracks']}: recall {f['crack_recall']:.3f}, "
        f"false per photo {f['false_cracks_per_photo']:.2f}",
        f"{'quantity':12} {'n':>4} {'median':>8} {'90 %':>8} {'bias':>8} {'cover':>6} {'U95':>7}",
    ]
    for what, q in f["quantities"].items():
        lines.append(
            f"{what:12} {q['count']:4d} {q['error_median']:8.3f} {q['error_p90']:8.3f} {q['bias_median']:8.3f} "
            f"{q['coverage_95']:6.2f} {q['u95_median']:7.3f}"
        )
    return "\n".join([*lines, *f["notes"]])


def truth_files(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos of a folder that have a truth record with pits or cracks told beside them."""
    return [(p, r) for p, r in records(folder, "wear-face") if "pit_density_per_m2" in r.get("summary", {})]
