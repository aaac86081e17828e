"""How well a known diameter does as a scale, on drawn photos with truth; the card in them only hides what is under it.

Lengths of 20 to 120 mm lie anywhere in the face. Unless the lens is left bent, its distortion is taken out of the
photo first, by the truth: what is left is what the circles tell. The caliper's error and what the other diameter has
on its drawing are drawn from what is held possible of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearvision.measure.circle import Circle, solve_circle
from wearvision.measure.circle_settle import DRAWING_SD
from wearvision.measure.circle_start import CALIPER_SD_MM, KnownCircle
from wearvision.measure.plane import Plane
from wearvision.measure.scale import default_specs, find_boards
from wearvision.measure.survey import card_outline

Array = NDArray[np.float64]
LENGTHS_MM = (20.0, 120.0)
PER_PHOTO = 60
EXIF, FOCAL35 = 0x8769, 41989


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """One photo: relative errors and 95 % half-widths of its lengths, or why there are none."""

    name: str
    tilt_deg: float
    error: Array
    u95: Array
    refused: str = ""


def read_photo(path: Path, truth: Mapping[str, Any], *, bent: bool) -> tuple[NDArray[np.uint8], float | None]:
    """Gray photo and its 35 mm focal length."""
    with Image.open(path) as image:
        focal35 = image.getexif().get_ifd(EXIF).get(FOCAL35)
        gray = np.asarray(image.convert("L"))
    if not bent:
        camera, lens = _camera(truth)
        gray = np.asarray(cv2.undistort(gray, camera, lens), dtype=np.uint8)
    return gray, None if focal35 is None else float(focal35)


def score_photo(
    path: Path, truth: Mapping[str, Any], *, which: str, alone: bool, bent: bool, seed: int
) -> Answer:
    """Measure one photo by one of its diameters."""
    sizes = truth["stated"]["stated"]
    inner, outer = (float(sizes[f"face_{side}_diameter_mm"]) for side in ("inner", "outer"))
    known, other = (inner, outer) if which == "bore" else (outer, inner)
    rng = np.random.default_rng([31, seed])
    known += rng.normal(0, CALIPER_SD_MM)
    other += rng.normal(0, 2 * (DRAWING_SD[0] + DRAWING_SD[1] * other / 2))
    gray, focal35 = read_photo(path, truth, bent=bent)
    cards = tuple(card_outline(s) for s in find_boards(gray, default_specs(truth["card"].get("name", "standard"))))
    stated = KnownCircle(which=which, diameter_mm=known, other_mm=None if alone else other)
    found = solve_circle(gray, stated, focal35_mm=focal35, exclude_px=cards)
    tilt = float(truth["camera"]["tilt_deg"])
    if not isinstance(found, Circle):
        return Answer(name=path.stem, tilt_deg=tilt, error=np.zeros(0), u95=np.zeros(0), refused=found.reason)
    ends = _ends(inner / 2, outer / 2, rng)
    error, u95 = _compare(found.plane, ends, _to_px(truth, ends, bent=bent))
    return Answer(name=path.stem, tilt_deg=tilt, error=error, u95=u95)


def _camera(truth: Mapping[str, Any]) -> tuple[Array, Array]:
    return np.array(truth["camera"]["K"]), np.array([*truth["camera"]["distortion_k1_k2"], 0.0, 0.0])


def _to_px(truth: Mapping[str, Any], ends_mm: Array, *, bent: bool) -> Array:
    """Photo pixels (2 N, 2) of points of the face, by the camera that its four known points settle."""
    camera, lens = _camera(truth)
    mm = np.array([[*p["mm"], 0.0] for p in truth["plane_points"]])
    px = np.array([p["px"] for p in truth["plane_points"]], dtype=np.float64).reshape(-1, 1, 2)
    _, turn, shift = cv2.solvePnP(mm, px, camera, lens, flags=cv2.SOLVEPNP_IPPE)
    turn, shift = cv2.solvePnPRefineLM(mm, px, camera, lens, turn, shift)
    flat = np.column_stack([ends_mm.reshape(-1, 2), np.zeros(2 * len(ends_mm))])
    seen, _ = cv2.projectPoints(flat, turn, shift, camera, lens if bent else np.zeros(4))
    return np.asarray(seen, dtype=np.float64).reshape(-1, 2)


def _ends(inner_mm: float, outer_mm: float, rng: np.random.Generator) -> Array:
    """Ends (N, 2, 2) of lengths in the face, mm from its axis."""
    out: list[Array] = []
    while len(out) < PER_PHOTO:
        radius, angle = np.sqrt(rng.uniform(inner_mm**2, outer_mm**2, 2)), rng.uniform(0, 2 * math.pi, 2)
        pair = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
        if LENGTHS_MM[0] <= float(np.hypot(*(pair[1] - pair[0]))) <= LENGTHS_MM[1]:
            out.append(pair)
    return np.stack(out)


def _compare(plane: Plane, ends_mm: Array, px: Array) -> tuple[Array, Array]:
    true = np.hypot(*(ends_mm[:, 0] - ends_mm[:, 1]).T)

    def lengths(p: Plane) -> Array:
        mm = p.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.hypot(*(mm[:, 0] - mm[:, 1]).T))

    found = plane.measured(lengths, "mm")
    return np.array([m.value for m in found]) / true - 1, np.array([m.u95 for m in found]) / true


def table(answers: Iterable[Answer]) -> str:
    """Figures for a person; every photo that was refused with its reason."""
    answers = list(answers)
    told = [a for a in answers if not a.refused]
    lines = [f"{a.name}: tilt {a.tilt_deg:.0f}, refused: {a.refused}" for a in answers if a.refused]
    if told:
        size, u95 = np.abs(np.concatenate([a.error for a in told])), np.concatenate([a.u95 for a in told])
        lines += [
            f"photos {len(answers)}, answered {len(told)}, lengths {len(size)}",
            f"error, %: median {100 * np.median(size):.3f}, 95 % {100 * np.quantile(size, 0.95):.3f},"
            f" worst {100 * size.max():.3f}",
            f"95 % intervals cover {100 * np.mean(size <= u95):.1f} %; median U95 {100 * np.median(u95):.3f} %,"
            f" {np.median(u95) / np.median(size):.2f} times the median error",
        ]
    return "\n".join(lines)
