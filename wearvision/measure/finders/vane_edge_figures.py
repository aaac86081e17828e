"""Findings of a fitted vane: its section and both top corners, with their uncertainties.

Parts of u beside the plane's: ``edge`` (how well the outline was located, and that it is no perfect line or arc),
``outline`` (pieces of it that were hidden, grainy or looked the same as what is behind), ``straight`` (flank and top
stray beside a corner, which cuts it back more or less), ``blur``, ``nominal`` (a drawing size is rounded).
"""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.stub import Stub
from wearvision.measure.finders.vane_edge_search import Sizes
from wearvision.measure.finders.vane_edge_trace import spread_px
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity, Unmeasured, root_sum_square

EDGE_PX, OFF_MM = 0.12, 0.012
"""Standard uncertainty common to all of an edge: localisation, photo px; and that it is no perfect line, mm."""
HIDDEN_HIGH_MM, HIDDEN_WIDE_MM, CORNER_MM = 0.2, 0.4, 0.5
"""Uncertainty of the height, of the thickness and of a radius when all of one edge strays from the line; in part, in
proportion. A flank may have the vane's own side behind it; where top or bar hardly show, no height is told."""
WIDER, WIDER_ACROSS = 1.4, 1.8
"""What the parts from the outline miss, as found on drawn vanes: of a radius, of a thickness."""
ONE_SIDED = 1.645
"""Standard uncertainties to the upper bound of a corner that looks sharp: 95 % of a normal error lie below."""
FULL_SHARE = 0.97
"""A share of an edge that counts as all of it."""
THICKER_MM = 0.08
"""Beyond a new vane's thickness by so much, and what looks like the edge is a flank seen behind it."""
UNSTATED_MM = 0.15
"""How far a flank seen behind may stand out unnoticed where no thickness is stated."""
NOMINAL_MM = 0.03
"""A drawing size is told to a tenth: 0.1 over the root of 12."""
SHARP = 2.8
"""A corner is told from a sharp one when its apparent radius is over so many blurs."""
SHARPEST = 1.0
"""And over so many of its own standard uncertainties."""
LEAST_CORNER = 0.6
"""Share of a corner's rays that must lie on its arc; where neither corner's do, the top may be rust across the face."""
APART_MM, DOUBT = 0.5, 0.5
"""How far the radius of the edge's points may lie from that of the arc along which the picture changes most, or
neither is told; and the share of it that is doubted."""
CUT_BACK = 0.414
"""A right-angled corner of radius r is cut back by this share of r (root of 2, less 1)."""
DOUBTFUL = 0.75
"""Share of the least clear edge below which the finding says that it is faint."""
LEAST_BAR = 0.6
"""Share of the bar's edge on its better side without which no height is told: behind it the bar's far edge may show."""
NO_TOP = Unmeasured(
    reason="the top joins neither flank with a corner that is seen: it may be rust", hint="take the height with a gauge"
)
NO_BAR = Unmeasured(
    reason="the bar's edge hardly shows beside the foot", hint="take the height with a gauge, or look square at the end"
)
HIDDEN_FLANK = Unmeasured(
    reason="one flank does not stand out against what is behind", hint="take the thickness with a caliper"
)
CLOSER = "come closer, or feel the edge, for a finer figure"


def to_findings(
    stub: Stub, plane: Plane, sizes: Sizes, fit: float, *, blur_px: float
) -> tuple[Finding, ...]:
    """Section and both corners as findings.

    Parameters
    ----------
    sizes : with the height of a new vane, without which no loss is told, and its thickness
    fit : how well the outline fits, 0 to 1
    blur_px : standard deviation of the photo's edges
    """
    flags = ("faint",) if fit < DOUBTFUL else ()
    section = Finding(
        id="S1", kind="vane-section", outline_px=plane.to_px(stub.outline_mm()), flags=flags,
        quantities=_section(stub, plane, sizes), places_px=plane.to_px(stub.places_mm()),
    )  # fmt: skip
    corners = tuple(
        Finding(
            id=f"E{k + 1}", kind="vane-edge", outline_px=plane.to_px(stub.corner_mm(k)), flags=flags,
            detail={"side": ("left", "right")[k]}, quantities=_corner(stub, k, plane, sizes, blur_px),
            places_px=plane.to_px(stub.corner_mm(k)[12:13]),
        )
        for k in range(2)
    )  # fmt: skip
    return (section, *corners)


def _hidden(*shares: float) -> float:
    """Root sum of squares of what is missing of some edges."""
    return root_sum_square(*(max(0.0, FULL_SHARE - share) for share in shares))


def _excess(stub: Stub, sizes: Sizes) -> float:
    """How much thicker than new the vane came out, mm; what that may be where no thickness is stated."""
    new = sizes.new_wide_mm
    return UNSTATED_MM if new is None else max(0.0, stub.thickness_mm - new - THICKER_MM)


