"""Centre of a disc from its own circles: bore, hub and rim.

Edges of concentric circles point at their centre; straight and swept vanes do not. Each strong edge of a small map of
the plane votes along its gradient, and the best places are compared by how much edge lies on rings about them.
The circles lie below the tops of the vanes, which are the measured plane, so that seen aslant they stand a little
beside the vanes' own centre: `Disc.centre_mm` starts the search, `align` ends it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, slope
from wearvision.measure.plane import Array
from wearvision.measure.rings import edge_pixels
from wearvision.measure.vanes.foot import Where

EDGES = 6000
"""Edge pixels that vote."""
RADII_MM = (6.0, 260.0)
"""Circles looked for."""
DEPTHS_MM = np.arange(0.0, 25.0, 4.0)
"""How far below the tops of the vanes the rim of a stated disc is looked for: the deeper, the smaller it seems."""
PLACES, BETTERED = 6, 2
NEAR, NOWHERE = np.array([(i, j) for j in (-1.0, 0.0, 1.0) for i in (-1.0, 0.0, 1.0) if i or j]), np.zeros((1, 2))
LIKELY = 3
STEPS_MM = (3.0, 1.5, 0.75)
"""How a place is bettered: by the likeliest of its neighbours, ever nearer."""
APART_MM = 2.5
"""Discs nearer to each other than this are one."""
DEGREES, RING_MM = 8.0, 0.5
"""Rays on which rings are looked for, and the least step along them."""
_RAYS = np.column_stack([f(np.radians(np.arange(0, 360, DEGREES))) for f in (np.cos, np.sin)])
BELOW_MM = (8.0, 6.0)
"""How far the rim usually lies below the tops of the vanes, and the spread."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Disc:
    """Where the disc's circles have their centre on the plane, and how large the disc seems there.

    `axis` is where its axis stands among the tops of the vanes, if its rim tells.
    """

    centre_mm: Array
    rim_mm: float
    score: float
    axis: Where | None = None


def find_discs(chart: Chart, diameter_mm: float | None, camera_mm: float = 400.0) -> list[Disc]:
    """Where the disc may be, likeliest first; nowhere when no rings are in the picture.

    Parameters
    ----------
    chart : map of the plane, what covers it not valid
    diameter_mm : stated outer diameter; `None` when nobody said
    camera_mm : height of the camera above the plane, for how small a disc below it seems
    """
    place, normal, weight = edge_pixels(chart, EDGES)
    pad = round((0.5 * diameter_mm if diameter_mm else 80.0) * 0.6 / chart.step_mm)
    votes = _votes(chart, (place, normal, weight), pad, diameter_mm, camera_mm)
    places: list[Array] = []
    for _ in range(PLACES):
        _, top, _, (column, row) = cv2.minMaxLoc(votes)
        if top <= 0:
            break
        places.append(np.array([column, row], dtype=np.float64) - pad)
        cv2.circle(votes, (column, row), max(2, round(6 / chart.step_mm)), 0.0, -1)
    if not places:
        return []
    rings = _Rings.of(chart, diameter_mm, camera_mm)
    found = [_bettered(rings, place) for place in sorted(rings.looked(np.array(places)), key=_less)[:BETTERED]]
    discs: list[Disc] = []
    for one in sorted(found, key=_less):
        rim, centre = rings.rim(one.profile), chart.origin_mm + one.at * chart.step_mm
        apart = [float(np.hypot(*(centre - d.centre_mm))) for d in discs]
        if rim is not None and one.worth > 0 and min(apart, default=np.inf) > APART_MM:
            discs.append(Disc(centre_mm=centre, rim_mm=rim, score=one.worth))
    return [replace(disc, score=disc.score / discs[0].score) for disc in discs]


