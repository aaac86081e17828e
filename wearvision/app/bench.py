"""What a bench keeps of its cards and cameras: caliper readings of check bars, calibrations with their evidence.

Events of the chain that belong to no part, tag empty:

    print-check    serial of a card, lengths of its bars across and down, the caliper's largest error
    camera         key of a camera, its lens in the frame of its sensor, the evidence for it

The latest of each serial or key holds; the earlier ones stay in the chain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wearvision.cards.tags import SERIAL
from wearvision.errors import BadInput
from wearvision.measure.calibrate import Calibration
from wearvision.measure.lens import Lens
from wearvision.measure.prior import CHECK_BAR_SD_MM, PrintCheck
from wearvision.photos import Camera, Photo
from wearvision.stated import check_bar

if TYPE_CHECKING:
    from wearvision.app.shop import Shop

ENDS_SD_MM = CHECK_BAR_SD_MM / 2
"""Of setting the jaws on printed ends by eye. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What is kept, as the measuring half wants it.

    Attributes
    ----------
    prints : mapping of serial to PrintCheck
    lenses : mapping of camera key to Lens
        In the sensor's frame.
    """

    prints: Mapping[str, PrintCheck] = field(default_factory=dict)
    lenses: Mapping[str, Lens] = field(default_factory=dict)

    def lens_of(self, photo: Photo) -> Lens | None:
        """The lens of this photo's camera, turned into the photo's frame."""
        lens = self.lenses.get(camera_key(photo.camera))
        return None if lens is None else upright(lens, photo.orientation)

    def record(self) -> dict[str, Any]:
        """All of it as JSON, for digests."""
        return {
            "prints": {k: vars(p) for k, p in sorted(self.prints.items())},
            "lenses": {k: lens_record(v) for k, v in sorted(self.lenses.items())},
        }


NOTHING_KEPT = Bench()


def camera_key(camera: Camera) -> str:
    """A camera and its lens, told by picture size and focal lengths alone: no maker, no serial."""
    focal = "-".join("?" if f is None else f"{f:g}" for f in (camera.focal_mm, camera.focal35_mm))
    return f"{camera.width_px}x{camera.height_px}-{focal}"


def upright(lens: Lens, orientation: int) -> Lens:
    """A sensor's lens in the frame of a photo whose EXIF orientation was undone (Exif 2.32, tag 0x0112)."""
    matrix, shift, size = orientation_map(orientation, lens.size_px)
    return lens.turned(matrix, shift, size)


def orientation_map(orientation: int, size_px: tuple[int, int]) -> tuple[Any, Any, tuple[int, int]]:
    """Matrix (2, 2) and shift (2,) from stored to upright pixels, and the upright size."""
    width, height = size_px
    last = np.array([width - 1.0, height - 1.0])
    signs = {1: (1, 1), 2: (-1, 1), 3: (-1, -1), 4: (1, -1), 5: (1, 1), 6: (1, -1), 7: (-1, -1), 8: (-1, 1)}
    sign = np.array(signs.get(orientation, (1, 1)), dtype=np.float64)
    matrix, shift = np.diag(sign), np.where(sign < 0, last, 0.0)
    if orientation < 5:
        return matrix, shift, size_px
    return matrix[::-1], shift[::-1], (height, width)


def keep_print(shop: Shop, serial: str, across_mm: float, down_mm: float, error_mm: float, at: datetime) -> PrintCheck:
    """Keep caliper readings of a card's two bars.

    Raises
    ------
    BadInput
        For a serial no card has, a length no print has, or an error that is none.
    """
    serial = serial.upper()
    if not SERIAL.fullmatch(serial):
        raise BadInput("a card serial has 1 to 10 letters A-Z, digits or hyphens", got=serial)
    check_bar((across_mm, down_mm))
    if not 0 < error_mm <= 1:
        raise BadInput("largest error of the caliper, mm: outside 0 to 1", got=error_mm, do="see its certificate")
    payload = {"serial": serial, "across_mm": across_mm, "down_mm": down_mm, "caliper_error_mm": error_mm}
    shop.ledger.chain.append("print-check", "", payload, at)
    return _print_check(payload)


def _print_check(payload: Mapping[str, Any]) -> PrintCheck:
    """Readings with their uncertainty: a largest error is taken as rectangular (JCGM 100, 4.3.7)."""
    u = float(np.hypot(float(payload["caliper_error_mm"]) / np.sqrt(3), ENDS_SD_MM))
    return PrintCheck(across_mm=float(payload["across_mm"]), down_mm=float(payload["down_mm"]), u_mm=u)


def keep_camera(shop: Shop, key: str, found: Calibration, at: datetime) -> None:
    """Keep a calibration with its evidence; the same again changes nothing."""
    payload = {"key": key, "lens": lens_record(found.lens), "evidence": vars(found.evidence)}
    last = [e.payload for e in shop.ledger.chain.events(kind="camera") if e.payload["key"] == key]
    if not last or last[-1] != payload:
        shop.ledger.chain.append("camera", "", payload, at)


def kept(shop: Shop) -> Bench:
    """What the bench has kept so far."""
    chain = shop.ledger.chain
    prints = {str(e.payload["serial"]): _print_check(e.payload) for e in chain.events(kind="print-check")}
    lenses = {str(e.payload["key"]): lens_from(e.payload["lens"]) for e in chain.events(kind="camera")}
    return Bench(prints=prints, lenses=lenses)


def kept_in(folder: Path | None) -> Bench:
    """What a data folder keeps; nothing when there is none."""
    if folder is None or not folder.exists():
        return NOTHING_KEPT
    from wearvision.app.shop import open_shop  # here: workers do without the data folder

    with open_shop(folder) as shop:
        return kept(shop)


def lens_record(lens: Lens) -> dict[str, Any]:
    """A lens as JSON."""
    return {
        "mean": lens.mean.tolist(), "covariance": lens.covariance.tolist(), "size_px": list(lens.size_px),
        "sigma_px": lens.sigma_px,
    }  # fmt: skip


def lens_from(record: Mapping[str, Any]) -> Lens:
    """A lens from its JSON."""
    width, height = record["size_px"]
    return Lens(
        mean=np.array(record["mean"]), covariance=np.array(record["covariance"]), size_px=(width, height),
        sigma_px=float(record["sigma_px"]),
    )  # fmt: skip
