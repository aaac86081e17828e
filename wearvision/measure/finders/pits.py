"""An outlined pit: size, area, and the classes of the ASTM G46 chart.

The chart shows typical pictures, not the edges of classes, and the standard names
no rounding rule (facts 9.1; chart values from memory): the class nearest on a log scale is a house rule, and
the raw value always stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

DENSITY_PER_M2 = (2.5e3, 1e4, 5e4, 1e5, 5e5)
"""ASTM G46 chart, column A, classes 1 to 5 (memory)."""
OPENING_MM2 = (0.5, 2.0, 8.0, 12.5, 24.5)
"""ASTM G46 chart, column B, classes 1 to 5 (memory)."""
MOST_FOUND, HALF_MM, STEEP, LEAST_MM = 0.9, 0.92, 5.5, 0.7
"""Share of wide pits that are found; width of which half as many are, and how steeply it rises there; nothing narrower
is found. Set on 2700 pits of drawn faces, 0.6 to 5 mm wide: what is narrower is no part of the density."""
FIELDS = 0.2
"""Standard deviation, from face to face, of what is there over what these shares make of it."""
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
    return measure_pits([outline_px], plane, [rim_px])[0]


def measure_pits(outlines_px: Sequence[Array], plane: Plane, rims_px: Sequence[float]) -> list[dict[str, Quantity]]:
    """`measure_pit` of many, the plane asked for all of them at once."""
    if not outlines_px:
        return []
    together, counts = np.vstack(outlines_px), [len(o) for o in outlines_px]
    first = np.cumsum([0, *counts[:-1]])
    after = np.arange(len(together)) + 1
    after[np.cumsum(counts) - 1] = first  # outlines are closed

    def areas(at: Array) -> Array:
        x, y = np.moveaxis(at - np.repeat(at[:, first], counts, axis=1), 2, 0)
        return np.asarray(np.abs(np.add.reduceat(x * y[:, after] - y * x[:, after], first, axis=1)) / 2)

    value, parts = plane.propagate_points(together, areas)
    mm = plane.to_mm(together)
    around = np.add.reduceat(np.hypot(*(mm[after] - mm).T), first)
    px_mm = np.sqrt(value / np.maximum(1e-9, areas(together[None])[0]))
    rims = np.asarray(rims_px) * px_mm * around
    return [
        _figures(float(area), {name: float(u[k]) for name, u in parts.items()}, float(rims[k]))
        for k, area in enumerate(value)
    ]


def _figures(area: float, area_u: Mapping[str, float], rim: float) -> dict[str, Quantity]:
    """Figures of a pit from its area, that area's uncertainty by source, and what its outline adds, mm2."""
    diameter = 2 * math.sqrt(area / math.pi)
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


def found_share(diameter_mm: Array) -> Array:
    """Share of pits so wide (N,) that are found, of all there are on a face."""
    return MOST_FOUND / (1 + (HALF_MM / np.maximum(diameter_mm, LEAST_MM)) ** STEEP)


def measure_field(
    count: int, pit_area_mm2: float, face_area_mm2: float, found_mm: Sequence[float] = ()
) -> dict[str, Quantity]:
    """Of a field of pits: `pit_count`, `pit_density` per m2, `pit_share` of the area, and of all that are likely there
    `pit_density_likely` with its `pit_density_class`.

    Parameters
    ----------
    count : found or marked
    found_mm : diameters of those that were found, not marked by a person: each stands for others that were missed
    """
    square_m = face_area_mm2 * 1e-6
    share = found_share(np.asarray(found_mm, dtype=np.float64))
    all_there = count - len(share) + float((1 / share).sum())
    doubt = math.sqrt(float(((1 - share) / share**2).sum()) + (FIELDS * (1 / share).sum()) ** 2)
    likely = Measured.of(
        all_there / square_m, "1/m2", how="each pit found counts for those as wide that are missed on drawn faces",
        missed=doubt / square_m,
    )  # fmt: skip
    out: dict[str, Quantity] = {
        "pit_count": Measured(value=float(count), u=0.0, unit="count", how="pits found or marked"),
        "pit_density": Measured(
            value=count / square_m, u=math.sqrt(count) / square_m, unit="1/m2", how="found or marked"
        ),
        "pit_share": Measured(value=pit_area_mm2 / face_area_mm2, u=0.0, unit="1", how="of the face's ring"),
    }
    if count:
        out |= {"pit_density_likely": likely, "pit_density_class": _density_class(likely)}
    return out


def _density_class(likely: Measured) -> Measured:
    """Class of a density; the words name all that its 95 % interval holds."""
    ends = (likely.value - likely.u95, likely.value + likely.u95)
    low, high = (nearest_class(max(end, 1.0), DENSITY_PER_M2) for end in ends)
    how = "ASTM G46 chart A, nearest on a log scale (house rule; chart from memory)"
    how += f"; its 95 % interval holds classes {low} to {high}" if low < high else ""
    return Measured(value=float(nearest_class(likely.value, DENSITY_PER_M2)), u=0.0, unit="1", how=how)