def _votes(
    chart: Chart, edges: tuple[Array, Array, Array], pad: int, diameter_mm: float | None, camera_mm: float
) -> Grid:
    """Votes for the centre on the map widened by `pad`; at a stated radius as it seems from a camera so high above
    discs of several depths, else anywhere along the gradient."""
    place, normal, weight = edges
    height, width = (n + 2 * pad for n in chart.values.shape)
    if diameter_mm:
        rim = 0.5 * diameter_mm * camera_mm / (camera_mm + DEPTHS_MM)
        inner = np.arange(RADII_MM[0], 0.2 * diameter_mm, 2.0)
        reach, gain = np.append(rim, inner), np.repeat([1.0, 0.3], [len(rim), len(inner)])
    else:
        reach = np.arange(RADII_MM[0], 130.0, 2.0)
        gain = np.ones_like(reach)
    image = np.zeros((height, width), dtype=np.float32)
    start, way, worth, far, gain = (
        one.astype(np.float32)
        for one in (place + pad, normal, weight, np.append(reach, -reach) / chart.step_mm, np.append(gain, gain))
    )
    _vote(start, way, worth, far, gain, image)
    sigma = max(1.5, 2.0 / chart.step_mm)
    near = cv2.GaussianBlur(image, (0, 0), sigma)
    return np.asarray(cv2.subtract(near, cv2.blur(image, (41, 41), dst=image), dst=near), dtype=np.float32)


@compiled
def _vote(place: Grid, normal: Grid, weight: Grid, reach: Grid, gain: Grid, total: Grid) -> None:
    """Add the votes of edges (N, 2) at some distances along their normals, either way, to a map."""
    height, width = total.shape
    for k in range(len(reach)):
        for n in range(len(place)):
            x = int(np.rint(place[n, 0] + reach[k] * normal[n, 0]))
            y = int(np.rint(place[n, 1] + reach[k] * normal[n, 1]))
            if 0 <= x < width and 0 <= y < height:
                total[y, x] += gain[k] * weight[n]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Place:
    """A place (2,), map px: edges on rays from it and what is seen of them, its profile, and what it is worth."""

    at: Array
    look: tuple[Grid, Grid]
    profile: Array
    worth: float


def _less(place: _Place) -> float:
    return -place.worth


