"""Faults drawn on purpose: is each one caught, or carried in the interval, and how often does a good photo alarm?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Plane
from wearvision.measure.survey import Survey, survey
from wearvision.scenes.card_photo import Laid, Light, draw
from wearvision.scenes.rules import View
from wearvision.stated import Stated

Array = NDArray[np.float64]
Rng = np.random.Generator
SIZE_PX = (2000, 1500)
PAPER_MM = 0.3
LIMIT_MM = 0.8
LENGTHS = 40
CARRIED = 0.9
"""Share of a photo's 95 % intervals that must hold; they err together, being of one plane."""
FAULTS = (
    "none", "card out of frame", "out of focus", "shaken", "glare on card", "tilt 60 deg", "too far",
    "print at 97 %, bar measured", "card 25 mm high, stated", "card 25 mm high, not stated", "bent card",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Case:
    """One drawn photo with what is true and what is stated."""

    gray: NDArray[np.uint8]
    view: View
    radii_mm: tuple[float, float]
    stated: Stated
    focal35_mm: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of it: the alarms, and whether the lengths' intervals hold; `worst` is the largest relative error."""

    fault: str
    seed: int
    alarms: tuple[str, ...]
    carried: bool
    worst: float

    @property
    def well(self) -> bool:
        """Whether nobody is misled."""
        return bool(self.alarms) or self.carried


def draw_case(seed: int, fault: str) -> Case:
    """A photo with one fault of `FAULTS`; the same numbers always give the same photo."""
    rng = np.random.default_rng([61, seed, FAULTS.index(fault)])
    radii = (float(rng.uniform(20, 35)), float(rng.uniform(70, 82)))
    side = 1 if rng.random() < 0.5 else -1
    tilt = 60.0 if fault.startswith("tilt") else float(rng.uniform(0, 22))
    mm_per_px = float(rng.uniform(0.5, 0.8) if fault == "too far" else rng.uniform(0.15, 0.18))
    view = _view(rng, tilt, mm_per_px, (side * 45.0, 0.0))
    out = float(rng.uniform(55, 130)) if fault == "card out of frame" else 0.0
    high = 25.0 if "25 mm" in fault else 0.0
    card = Laid(
        at_mm=(side * (radii[1] + 52 + out), float(rng.uniform(-15, 15))), turn_deg=90 + float(rng.normal(0, 5)),
        scale=0.97 if "97" in fault else math.exp(rng.normal(0, 0.001)),
        height_mm=PAPER_MM + high + float(rng.normal(0, 0.2)),
        bow_mm=float(rng.uniform(2, 6)) if fault == "bent card" else 0.0,
    )  # fmt: skip
    stated = Stated(
        view="wear-face", card_height_mm=high if fault.endswith(", stated") else 0.0,
        check_bar_mm=100 * card.scale + float(rng.normal(0, 0.02)),
        nominal={f"face_{k}_diameter_mm": 2 * r for k, r in zip(("inner", "outer"), radii, strict=True)},
    )  # fmt: skip
    gray = draw(rng, view, radii, card, _light(rng, fault, view, card))
    focal35 = view.focal_px * math.sqrt((43.267 / math.hypot(*view.size_px)) * 36 / max(view.size_px))
    return Case(gray=gray, view=view, radii_mm=radii, stated=stated, focal35_mm=float(round(focal35)))


def _view(rng: Rng, tilt_deg: float, mm_per_px: float, at_mm: tuple[float, float]) -> View:
    """A camera that looks at a point of the plane from any side."""
    focal = max(SIZE_PX) * float(rng.uniform(0.7, 0.85))
    way = rng.uniform(0, 2 * math.pi)
    lean = cv2.Rodrigues(math.radians(tilt_deg) * np.array([math.cos(way), math.sin(way), 0]))[0]
    spin = cv2.Rodrigues(np.array([0, 0, rng.normal(0, 0.1) + math.pi * rng.integers(2)]))[0]
    rotation = np.asarray(lean @ spin, dtype=np.float64)
    away = np.array([rng.normal(0, 3), rng.normal(0, 3), focal * mm_per_px])
    return View(
        size_px=SIZE_PX, focal_px=focal, k1=float(rng.uniform(-0.02, 0.02)), rotation=rotation,
        shift=away - rotation[:, :2] @ np.array(at_mm),
    )  # fmt: skip


def _light(rng: Rng, fault: str, view: View, card: Laid) -> Light:
    blur, noise, quality = rng.uniform(0.6, 1.1), rng.uniform(1, 4), rng.integers(85, 96)
    light = Light(blur_px=float(blur), noise=float(noise), quality=int(quality))
    if fault == "out of focus":
        return replace(light, blur_px=float(rng.uniform(3, 7)))
    if fault == "shaken":
        return replace(light, shake_px=float(rng.uniform(12, 30)), shake_deg=float(rng.uniform(0, 180)))
    if fault == "glare on card":
        spots = view.to_px(np.array(card.at_mm) + rng.uniform(-25, 25, (2, 2)))
        far = view.to_px(np.array(card.at_mm) + np.array([[0.0, 0.0], [20.0, 0.0]]))
        size = float(np.hypot(*(far[1] - far[0])))
        return replace(light, glare=tuple((float(x), float(y), size * float(rng.uniform(0.9, 1.6))) for x, y in spots))
    return light


def judge(seed: int, fault: str) -> Outcome:
    """Measure a drawn photo as `measure` would, and hold lengths in the face against the truth."""
    case = draw_case(seed, fault)
    told = survey(case.gray, case.stated, focal35_mm=case.focal35_mm, limit_mm=LIMIT_MM)
    alarms = _alarms(told)
    if not isinstance(told.plane, Plane):
        return Outcome(fault=fault, seed=seed, alarms=alarms, carried=False, worst=math.nan)
    ends = _ends(np.random.default_rng([62, seed]), case.radii_mm)
    true = np.hypot(*(ends[:, 0] - ends[:, 1]).T)
    px = case.view.to_px(ends.reshape(-1, 2))

    def lengths(plane: Plane) -> Array:
        mm = plane.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.hypot(*(mm[:, 0] - mm[:, 1]).T))

    found = told.plane.measured(lengths, "mm")
    error = np.array([m.value for m in found]) - true
    held = float(np.mean(np.abs(error) <= np.array([m.u95 for m in found])))
    return Outcome(
        fault=fault, seed=seed, alarms=alarms, carried=held >= CARRIED, worst=float(np.abs(error / true).max())
    )


