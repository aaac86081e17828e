"""Pictures for pages: a kept photo with its findings and gauge points drawn on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision import photos
from wearvision.finding import Finding
from wearvision.measure.vanes.telling import told_bent
from wearvision.pages import land_strip, overlay
from wearvision.pages.overlay_vanes import sibling_outlines
from wearvision.pages.page import FindingRow, Picture, only_below, plain, say
from wearvision.quantity import Measured, Quantity
from wearvision.rules.points import GaugePoint

BOARD_PX, SHEET_PX = 1000, 1600
SHOWN = (
    "remaining_width", "loss", "arc", "width", "radius", "arc_in_view", "diameter", "length", "height", "thickness",
    "edge_radius", "area", "tip_shift", "bend_angle", "shortening",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawing:
    """Everything one overlay is drawn from.

    Attributes
    ----------
    path : Path
        The photo's file.
    name : str
        What people call it.
    width_px : int
        Of the photo, upright.
    survey : mapping
        The photo's `survey` record: public result and `drawing`.
    findings : tuple of Finding
    points : tuple of GaugePoint
        Those that lie on this photo.
    """

    path: Path
    name: str
    width_px: int
    survey: Mapping[str, Any]
    findings: tuple[Finding, ...] = ()
    points: tuple[GaugePoint, ...] = field(default=())

    def model(self, scale: float) -> overlay.OverlayModel:
        """The overlay's model at a display scale."""
        drawn = self.survey["drawing"]
        card = drawn["card_px"]
        return overlay.OverlayModel(
            scale=scale, findings=self.findings,
            labels={f.id: label(f) for f in self.findings if not f.struck},
            points=tuple(
                overlay.GaugePoint(number=p.number, x_px=p.px[0], y_px=p.px[1]) for p in self.points if p.px
            ),
            circles_px=tuple(np.array(c) for c in drawn["circles_px"]), siblings_px=self._siblings(),
            card_px=None if card is None else np.array(card), mm_per_px=drawn["mm_per_px"],
        )  # fmt: skip

    def _siblings(self) -> tuple[NDArray[np.float64], ...]:
        """Where vanes that differ would stand; the lens is left out, which a line to look at can bear."""
        to_px = self.survey["scale"].get("plane_to_px")
        if to_px is None:
            return ()
        there, back = np.array(to_px), np.linalg.inv(np.array(to_px))
        return sibling_outlines(self.findings, lambda px: _through(back, px), lambda mm: _through(there, mm))


def _through(homography: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    out = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(out[:, :2] / out[:, 2:])


def draw_photo(drawing: Drawing, side_px: int = BOARD_PX) -> Picture:
    """The whole photo with its overlay."""
    rgb = photos.thumbnail(drawing.path, side_px)
    return _picture(overlay.draw(rgb, drawing.model(rgb.shape[1] / drawing.width_px)), drawing, drawing.name)


def draw_land(drawing: Drawing) -> Picture | None:
    """What is left of a gasket land's width all round; nothing where no land was measured."""
    lands = [f for f in drawing.findings if f.kind == "gasket-land" and not f.struck]
    to_px = drawing.survey["scale"].get("plane_to_px")
    if not lands or to_px is None or len(lands[0].outline_px) < 40:
        return None
    deg, width_mm = land_strip.profile(lands[0].outline_px, np.array(to_px))
    title = f"Width left, mm, clockwise from the card's x axis; least {say(lands[0].quantities['remaining_width'])}"
    return _picture(land_strip.draw_strip(deg, width_mm, title=title), drawing, f"{drawing.name}: width left")


def draw_closeups(drawings: Sequence[Drawing], most: int, side_mm: float = 50.0, side_px: int = 720) -> list[Picture]:
    """Close-ups of the first gauge point on each finding, at most `most` of them."""
    out: list[Picture] = []
    for drawing in drawings:
        firsts = {p.finding: p.number for p in reversed(drawing.points) if p.px}
        if not firsts or len(out) >= most:
            continue
        rgb = photos.colour(drawing.path)
        model = drawing.model(rgb.shape[1] / drawing.width_px)
        for name, number in sorted(firsts.items())[: most - len(out)]:
            close = overlay.crop_at_point(rgb, model, number, side_mm=side_mm, width_px=side_px)
            out.append(_picture(close, drawing, f"{drawing.name}: {name} at point {number}"))
    return out


def _picture(rgb: Any, drawing: Drawing, caption: str) -> Picture:
    what = ", ".join(f"{plain(f.kind)} {f.id}" for f in drawing.findings if not f.struck) or "no marks"
    return Picture(
        jpeg=overlay.jpeg(rgb), width_px=rgb.shape[1], height_px=rgb.shape[0],
        alt=f"Photo {drawing.name} with {what}", caption=caption,
    )  # fmt: skip


EXTENTS = (
    ("remaining_width", "left"), ("width", "wide"), ("diameter", "across"), ("thickness", "thick"),
    ("edge_radius", "radius"),
)  # fmt: skip
"""Open extents that stand beside a mark, the first there is."""


def label(finding: Finding) -> str:
    """Words beside a mark: what is left, its width or diameter, `3.6 mm wide`; of a repeat, which mark it is again."""
    if finding.same_as:
        return f"is {finding.same_as.partition('/')[2]} of another photo"
    if finding.kind == "vane":
        return _vane_label(finding)
    for name, words in EXTENTS:
        quantity = finding.quantities.get(name)
        if isinstance(quantity, Measured):
            return f"{say(quantity) if only_below(quantity) else f'{quantity.value:.1f} mm'} {words}"
    return ""


def _vane_label(finding: Finding) -> str:
    """What is odd about a vane that differs from its siblings; nothing for one that does not."""
    if "suspected" not in finding.flags:
        return ""
    shift, short = finding.quantities.get("tip_shift"), finding.quantities.get("shortening")
    if not isinstance(shift, Measured):
        return "missing?" if shift is not None and "missing" in shift.reason else "look"
    if abs(shift.value) > shift.u95 or told_bent(shift.value, shift.u):
        return f"tip {abs(shift.value):.1f} mm to the {'left' if shift.value > 0 else 'right'}"
    return f"{short.value:.1f} mm short" if isinstance(short, Measured) else "look"


def rows(findings: Sequence[tuple[str, Finding]], names: Mapping[str, str]) -> tuple[FindingRow, ...]:
    """Findings as pages list them: open figures only, repeats left out; the photo named when there are several.

    Parameters
    ----------
    findings : sequence of (sha256 of the photo, Finding)
    names : mapping of sha256 to the photo's name
    """
    several = len(names) > 1
    return tuple(
        FindingRow(
            id=f.id, kind=f.kind, photo=Path(names[sha]).stem if several else "", flags=f.flags,
            struck=f.struck, by=f.by, figures=_figures(f),
        )
        for sha, f in findings
        if not f.same_as
    )  # fmt: skip


def _figures(finding: Finding) -> tuple[tuple[str, Quantity], ...]:
    """Open figures worth a row; of an arc, the part in view where both are told."""
    told = finding.quantities
    names = [n for n in SHOWN if n in told and not (n == "arc" and "arc_in_view" in told)]
    return tuple((n, told[n]) for n in names)


def seen_words(findings: Sequence[Finding]) -> str:
    """Open extents in one line: `G1 3.6 ± 0.3 mm wide`."""
    parts = []
    for f in findings:
        told = next(((q, words) for name, words in EXTENTS if (q := f.quantities.get(name))), None)
        parts.append(f"{f.id} {say(told[0])} {told[1]}" if told else f.id)
    return ", ".join(parts)