def _section(stub: Stub, plane: Plane, sizes: Sizes) -> dict[str, Quantity]:
    ends_px = plane.to_px(stub.gauge_mm())

    def figure(p: Plane) -> Array:
        mm = p.to_mm(ends_px)
        return np.array([np.hypot(*(mm[1] - mm[0])), np.hypot(*(mm[3] - mm[2]))])

    value, parts = plane.propagate(figure)
    edge = float(np.hypot(np.sqrt(2) * EDGE_PX * stub.px_mm, OFF_MM))
    bars = sorted((stub.share["bar left"], stub.share["bar right"]))
    rough = stub.rough_mm
    fit = (
        stub.height_u * max(rough["top"], min(rough["bar left"], rough["bar right"])) / stub.spread_mm,
        WIDER_ACROSS * stub.thickness_u * max(rough["left"], rough["right"]) / stub.spread_mm,
    )
    across = float(np.hypot(HIDDEN_WIDE_MM * _hidden(stub.share["left"], stub.share["right"]), _excess(stub, sizes)))
    hidden = HIDDEN_HIGH_MM * _hidden(stub.share["top"], bars[1], (3 + bars[0]) / 4), WIDER_ACROSS * across
    how = "top over the bar beside it", "between the flanks at half height"
    height, thickness = (
        Measured.of(
            float(value[k]), "mm", how=how[k], edge=float(np.hypot(fit[k], edge)), outline=hidden[k],
            **{n: float(u[k]) for n, u in parts.items()},
        )
        for k in (0, 1)
    )  # fmt: skip
    ends = _ends(stub)
    told: Quantity = height if ends is None else ends
    return {
        "height": told, "thickness": thickness if stub.hidden is None else HIDDEN_FLANK,
        "height_loss": _loss(told, sizes.new_high_mm),
    }  # fmt: skip


def _ends(stub: Stub) -> Unmeasured | None:
    """Why the height is not told, if it is not."""
    if max(stub.share["corner left"], stub.share["corner right"]) < LEAST_CORNER:
        return NO_TOP
    return NO_BAR if max(stub.share["bar left"], stub.share["bar right"]) < LEAST_BAR else None


def _loss(height: Quantity, new_mm: float | None) -> Quantity:
    if isinstance(height, Unmeasured):
        return height
    if new_mm is None:
        return Unmeasured(reason="no height of a new vane is stated", hint="state vane_height_mm")
    return Measured.of(
        new_mm - height.value, "mm", how="against the stated height of a new vane", nominal=NOMINAL_MM,
        **height.budget,
    )  # fmt: skip


def _corner(stub: Stub, k: int, plane: Plane, sizes: Sizes, blur_px: float) -> dict[str, Quantity]:
    """`edge_radius`, or the most it can be (`edge_radius_max`) where the corner is as sharp as the picture shows."""
    side = ("left", "right")[k]
    share, blur_mm = stub.share[f"corner {side}"], spread_px(blur_px) * stub.px_mm
    if share < LEAST_CORNER:
        return {"edge_radius": Unmeasured(reason="the corner does not stand out against its background", hint=CLOSER)}
    apart = abs(stub.arc_mm[k] - stub.radius[k])
    if apart > APART_MM:
        why = f"the corner shows as one of {stub.radius[k]:.1f} mm or of {stub.arc_mm[k]:.1f} mm"
        return {"edge_radius": Unmeasured(reason=why, hint=CLOSER)}
    seen, told = stub.radius[k], sharpened(stub.radius[k], blur_mm)
    # a corner that came out sharp has no slope left to tell its uncertainty: how far points stray tells it
    rough = stub.rough_mm[f"corner {side}"]
    fit = min(stub.radius_u[k] * max(1.0, rough / stub.spread_mm), rough / CUT_BACK)
    edge = WIDER * root_sum_square(fit, EDGE_PX * stub.px_mm / CUT_BACK, OFF_MM)
    missing = CORNER_MM * _hidden(share, stub.share[side], stub.share["top"])
    hidden = root_sum_square(
        WIDER * missing, WIDER * _excess(stub, sizes) if sizes.new_wide_mm else 0.0, DOUBT * apart
    )
    soft = 0.2 * (seen - told)
    stray = root_sum_square(stub.rough_mm[side], stub.rough_mm["top"]) / CUT_BACK
    own = root_sum_square(edge, hidden, soft, stray)
    if seen < SHARP * blur_mm or told < SHARPEST * own:
        most = told + ONE_SIDED * own
        return {
            "edge_radius": Unmeasured(reason=f"at most {most:.2f} mm: as sharp as this photo can show", hint=CLOSER),
            "edge_radius_max": Measured.of(most, "mm", how="upper bound, 95 %", edge=0.0),
        }
    scale = root_sum_square(*(told * float(u[0]) for u in _relative(plane, stub).values()))
    radius = Measured.of(
        told, "mm", how="arc between flank and top", edge=edge, outline=hidden, straight=stray, blur=soft,
        scale=scale,
    )  # fmt: skip
    return {"edge_radius": radius}


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