def _ends(rng: Rng, radii_mm: tuple[float, float]) -> Array:
    """Ends (N, 2, 2) of lengths above 20 mm in the face."""
    radius = np.sqrt(rng.uniform(radii_mm[0] ** 2, radii_mm[1] ** 2, (LENGTHS, 2)))
    angle = rng.uniform(0, 2 * math.pi, (LENGTHS, 2))
    ends = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)
    return np.asarray(ends[np.hypot(*(ends[:, 0] - ends[:, 1]).T) > 20])


def _alarms(told: Survey) -> tuple[str, ...]:
    """What a person is told: retakes, doubts about cards or lens, no scale, no face of the stated sizes."""
    out = [r.code for r in told.retake]
    if isinstance(told.plane, Plane):
        out += [what for what, _ in told.plane.doubts]
        out += [] if told.face is not None else ["no face of the stated sizes"]
    else:
        out.append("no scale")
    return tuple(out)


def table(outcomes: Iterable[Outcome]) -> str:
    """The figures, in words."""
    rows: Sequence[Outcome] = list(outcomes)
    lines = ["fault                          photos  alarmed  carried  neither"]
    for fault in FAULTS:
        mine = [o for o in rows if o.fault == fault]
        if mine:
            counts = [sum(bool(o.alarms) for o in mine), sum(o.carried and not o.alarms for o in mine),
                      sum(not o.well for o in mine)]  # fmt: skip
            lines.append(f"{fault:30} {len(mine):6} {counts[0]:8} {counts[1]:8} {counts[2]:8}")
    for o in rows:
        if not o.well or (o.fault == "none" and o.alarms):
            lines.append(f"  {o.fault}, seed {o.seed}: {', '.join(o.alarms) or f'off by {100 * o.worst:.1f} %'}")
    return "\n".join(lines)
