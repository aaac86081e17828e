"""Gates: is this photo good enough to measure on, and if not, what should the tech do?

Each gate is one named threshold with its reason and one plain sentence. A gate that closes asks for a retake
of its photo and of nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at
from wearvision.measure.coach import coach
from wearvision.measure.plane import Plane
from wearvision.measure.prior import prior_of
from wearvision.measure.retake import Retake
from wearvision.measure.scale import Sighting
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

CORNERS_LEAST = 16
"""Corners of the card: half of a marker board of 3 x 3, the smallest in use, may be lost, no more."""
TILT_MOST_DEG = 35.0
"""At 35 degrees a card 1 mm too high shifts a point by 0.7 mm, and a groove as deep as wide hides 70 % of its
floor. Common practice, no source."""
LIMIT_LEAST_PX = 3.0
"""Pixels across the smallest limit in a photo that just resolves it (see `coach`); no photo need be sharper than
for that."""
BLUR_PER_LIMIT = 3.0
"""Edge sigmas that must fit into the smallest limit: nearer, the flanks of two edges run into each other and
both seem to move."""
BLUR_MOST_PX = 4.0
"""Of the edge sigma, whatever the limit: four times a sharp phone photo. Common practice, no source."""
CARD_GLARE_MOST = 0.2
"""Share of the card's black that is washed out: a fifth, and the corners beneath are lost."""
CARD_STEP_LEAST = 35.0
"""Grey levels between the card's black and white; corners need 10 with noise of 3 to 5."""
FACE_GLARE_MOST = 0.12
"""Share of the face that is burnt out; wear beneath cannot be seen. A retake under softer light costs less
than a groove missed."""
BURNT = 252
DARK_WHITE = 60.0
"""Grey level of the card's white, or of the brightest percent when no card is seen: four stops under full."""
BENT_MM = 0.15
"""Bend of the card that the corners show: flat ones come out below 0.05 mm; one bent by 0.5 mm, which shifts
what is measured beside it by some percent, above this."""
BENT_RMS_PX, BENT_RMS_SHARE = 0.4, 0.004
"""Corner residual, px and as a share of a square: 0.06 to 0.2 px on good photos; a card that is creased or
bent by some millimetres cannot be followed and leaves more."""
FOCAL_CONFLICT = 4.5
"""Sigmas between the focal length the card shows and that of the camera."""
STRIDE = 8
"""Face pixels looked at: every eighth each way."""


def gates(
    gray: Gray,
    sighting: Sighting | None,
    plane: Plane | Unmeasured,
    stated: Stated,
    *,
    face_px: NDArray[np.generic] | None = None,
    limit_mm: float,
    cut_off: bool = False,
    focal35_mm: float | None = None,
) -> tuple[Retake, ...]:
    """Gates the photo does not pass, empty when it is usable.

    Parameters
    ----------
    gray : (H, W) uint8 array
    sighting : Sighting or None
        The board the plane came from.
    plane : Plane or Unmeasured
    stated : Stated
    face_px : (N, 2) outline in px, or (H, W) mask, optional
        Where the measured face lies; the whole photo's middle stands in for the scale when left out.
    limit_mm : float
        Smallest limit that this view is held against.
    cut_off : bool
        Whether the part runs out of the photo.
    focal35_mm : float, optional
        As given to the solver, to hold the card against.
    """
    inside = None if face_px is None else _inside(gray, face_px)
    found = [*_card(sighting, plane, stated), *_light(gray, sighting, inside)]
    if isinstance(plane, Plane):
        found += [*_view(plane, _middle(gray, inside), limit_mm, sighting)]
        found += [*_flat(plane, sighting, focal35_mm)]
    if cut_off:
        found.append(Retake(code="cut-off", say="The part runs out of the picture: show all of it."))
    return tuple(found)


def _card(sighting: Sighting | None, plane: Plane | Unmeasured, stated: Stated) -> Iterator[Retake]:
    if sighting is None:
        if not isinstance(plane, Plane):
            yield Retake(
                code="no-card",
                say="No card found: lay the printed card flat beside the part, whole in view, and retake.",
            )
        return
    seen = len(sighting.corners_px)
    if seen < CORNERS_LEAST or not isinstance(plane, Plane):
        yield Retake(
            code="few-corners",
            say=f"Only {seen} corners of the card are clear: show the whole card, clean and uncovered.",
        )
    if sighting.glare_share > CARD_GLARE_MOST:
        share = round(100 * sighting.glare_share)
        yield Retake(
            code="glare-card",
            say=f"Glare covers {share} % of the card: turn the card or the lamp and retake.",
        )


