"""A vane seen along its length: radius of each top corner, height, thickness.

The end of the vane stands against the background like the silhouette of a stub on a bar (the shroud). It is looked
for on each side of the card; then the outline is followed to a fraction of a pixel along its two flanks, its top and,
fan-wise, round its corners, and one shape is fitted to all of it: two flanks, a top, two rounded corners, a base.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.stub import Stub, fit_stub, spread_px
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured, Quantity, Unmeasured, root_sum_square

REACH_MM, BESIDE_MM = 70.0, 45.0
"""How far beyond the card, and to either side of it, a vane is looked for."""
COARSE_MM = 0.2
LEAST_MM, MOST_MM = 2.0, 30.0
"""Height and thickness of a stub."""
SHOULDER_MM = 4.0
"""Bar that must show on either side of the stub."""
LEAST_CONTRAST = 0.18
"""Log grey between metal and background."""
HINT = "plain dark or light paper behind the vane, its end square to the camera, the card in the plane of its end"
EDGE_PX, OFF_MM = 0.12, 0.03
"""Standard uncertainty common to all of an edge: localisation, photo px; and that it is no perfect line, mm."""
SHARP = 2.6
"""A corner is told from a sharp one when its apparent radius is over so many blurs."""


def find_vane_edge(
    gray: Image, plane: Plane, card_px: Array, exclude_px: tuple[Array, ...], *, blur_px: float
) -> Stub | Unmeasured:
    """The stub nearest to a card, fitted; lengths in mm of the plane.

    Parameters
    ----------
    card_px : (4, 2) outline of the card's paper
    blur_px : standard deviation of the photo's edges
    """
    best: tuple[float, Patch, _Coarse] | None = None
    for patch in _sides(gray, plane, card_px, exclude_px):
        found = _silhouette(patch)
        if found is not None and (best is None or found.worth > best[0]):
            best = (found.worth, patch, found)
    if best is None:
        return Unmeasured(reason="no vane stands out against its background", hint=HINT)
    return fit_stub(gray, plane, *_box(best[1], best[2]), blur_px=blur_px)


def _sides(gray: Image, plane: Plane, card_px: Array, exclude_px: tuple[Array, ...]) -> list[Patch]:
    """Patches on the four sides of the card, rows running from far outside towards the card."""
    corners = plane.to_mm(card_px)
    middle = corners.mean(axis=0)
    out = []
    for k in range(4):
        side = corners[(k + 1) % 4] - corners[k]
        along = side / np.hypot(*side)
        down = np.array([-along[1], along[0]])
        down = down if (middle - corners[k]) @ down > 0 else -down
        start = corners[k] - along * BESIDE_MM - down * REACH_MM
        size = (float(np.hypot(*side)) + 2 * BESIDE_MM, REACH_MM)
        out.append(patch_of(gray, plane, start, along, size, step_mm=COARSE_MM, down=down, exclude_px=exclude_px))
    return out


@dataclass(frozen=True, kw_only=True)
class _Coarse:
    """Columns of the flanks, rows of top and base, and how much it looks like a stub."""

    left: int
    right: int
    top: float
    base: float
    worth: float


def _silhouette(patch: Patch) -> _Coarse | None:
    """The best stub on the skyline of a patch; `None` where none stands out."""
    gray = np.asarray(cv2.GaussianBlur(log_gray(patch.values), (0, 0), 1.5), dtype=np.float32)
    sky = _skyline(gray, patch.valid)
    if sky is None:
        return None
    line, contrast = sky
    seen = np.isfinite(line)
    if seen.sum() * COARSE_MM < 2 * SHOULDER_MM + LEAST_MM:
        return None
    found: list[_Coarse] = []
    for left, right, top, base in _stubs(line):
        high, wide = (base - top) * COARSE_MM, (right - left) * COARSE_MM
        if LEAST_MM <= high <= MOST_MM and LEAST_MM / 2 <= wide <= MOST_MM:
            found.append(_Coarse(left=left, right=right, top=top, base=base, worth=contrast * min(high, wide, 6.0)))
    return max(found, key=lambda f: f.worth, default=None)


def _skyline(gray: Grid, valid: NDArray[np.bool_]) -> tuple[Array, float] | None:
    """First row of metal in each column (nan: none), and the contrast between metal and background.

    Background is what the first rows show; metal is beyond half way to the tone that ends the column.
    """
    shown = gray[valid]
    if shown.size < 0.2 * gray.size:
        return None
    scaled = np.clip((gray - shown.min()) / max(1e-6, float(np.ptp(shown))) * 255, 0, 255).astype(np.uint8)
    cut = float(cv2.threshold(scaled[valid].reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)[0])
    bright = scaled > cut
    first = np.argmax(valid, axis=0)
    head = [bright[f : f + 20, c] for c, f in enumerate(first) if valid[:, c].any()]
    outer = float(np.mean(np.concatenate(head))) if head else 0.5
    if 0.15 < outer < 0.85:
        return None
    metal = (bright if outer < 0.5 else ~bright) & valid
    contrast = abs(float(np.median(gray[metal]) - np.median(gray[valid & ~metal]))) if metal.any() else 0.0
    if contrast < LEAST_CONTRAST:
        return None
    solid = cv2.morphologyEx(metal.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    line = np.where(solid.any(axis=0), np.argmax(solid, axis=0).astype(np.float64), np.nan)
    return line, contrast


def _stubs(line: Array) -> list[tuple[int, int, float, float]]:
    """Runs of the skyline that stand above level shoulders on both sides: left, right, top, base."""
    out = []
    shoulder, least = round(SHOULDER_MM / COARSE_MM), LEAST_MM / COARSE_MM
    jump = line[:-2] - line[2:]
    rises = np.flatnonzero(jump > least / 2).tolist()
    falls = np.flatnonzero(jump < -least / 2).tolist()
    for left in rises:
        right = next((f for f in falls if f > left + 2), None)
        if right is None or (right - left) * COARSE_MM > MOST_MM:
            continue
        sides = line[max(0, left - shoulder) : left], line[right + 3 : right + 3 + shoulder]
        if min(len(s) for s in sides) < shoulder // 2 or not all(np.isfinite(s).mean() > 0.8 for s in sides):
            continue
        levels = [float(np.nanmedian(s)) for s in sides]
        top = float(np.nanmedian(line[left + 2 : right + 1]))
        spread = max(float(np.nanmedian(np.abs(s - level))) for s, level in zip(sides, levels, strict=True))
        base = (levels[0] + levels[1]) / 2
        if abs(levels[0] - levels[1]) < 0.35 * (base - top) and spread < 3 and base - top > least:
            out.append((int(left) + 1, int(right) + 1, top, base))
    return out


def _box(patch: Patch, found: _Coarse) -> tuple[Array, Array, Array, float, float]:
    """Middle of the stub's base on the plane, direction along the bar, direction up, width and height, mm."""
    middle = patch.to_mm(np.array([(found.left + found.right) / 2]), np.array([found.base]))[0]
    wide, high = (found.right - found.left) * COARSE_MM, (found.base - found.top) * COARSE_MM
    return middle, patch.across, -patch.down, wide, high


