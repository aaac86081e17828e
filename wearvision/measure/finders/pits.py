"""An outlined pit: size, area, and the classes of the ASTM G46 chart.

The chart shows typical pictures, not the edges of classes, and the standard names
no rounding rule (facts 9.1; chart values from memory): the class nearest on a log scale is a house rule, and
the raw value always stands beside it.
"""

from __future__ import annotations

import math

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

DENSITY_PER_M2 = (2.5e3, 1e4, 5e4, 1e5, 5e5)
"""ASTM G46 chart, column A, classes 1 to 5 (memory)."""
OPENING_MM2 = (0.5, 2.0, 8.0, 12.5, 24.5)
"""ASTM G46 chart, column B, classes 1 to 5 (memory)."""
RIM_PX = 0.7
"""Standard uncertainty of an outline drawn by hand, common to all of it, photo px; common practice, no source."""


def nearest_class(value: float, chart: tuple[float, ...]) -> int:
    """Class 1 to 5 nearest on a log scale; the lower one when two are as near."""
    distance = [abs(math.log(value / c)) for c in chart]
    return distance.index(min(distance)) + 1


def measure_pit(outline_px: Array, plane: Plane, rim_px: float = RIM_PX) -> dict[str, Quantity]:
    """`diameter` of the circle of equal area, `area`, and `size_class` of the chart.

    `rim_px` is the standard uncertainty of the outline, common to all of it.
    """
    value, parts = plane.propagate(lambda p: _area(p.to_mm(outline_px)))
    area = float(value[0])
    diameter = 2 * math.sqrt(area / math.pi)
    px_mm = math.sqrt(area / max(1e-9, float(_area(outline_px)[0])))
    around = float(np.hypot(*(np.roll(plane.to_mm(outline_px), -1, axis=0) - plane.to_mm(outline_px)).T).sum())
    rim = rim_px * px_mm * around
    area_u = {name: float(u[0]) for name, u in parts.items()}
    share = diameter / (2 * area) if area > 0 else 0.0
    return {
        "diameter": Measured.of(
            diameter, "mm", how="circle of equal area", **{k: share * u for k, u in area_u.items()}, outline=share * rim
        ),
        "area": Measured.of(area, "mm2", how="within the outline", **area_u, outline=rim),
        "size_class": Measured(
            value=float(nearest_class(area, OPENING_MM2)), u=0.0, unit="1",
            how="ASTM G46 chart B, nearest on a log scale (house rule; chart from memory)",
        ),
    }  # fmt: skip


def measure_field(count: int, pit_area_mm2: float, face_area_mm2: float) -> dict[str, Quantity]:
    """Of a field of pits: `pit_count`, `pit_density` per m2, `pit_share` of the area, `pit_density_class`.

    Density is plain division: no uncertainty beyond the count's own is claimed.
    """
    density = count / (face_area_mm2 * 1e-6)
    how = "ASTM G46 chart A, nearest on a log scale (house rule; chart from memory)"
    out: dict[str, Quantity] = {
        "pit_count": Measured(value=float(count), u=0.0, unit="count", how="pits found or marked"),
        "pit_density": Measured(
            value=density, u=math.sqrt(count) / (face_area_mm2 * 1e-6), unit="1/m2", how="found or marked"
        ),
        "pit_share": Measured(value=pit_area_mm2 / face_area_mm2, u=0.0, unit="1", how="of the face's ring"),
    }
    if count:
        out["pit_density_class"] = Measured(
            value=float(nearest_class(density, DENSITY_PER_M2)), u=0.0, unit="1", how=how
        )
    return out


def _area(outline: Array) -> Array:
    x, y = (outline - outline.mean(axis=0)).T
    return np.array([abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2])
