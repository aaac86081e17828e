"""The measured shape of a groove: a band along a centreline, and its figures with their uncertainties.

The shape is kept in photo pixels, as it was seen; figures are functions of the plane with these pixels held
fixed, so that the plane's own uncertainty goes through `Plane.propagate`. On top come the parts that the plane
does not know: `edge` (where a lip is), `outline` (where the groove ends) and `centre` (of the part's axis).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured, root_sum_square

LIP_PX = 0.5
"""Standard uncertainty of a lip's place along the whole groove, photo px: blur, sharpening, rounded lips."""
LIP_REL = 0.02
"""Further part of the width: shallow or stained lips."""
END_DEG, END_WIDTHS = 0.15, 0.05
"""Least standard uncertainty of one end: degrees, and a part of the width along the groove."""
ENDS, FULL_DEG = 1.5, 0.3
"""Neighbouring rows err together, which widens what is known of an end; and of a circle that may not quite close."""
CUT_DEG = 1.0
"""The same where the view ends a groove."""
WINDOW_DEG = 12.0
"""The largest width is the largest mean over a window this long."""
CAP_POINTS = 9
PAIRS = 120
"""Points kept along each lip, at most."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """A groove's outline as two lips and an axis, in photo pixels.

    Attributes
    ----------
    inner_px, outer_px : (N, 2) arrays
        Points of the two lips, pairwise across the groove.
    centre_px : (2,) array
        The part's axis; may lie outside the picture.
    ends_px : ((M, 2), (M, 2)) arrays
        Caps beyond the first and the last pair, from inner to outer lip; empty for a straight end.
    full : bool
        Whether it closes on itself.
    cut : (bool, bool)
        Whether the view ends it, at either end.
    end_u_deg : (float, float)
        Standard uncertainty of either end, degrees; the first one, of a full circle, that it may be open.
    hidden_deg : float
        How much of its arc is covered or out of the picture.
    """

    inner_px: Array
    outer_px: Array
    centre_px: Array
    ends_px: tuple[Array, Array]
    full: bool
    cut: tuple[bool, bool]
    end_u_deg: tuple[float, float]
    hidden_deg: float = 0.0

    @cached_property
    def points_px(self) -> Array:
        """Both lips, both caps and the axis, (N, 2)."""
        return np.vstack([self.inner_px, self.outer_px, *self.ends_px, self.centre_px])

    def outline_px(self) -> Array:
        """Closed outline; a full circle is two rings joined by a seam."""
        return _closed(self.inner_px, self.outer_px, self.ends_px, self.full)


def band_of(
    deg: Array, radius_mm: Array, width_mm: Array, centre_mm: Array, plane: Plane, *, full: bool,
    cut: tuple[bool, bool], end_u_deg: tuple[float, float] = (END_DEG, END_DEG), hidden_deg: float = 0.0,
) -> Band:  # fmt: skip
    """A band from a centreline (angles, radii) and widths, with round ends inside its arc."""
    keep = np.ones(len(deg), dtype=bool)
    row = abs(float(deg[1] - deg[0])) if len(deg) > 1 else 0.0
    caps = [np.zeros((0, 2)), np.zeros((0, 2))]
    if not full:
        for k, (end, ahead) in enumerate(((0, -1.0), (-1, 1.0))):
            if cut[k]:
                continue
            half = float(np.degrees(width_mm[end] / 2 / radius_mm[end]))
            near = deg[end] + ahead * (row / 2 - half)
            keep &= (deg - near) * ahead <= 0
            caps[k] = _cap(near, radius_mm[end], width_mm[end], ahead, centre_mm)
    if keep.sum() < 2:
        keep[:] = True
        caps = [np.zeros((0, 2)), np.zeros((0, 2))]
    rows = np.flatnonzero(keep)
    rows = rows[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), PAIRS)).round().astype(int))]
    half_width = width_mm[rows] / 2
    lips = [ring_points(centre_mm, deg[rows], radius_mm[rows] + side * half_width) for side in (-1, 1)]
    return Band(
        inner_px=plane.to_px(lips[0]), outer_px=plane.to_px(lips[1]),
        centre_px=plane.to_px(centre_mm.reshape(1, 2))[0],
        ends_px=(_px(plane, caps[0]), _px(plane, caps[1])), full=full, cut=cut, end_u_deg=end_u_deg,
        hidden_deg=hidden_deg,
    )  # fmt: skip


def _cap(deg: float, radius: float, width: float, ahead: float, centre_mm: Array) -> Array:
    """Half circle from the inner to the outer lip, bulging ahead along the arc, ends left out."""
    turn = np.linspace(0, np.pi, CAP_POINTS + 2)[1:-1]
    along, across = np.sin(turn) * width / 2, -np.cos(turn) * width / 2
    return ring_points(centre_mm, deg + ahead * np.degrees(along / radius), radius + across)


def _px(plane: Plane, mm: Array) -> Array:
    return plane.to_px(mm) if len(mm) else mm


def figures(band: Band, mm: Array, window: int) -> Array:
    """Width, largest mean width over a window of pairs, radius, arc in view (degrees) and area of a band, (P, 5), from
    its `points_px` as P planes tell them, (P, N, 2) mm."""
    cuts = np.cumsum([0, *map(len, (band.inner_px, band.outer_px, *band.ends_px))]).tolist()
    inner, outer, first, last = (mm[:, low:high] - mm[:, -1:] for low, high in pairwise(cuts))
    tips = [cap[:, CAP_POINTS // 2 : CAP_POINTS // 2 + 1] for cap in (first, last)]
    line = np.concatenate([tips[0], (inner + outer) / 2, tips[1]], axis=1)
    return _each(inner, outer, line, _closed(inner, outer, (first, last), band.full), band.full, window)


@compiled
def _each(inner: Array, outer: Array, line: Array, outline: Array, full: bool, window: int) -> Array:
    """The same of lips, of a centreline from tip to tip and of a closed outline, mm from the axis, (P, ..., 2) each."""
    out = np.zeros((len(line), 5))
    for k in range(len(line)):
        _fill(out[k], inner[k], outer[k], line[k], outline[k], full, window)
    return out


@compiled
def _fill(out: Array, inner: Array, outer: Array, line: Array, outline: Array, full: bool, window: int) -> None:
    """The figures of one of them."""
    recent = 0.0
    width = np.hypot(outer[:, 0] - inner[:, 0], outer[:, 1] - inner[:, 1])
    for n in range(len(inner)):
        out[0] += width[n] / len(inner)
        out[2] += np.hypot(inner[n, 0] + outer[n, 0], inner[n, 1] + outer[n, 1]) / 2 / len(inner)
        recent += width[n] - (width[n - window] if n >= window else 0.0)
        out[1] = max(out[1], recent / window if n + 1 >= window else 0.0)
    for n in range(1, len(line)):
        x, y, u, v = line[n - 1, 0], line[n - 1, 1], line[n, 0], line[n, 1]
        out[3] += np.degrees(np.arctan2(x * v - y * u, x * u + y * v))
    out[3] = 360.0 if full else abs(out[3])
    for n in range(len(outline)):
        out[4] += (outline[n - 1, 0] * outline[n, 1] - outline[n - 1, 1] * outline[n, 0]) / 2
    out[4] = abs(out[4])


def _closed(inner: Array, outer: Array, ends: Sequence[Array], full: bool) -> Array:
    """Lips and caps (..., N, 2) as one closed line; a full circle is two rings joined by a seam."""
    back = outer[..., ::-1, :]
    rest = (inner[..., :1, :], back, back[..., :1, :]) if full else (ends[1], back, ends[0][..., ::-1, :])
    return np.concatenate([inner, *rest], axis=-2)


def measure_band(
    band: Band, plane: Plane, px_mm: float, centre_cov: Array, face_area_mm2: float | None,
    doubt_mm: tuple[float, float] = (0.0, 0.0),
) -> dict[str, Quantity]:  # fmt: skip
    """Quantities of a groove: `width`, `width_max`, `radius`, `arc`, `arc_in_view`, `area`, `share`.

    Parameters
    ----------
    px_mm : length of a photo pixel there
    centre_cov : (2, 2) covariance of the part's axis, mm2
    face_area_mm2 : area of the face, for the share
    doubt_mm : standard uncertainty of width and centreline because other lips speak nearly as well
    """
    window = _window(band, plane)
    value, parts = plane.propagate_points(band.points_px, lambda mm: figures(band, mm, window))
    width, _, radius, arc, area = (float(v) for v in value)
    lip = LIP_PX * px_mm + LIP_REL * width
    end = _end_u_deg(band, float(np.degrees(END_WIDTHS * width / radius)))
    bearing = _bearing(band, plane)
    axis = max(0.0, float(bearing @ centre_cov @ bearing)) ** 0.5
    extra: list[dict[str, float]] = [
        {"edge": lip, "outline": doubt_mm[0]}, {"edge": 1.7 * lip, "outline": doubt_mm[0]},
        {"edge": lip / 2, "centre": axis, "outline": doubt_mm[1]}, {"outline": end},
        {"edge": area * lip / width, "outline": area * float(np.hypot(end / max(arc, 1.0), doubt_mm[0] / width))},
    ]  # fmt: skip
    names = ("width", "width_max", "radius", "arc_in_view", "area")
    units: tuple[Unit, ...] = ("mm", "mm", "mm", "deg", "mm2")
    out: dict[str, Quantity] = {
        name: Measured.of(
            float(value[k]), units[k], how=HOW[name], **{s: float(u[k]) for s, u in parts.items()}, **extra[k]
        )
        for k, name in enumerate(names)
    }
    out["arc"] = out["arc_in_view"]
    if band.hidden_deg:
        out["arc_in_view"] = _less(out["arc"], band.hidden_deg)
    if any(band.cut):
        out["arc"] = Unmeasured(reason="the mark runs out of the view", hint="show all of the face, or see arc_in_view")
    if face_area_mm2:
        whole = out["area"]
        assert isinstance(whole, Measured)
        out["share"] = Measured.of(area / face_area_mm2, "1", how="of the face's ring", area=whole.u / face_area_mm2)
    return out


def _end_u_deg(band: Band, tip_deg: float) -> float:
    """Standard uncertainty of an arc from where it ends, degrees; `tip_deg` is that of a round tip."""
    if band.full:
        return max(FULL_DEG, band.end_u_deg[0])
    told = [CUT_DEG if cut else u for cut, u in zip(band.cut, band.end_u_deg, strict=True)]
    return root_sum_square(*[root_sum_square(END_DEG, tip_deg, ENDS * u) for u in told])


def _less(arc: Quantity, hidden_deg: float) -> Quantity:
    """What is in view of an arc; either side of what hides it is as unsure as an end where the view ends."""
    assert isinstance(arc, Measured)
    shown, cover = max(0.0, arc.value - hidden_deg), 2**0.5 * CUT_DEG
    return Measured.of(shown, "deg", how=f"{arc.how}, less what is hidden", cover=cover, **arc.budget)


HOW = {
    "width": "mean distance of the lips at face level", "width_max": f"largest mean over {WINDOW_DEG:g} degrees",
    "radius": "mean of the centreline from the axis of the face", "arc_in_view": "end to end along the centreline",
    "area": "within the outline",
}  # fmt: skip


def _window(band: Band, plane: Plane) -> int:
    """How many pairs lie within `WINDOW_DEG`, at least one, at most all."""
    count = len(band.inner_px)
    arc = float(figures(band, plane.to_mm(band.points_px)[None], 1)[0, 3])
    return min(count, max(1, round(WINDOW_DEG / max(1e-6, arc / count))))


def _bearing(band: Band, plane: Plane) -> Array:
    """Mean unit vector from the axis to the groove; zero for a full circle."""
    off = plane.to_mm((band.inner_px + band.outer_px) / 2) - plane.to_mm(band.centre_px)
    return np.asarray((off / np.hypot(*off.T)[:, None]).mean(axis=0))