def _light(gray: Gray, sighting: Sighting | None, inside: NDArray[np.bool_] | None) -> Iterator[Retake]:
    white = float(np.percentile(gray[::16, ::16], 99)) if sighting is None else sighting.white
    step = math.inf if sighting is None else sighting.white - sighting.black
    if white < DARK_WHITE or step < CARD_STEP_LEAST:
        yield Retake(code="dark", say=f"Too dark: white comes out at {white:.0f} of 255; add light or expose longer.")
    if inside is not None and inside.any():
        burnt = gray[::STRIDE, ::STRIDE] >= BURNT
        share = np.count_nonzero(burnt & inside) / np.count_nonzero(inside)
        if share > FACE_GLARE_MOST:
            yield Retake(
                code="glare-face",
                say=f"Glare hides {100 * share:.0f} % of the face: soften the light or move the lamp aside.",
            )


def _view(plane: Plane, at_px: Array, limit_mm: float, sighting: Sighting | None) -> Iterator[Retake]:
    told = coach(plane, at_px, limit_mm)
    if told is not None and (told.code != "tilt" or plane.tilt_deg <= TILT_MOST_DEG):
        yield told
    if plane.tilt_deg > TILT_MOST_DEG:
        yield Retake(
            code="tilt",
            say=f"Tilted by {plane.tilt_deg:.0f} degrees: hold the camera straight above, "
            f"within {TILT_MOST_DEG:.0f} degrees.",
        )
    scale = scale_at(plane, at_px)
    limit_px = limit_mm / scale
    sigma = math.nan if sighting is None else sighting.edge_sigma_px
    most = min(limit_px / BLUR_PER_LIMIT, BLUR_MOST_PX)
    if sigma > max(most, LIMIT_LEAST_PX / BLUR_PER_LIMIT):
        yield Retake(
            code="blur",
            say=f"Blurred: edges are {sigma * scale:.2f} mm wide; hold still and tap the card to focus.",
        )


def _flat(plane: Plane, sighting: Sighting | None, focal35_mm: float | None) -> Iterator[Retake]:
    if sighting is None:
        return
    loose = plane.rms_px > max(BENT_RMS_PX, BENT_RMS_SHARE * sighting.square_px, sighting.edge_sigma_px / 4)
    if loose or plane.bend_mm > BENT_MM or _focal_conflict(plane, focal35_mm) > FOCAL_CONFLICT:
        yield Retake(
            code="card-off-plane",
            say=f"The card seems bent or lifted, by {plane.bend_mm:.1f} mm or more: "
            "press it flat onto its support and retake.",
        )


def _focal_conflict(plane: Plane, focal35_mm: float | None) -> float:
    """Sigmas between the EXIF focal length and what the corners made of it.

    For a Gaussian prior the shift of the mean has the variance that the update took away.
    """
    if focal35_mm is None:
        return 0.0
    prior = prior_of(plane.size_px, focal35_mm)
    gone = 1 / float(prior.lens_precision[0, 0]) - float(plane.covariance[6, 6])
    return abs(plane.theta[6] - float(prior.lens[0])) / math.sqrt(gone) if gone > 0 else 0.0


def _inside(gray: Gray, face_px: NDArray[np.generic]) -> NDArray[np.bool_]:
    """Face mask on every eighth pixel, from an outline or from a mask."""
    if face_px.shape == gray.shape:
        return np.asarray(face_px[::STRIDE, ::STRIDE] != 0)
    mask = np.zeros(gray[::STRIDE, ::STRIDE].shape, dtype=np.uint8)
    outline = np.rint(np.asarray(face_px, dtype=np.float64).reshape(-1, 1, 2) / STRIDE).astype(np.int32)
    return np.asarray(cv2.fillPoly(mask, [outline], 1), dtype=bool)


def _middle(gray: Gray, inside: NDArray[np.bool_] | None) -> Array:
    """Centre of the face, px, or of the photo."""
    if inside is not None and inside.any():
        of = cv2.moments(inside.astype(np.uint8), binaryImage=True)
        return np.array([of["m10"], of["m01"]]) / of["m00"] * STRIDE
    return np.array([(gray.shape[1] - 1) / 2, (gray.shape[0] - 1) / 2])
