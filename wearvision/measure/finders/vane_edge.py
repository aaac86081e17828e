"""A vane seen along its length: radius of each top corner, height, thickness.

The end of the vane is a stub on a bar (the shroud). It is looked for round the card (`vane_edge_search`), its straight
lines are settled (`vane_edge_lines`), its outline followed to a fraction of a pixel (`vane_edge_trace`), and one shape
is fitted to all of it (`stub`): two flanks, a top, two rounded corners, a base. Lengths hold in the plane of the card.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.chart import chart_of
from wearvision.measure.finders.stub import Stub, fit_shape
from wearvision.measure.finders.vane_edge_label import with_label
from wearvision.measure.finders.vane_edge_lines import Lines, Section, find_lines, section_patch
from wearvision.measure.finders.vane_edge_search import Place, Sizes, places
from wearvision.measure.finders.vane_edge_trace import slopes, spread_px, trace
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured, Quantity, Unmeasured, root_sum_square

COARSE_WORTH = 0.5
"""What the coarse search still counts once the lines are settled."""
COARSE_PX, FINE_PX = 1.0, 0.5
"""Photo pixels a sample, for the lines and for the outline."""
LEAST_Z = 3.0
"""Slope over noise of the least of the four lines."""
LEAST_POINTS = 30
MOST_SPREAD_MM = 0.15
"""An outline that strays more from the shape is no vane's."""
HINT = "plain dark or light paper behind the vane, its end square to the camera, the card in the plane of its end"
NOTHING = Unmeasured(reason="no vane stands out against its background", hint=HINT)
EDGE_PX, OFF_MM = 0.12, 0.03
"""Standard uncertainty common to all of an edge: localisation, photo px; and that it is no perfect line, mm."""
SHARP = 2.6
"""A corner is told from a sharp one when its apparent radius is over so many blurs."""


def find_vane_edge(
    gray: Image, plane: Plane, cards_px: tuple[Array, ...], sizes: Sizes, *, blur_px: float
) -> Stub | Unmeasured:
    """The end section near the first card, fitted; lengths in mm of the plane.

    Parameters
    ----------
    cards_px : (4, 2) outlines of the cards' squares and margins
    sizes : what to look for, from `sizes_of`
    blur_px : standard deviation of the photo's edges
    """
    covers = tuple(with_label(gray, plane, card) for card in cards_px)
    chart = chart_of(gray, plane, covers)
    best: tuple[float, Place, Lines] | None = None
    for place in places(chart, plane.to_mm(covers[0]), sizes):
        lines = find_lines(section_patch(gray, plane, place, COARSE_PX), sizes)
        if lines is None or min(line.z for line in (lines.left, lines.right, lines.top, lines.base)) < LEAST_Z:
            continue
        worth = lines.worth + COARSE_WORTH * place.worth
        if best is None or worth > best[0]:
            best = worth, place, lines
    if best is None:
        return NOTHING
    place = _upright(best[1], best[2])
    lines = find_lines(section_patch(gray, plane, place, COARSE_PX), sizes)
    if lines is None:
        return NOTHING
    return fit_stub(section_patch(gray, plane, place, FINE_PX), lines, blur_px=blur_px)


def _upright(place: Place, lines: Lines) -> Place:
    """The place with its foot on the bar's edge, in the middle of the flanks, and that edge level."""
    middle = (lines.left(lines.base.at) + lines.right(lines.base.at)) / 2
    along = place.along + lines.base.lean * place.up
    along = along / np.hypot(*along)
    turned = place.up - (place.up @ along) * along
    half = (lines.top(middle) + lines.base(middle)) / 2
    return replace(
        place, base_mm=place.base_mm + middle * place.along + lines.base(middle) * place.up, along=along,
        up=turned / np.hypot(*turned), wide_mm=lines.right(half) - lines.left(half),
        high_mm=lines.top(middle) - lines.base(middle),
    )  # fmt: skip


def fit_stub(section: Section, lines: Lines, *, blur_px: float) -> Stub | Unmeasured:
    """Fit the shape to the outline along its lines."""
    place = section.place
    found = trace(slopes(section, blur_px), lines, place.high_mm)
    if min(found.count(True), found.count(False)) < LEAST_POINTS:
        return Unmeasured(reason="the outline of the vane cannot be followed", hint=HINT)
    middle = (lines.left(place.high_mm / 2) + lines.right(place.high_mm / 2)) / 2
    start = np.array([
        lines.left.at, lines.left.lean, lines.right.at, lines.right.lean, lines.top(middle), lines.top.lean,
        0.5, 0.5, lines.base.at, lines.base.lean,
    ])  # fmt: skip
    shape, covariance, spread = fit_shape(found.points, found.base, found.run_mm, start)
    if spread > MOST_SPREAD_MM:
        return Unmeasured(reason=f"what looks like a vane strays {spread:.2f} mm from a vane's shape", hint=HINT)
    return Stub(
        origin_mm=place.base_mm, along=place.along, up=place.up, shape=shape, covariance=covariance,
        px_mm=section.patch.px_mm, spread_mm=spread,
    )  # fmt: skip


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
            "edge_radius_max": Measured.of(most, "mm", how="upper bound", edge=own),
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