def to_findings(stub: Stub, plane: Plane, stated_height_mm: float | None, *, blur_px: float) -> tuple[Finding, ...]:
    """Section and both corners as findings.

    Parameters
    ----------
    stated_height_mm : height of a new vane; without it no loss is told
    """
    edge = EDGE_PX * stub.px_mm
    section = Finding(
        id="S1", kind="vane-section", outline_px=plane.to_px(stub.outline_mm()),
        quantities=_section(stub, plane, stated_height_mm, edge), flags=(),
        places_px=plane.to_px(stub.places_mm()),
    )  # fmt: skip
    corners = tuple(
        Finding(
            id=f"E{k + 1}", kind="vane-edge", outline_px=plane.to_px(stub.corner_mm(k)),
            detail={"side": ("left", "right")[k]},
            quantities=_corner(stub, k, plane, edge, spread_px(blur_px) * stub.px_mm),
            places_px=plane.to_px(stub.corner_mm(k)[:1]),
        )
        for k in range(2)
    )  # fmt: skip
    return (section, *corners)


def _section(stub: Stub, plane: Plane, nominal: float | None, edge: float) -> dict[str, Quantity]:
    ends_px = plane.to_px(stub.gauge_mm())

    def figure(p: Plane) -> Array:
        mm = p.to_mm(ends_px)
        return np.array([np.hypot(*(mm[1] - mm[0])), np.hypot(*(mm[3] - mm[2]))])

    value, parts = plane.propagate(figure)
    own = [float(np.hypot(u, np.hypot(edge * 1.4, OFF_MM))) for u in (stub.height_u, stub.thickness_u)]
    how = ("top over the bar beside it", "between the flanks at half height")
    out: dict[str, Quantity] = {
        name: Measured.of(float(value[k]), "mm", how=how[k], edge=own[k], **{n: float(u[k]) for n, u in parts.items()})
        for k, name in enumerate(("height", "thickness"))
    }
    height = out["height"]
    assert isinstance(height, Measured)
    if nominal is None:
        out["height_loss"] = Unmeasured(reason="no height of a new vane is stated", hint="state vane_height_mm")
    else:
        out["height_loss"] = Measured.of(nominal - height.value, "mm", how="against the stated height", **height.budget)
    return out


def _corner(stub: Stub, k: int, plane: Plane, edge: float, blur_mm: float) -> dict[str, Quantity]:
    """`edge_radius`, or the most it can be where the corner is as sharp as the picture can show."""
    seen, own = stub.radius[k], float(np.hypot(stub.radius_u[k], 2.4 * edge))
    told = sharpened(seen, blur_mm)
    scale = root_sum_square(*(float(u[0]) for u in _relative(plane, stub).values()))
    if seen < SHARP * blur_mm or told < 2 * own:
        most = told + 2 * own
        return {
            "edge_radius": Unmeasured(
                reason=f"at most {most:.2f} mm: as sharp as this photo can show", hint="come closer for a finer figure"
            ),
            "edge_radius_most": Measured.of(most, "mm", how="upper bound", edge=own),
        }
    return {"edge_radius": Measured.of(told, "mm", how="arc between flank and top", edge=own, scale=told * scale)}


def _relative(plane: Plane, stub: Stub) -> dict[str, Array]:
    """Relative uncertainty of a length at the stub, by source."""
    ends_px = plane.to_px(stub.gauge_mm()[2:])
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(ends_px), axis=0)[0])]))
    return {name: u / value for name, u in parts.items()}


def sharpened(seen_mm: float, blur_mm: float) -> float:
    """Radius of a corner whose blurred outline looks like an arc of radius `seen_mm`.

    The half-way contour of a sharp right-angled corner under a Gaussian blur s is cut back like a radius of 1.86 s; of
    a round one, by s^2 / 2r, which makes r look 1.2 s^2 / r larger (derived; both ends of a smooth passage).
    """
    ratio = seen_mm / max(blur_mm, 1e-9)
    k = 2.4 + (1.86**2 - 2.4) * float(np.exp(-((ratio / 2.5) ** 2)))
    return float(np.sqrt(max(0.0, seen_mm**2 - k * blur_mm**2)))