@dataclass(frozen=True, kw_only=True, eq=False)
class _Rings:
    """The map with what is valid of it (H, W, 2), and the radii (R,) at which edges of rings are looked for, mm.

    `ways` (2, T, R) are x and y along the rays, map px. Of a stated rim, `likely` (R,) is how much each radius may be
    its own, `inner` (R,) which lie well within it, and `usual_mm` is the radius it seems to have at its usual depth.
    """

    layers: Grid
    step_mm: float
    radius: Array
    ways: Array
    likely: Array
    inner: NDArray[np.bool_]
    usual_mm: float | None

    @classmethod
    def of(cls, chart: Chart, diameter_mm: float | None, camera_mm: float) -> _Rings:
        most = min(RADII_MM[1], 0.75 * chart.step_mm * max(chart.values.shape), 0.6 * (diameter_mm or np.inf))
        radius = np.arange(RADII_MM[0], most, max(chart.step_mm, RING_MM))
        layers = np.asarray(cv2.merge([chart.values, chart.valid.astype(np.float32)]), dtype=np.float32)
        rim = 0.5 * (diameter_mm or np.inf)
        below = camera_mm * (rim / radius - 1)
        near = np.abs(below - BELOW_MM[0]) < 3 * BELOW_MM[1]
        return cls(
            layers=layers, step_mm=chart.step_mm, radius=radius,
            ways=_RAYS.T[:, :, None] * (radius / chart.step_mm),
            likely=np.where(near, np.exp(-0.5 * ((below - BELOW_MM[0]) / BELOW_MM[1]) ** 2), 0.0),
            inner=(radius > 0.1 * rim) & (radius < 0.5 * rim),
            usual_mm=rim * camera_mm / (camera_mm + BELOW_MM[0]) if diameter_mm else None,
        )  # fmt: skip

    def edges(self, places: Array) -> tuple[Grid, Grid]:
        """Edge over what is usual on rays from some places (P, 2), map px, and what is seen of it, (P, T, R) each."""
        x, y = (
            (places[:, k, None, None] + self.ways[k]).astype(np.float32).reshape(-1, len(self.radius)) for k in (0, 1)
        )
        both = cv2.remap(self.layers, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
        valid = np.asarray(both[..., 1] > 0.9, dtype=np.float32)
        valid = np.asarray(cv2.erode(valid, np.ones((1, 7), np.uint8)), dtype=np.float32)
        edge = np.abs(slope(np.ascontiguousarray(both[..., 0], dtype=np.float32), 1.2)) * valid
        edge = np.minimum(edge / (cv2.blur(edge, (31, 1)) + 0.015), 3.0) * valid
        shape = (len(places), len(_RAYS), len(self.radius))
        return np.asarray(edge, dtype=np.float32).reshape(shape), valid.reshape(shape)

    def profiles(self, edge: Grid, valid: Grid, off_mm: Array) -> Array:
        """How coherent the edge is at each radius (P, R), 0 to 1, about places (P, 2) so far from where rays begin."""
        level, count = np.zeros((2, len(off_mm), len(self.radius)), dtype=np.float32)
        _add_rays(edge, valid, (off_mm @ _RAYS.T) / (self.radius[1] - self.radius[0]), level, count)
        profile = np.maximum(level / np.maximum(count, 1) - 1.0, 0) * np.clip(count / len(_RAYS) / 0.35, 0, 1)
        return np.asarray(cv2.filter2D(profile, -1, np.array([[0.25, 0.5, 0.25]])), dtype=np.float64)

    def looked(self, places: Array) -> list[_Place]:
        """Some places (P, 2), map px, with what rays from there show."""
        out = []
        for at, *look in zip(places, *self.edges(places), strict=True):
            profile = self.profiles(look[0], look[1], NOWHERE)
            out.append(_Place(at=at, look=(look[0], look[1]), profile=profile[0], worth=float(self.worth(profile)[0])))
        return out

    def worth(self, profiles: Array) -> Array:
        """How much edge lies on rings about places with such profiles, (P,)."""
        if self.usual_mm is not None:
            return self._stated(profiles, self.usual_mm)[1]
        inside = (profiles[:, 1:-1] >= profiles[:, :-2]) & (profiles[:, 1:-1] > profiles[:, 2:])
        return np.asarray(np.sort(np.where(inside, profiles[:, 1:-1], 0.0), axis=1)[:, -4:].sum(axis=1))

    def rim(self, profile: Array) -> float | None:
        """Radius of the rim as it seems: the stated one where one is stated, else the outermost clear ring."""
        if self.usual_mm is None:
            return _outermost(self.radius, profile)
        radius, score = self._stated(profile[None], self.usual_mm)
        return float(radius[0]) if score[0] > 0 else None

    def _stated(self, profiles: Array, usual_mm: float) -> tuple[Array, Array]:
        """Radius of the stated rim and the score, with the best ring within it; (P,) each.

        A rim that does not show is taken to lie at its usual depth: bore and hub alone tell the centre.
        """
        likely, within = profiles * self.likely, np.where(self.inner, profiles, 0.0).max(axis=1)
        rim = likely.max(axis=1)
        return np.where(rim > 0, self.radius[np.argmax(likely, axis=1)], usual_mm), rim + 0.5 * within


def _bettered(rings: _Rings, best: _Place) -> _Place:
    """The best place about a place, by ever nearer neighbours.

    Its own rays, each shifted by how far it leads there, tell which few neighbours are likely.
    """
    for step in STEPS_MM:
        likely = rings.worth(rings.profiles(*best.look, NEAR * step))
        near = best.at + NEAR[np.argsort(-likely)[:LIKELY]] * step / rings.step_mm
        best = max((best, *rings.looked(near)), key=lambda place: place.worth)
    return best


@compiled
def _add_rays(edge: Grid, valid: Grid, lead: Array, level: Grid, count: Grid) -> None:
    """Add up edges (T, R) of all rays, and what is seen of them, each shifted by `lead` (P, T) columns: (P, R)."""
    last = edge.shape[1] - 1
    for p in range(len(lead)):
        for t in range(len(edge)):
            base = int(np.floor(lead[p, t]))
            up = np.float32(lead[p, t] - base)
            low = np.float32(1) - up
            for j in range(max(0, -base), min(last, last - base)):
                level[p, j] += low * edge[t, j + base] + up * edge[t, j + base + 1]
                count[p, j] += low * valid[t, j + base] + up * valid[t, j + base + 1]


def _outermost(radius: Array, profile: Array) -> float | None:
    """The outermost clear ring."""
    if profile.max() <= 0:
        return None
    clear = np.flatnonzero(profile > 0.4 * profile[radius > 30].max()) if (radius > 30).any() else np.zeros(0, int)
    return float(radius[clear[-1]]) if len(clear) else None
