"""Scale from what a person knows of the part: a measured diameter, or two points and their distance."""

from __future__ import annotations

from wearvision.measure.circle import solve_circle
from wearvision.measure.circle_start import KnownCircle
from wearvision.measure.lens import Lens
from wearvision.measure.plane import Array, Plane
from wearvision.measure.points import from_two_points
from wearvision.measure.unwrap import Image
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

OTHER = {"rim": "face_inner_diameter_mm", "bore": "face_outer_diameter_mm"}
"""Drawing size of the other circle of the face."""


def known_plane(
    gray: Image, stated: Stated, *, focal35_mm: float | None = None, lens: Lens | None = None,
    exclude_px: tuple[Array, ...] = (),
) -> Plane | Unmeasured | None:  # fmt: skip
    """The plane from the diameter, else from the two points; `None` when neither was stated.

    Raises
    ------
    BadInput
        When one of the two points is out of the picture.
    """
    size = (gray.shape[1], gray.shape[0])
    refused: Unmeasured | None = None
    if stated.known_diameter_mm is not None and stated.scale_from in (None, "diameter"):
        circle = KnownCircle(
            which=stated.known_circle, diameter_mm=stated.known_diameter_mm,
            other_mm=stated.nominal.get(OTHER[stated.known_circle]),
        )  # fmt: skip
        found = solve_circle(gray, circle, focal35_mm=focal35_mm, lens=lens, exclude_px=exclude_px)
        if not isinstance(found, Unmeasured):
            return found.plane
        refused = Unmeasured(reason=f"{found.reason}; {found.hint}", hint=found.hint)
    if stated.two_points is not None and stated.scale_from in (None, "two-points"):
        return from_two_points(stated.two_points, size, focal35_mm=focal35_mm, lens=lens)
    return refused
