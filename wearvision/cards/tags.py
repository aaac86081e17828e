"""The words in our QR squares: on a card, and on the tag of a part. Writing, parsing, reading.

    WV1/C0/STANDARD/K7Q2M4/WEAR-FACE    card 0, its size, the serial of this print, the view it is meant for
    WV1/C0/STANDARD/K7Q2M4              the same for any view
    WV1/PART/C-1042                     a part's tag

A card's words keep to the alphanumeric set of ISO/IEC 18004, so that they fit its 25 modules. Any other QR in
the picture is somebody else's and is passed over.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.cards.corner_marks import may_hold_code
from wearvision.cards.layout import QR_MODULES, qr_square_mm
from wearvision.cards.square import PER_MODULE, bits, decode, module_levels
from wearvision.errors import BadInput
from wearvision.measure.board import CARD_SQUARE_MM, CARDS
from wearvision.stated import VIEWS, View

Gray = NDArray[np.uint8]
Points = NDArray[np.float64]
SERIAL = re.compile(r"[A-Z0-9](?:[A-Z0-9-]{0,8}[A-Z0-9])?")
PART = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._+#-]{0,38}[A-Za-z0-9+#])?")
_VIEW_BY_WORD: dict[str, View] = {name.upper(): name for name in VIEWS}
SEARCH_SIDE_PX = 1700
"""Long side at which part tags are looked for; a module should have 3 pixels there."""
CLOSE_SIDES_PX = (400, 250, 600)
"""Sides at which a square that was seen is then read: the detector stumbles over single sizes."""
MOST_LOOKS = 4
_SLACK = 3
"""Modules round the label that are sampled too, so that it may lie that far off its expected place."""
_PATCH = (QR_MODULES + 2 * _SLACK) * PER_MODULE
_EDGE = _SLACK * PER_MODULE


@dataclass(frozen=True, kw_only=True)
class CardText:
    """What a card says about itself.

    Attributes
    ----------
    card : int
        0 to 4.
    size : str
        `small`, `standard` or `large`.
    serial : str
        Of this one print: 1 to 10 of A-Z, 0-9 and inner hyphens. The measured check bar is kept under it.
    view : View or None
        What photos with this card show; `None` for any.
    """

    card: int
    size: str
    serial: str
    view: View | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.card < CARDS:
            raise BadInput("no such card", got=self.card, do=f"cards are numbered 0 to {CARDS - 1}")
        if self.size not in CARD_SQUARE_MM:
            raise BadInput("no such card size", got=self.size, do=f"use one of {', '.join(CARD_SQUARE_MM)}")
        if not SERIAL.fullmatch(self.serial):
            raise BadInput("a card serial has 1 to 10 letters A-Z, digits or hyphens", got=self.serial)
        if self.view is not None and self.view not in VIEWS:
            raise BadInput("unknown view", got=self.view, do=f"use one of {', '.join(VIEWS)}")

    @property
    def text(self) -> str:
        """The words as they stand in the QR square."""
        view = "" if self.view is None else f"/{self.view}"
        return f"WV1/C{self.card}/{self.size}/{self.serial}{view}".upper()


@dataclass(frozen=True, kw_only=True)
class PartTag:
    """The tag of one part: 1 to 40 plain letters, digits, spaces and `. _ + # -`."""

    part: str

    def __post_init__(self) -> None:
        if not PART.fullmatch(self.part):
            raise BadInput("a part tag has 1 to 40 letters, digits, spaces or . _ + # -", got=self.part)

    @property
    def text(self) -> str:
        """The words as they stand in the QR square."""
        return f"WV1/PART/{self.part}"


def parse_text(text: str) -> CardText | PartTag | None:
    """Read one QR's words; `None` when they are not ours or not exactly as we write them."""
    found: CardText | PartTag | None = None
    try:
        match text.split("/"):
            case ["WV1", "PART", part]:
                found = PartTag(part=part)
            case ["WV1", card, size, serial, *view] if re.fullmatch("C[0-9]", card) and len(view) < 2:
                found = CardText(
                    card=int(card[1]),
                    size=size.lower(),
                    serial=serial,
                    view=_VIEW_BY_WORD[view[0]] if view else None,
                )
    except (BadInput, KeyError):
        return None
    return found if found is not None and found.text == text else None


def read_card_text(
    gray: Gray, mm_to_px: Points | Callable[[Points], Points], size: str = "standard"
) -> CardText | None:
    """Read the label of a card whose place in the photo is known.

    Parameters
    ----------
    gray : (H, W) uint8 array
    mm_to_px : (3, 3) homography, or callable (N, 2) -> (N, 2)
        From board mm to pixels, for a card *assumed* to be of `size`. The three sizes are one drawing
        scaled, with the same markers: any assumption finds the label, only the label tells the true size.

    Returns
    -------
    CardText or None
        `None` when the label is cut off, hidden, outside the picture or unreadable.
    """
    samples_mm = _patch_mm(size).reshape(-1, 2)
    px = mm_to_px(samples_mm) if callable(mm_to_px) else _project(mm_to_px, samples_mm)
    at = np.asarray(px, np.float32).reshape(_PATCH, _PATCH, 2)
    if not np.isfinite(at).all() or not _inside(at[_EDGE:-_EDGE, _EDGE:-_EDGE], gray.shape):
        return None
    patch = cv2.remap(gray, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    levels = module_levels(np.asarray(patch, np.float32))
    found = None if levels is None else parse_text(decode(bits(levels)))
    return found if isinstance(found, CardText) else None


def find_tags(gray: Gray, hidden_px: Sequence[Points] = ()) -> list[str]:
    """All part tags seen anywhere in the photo, sorted; contradicting ones are all there.

    `hidden_px` are outlines (N, 2) within which none is sought, such as those of cards with a square of their own.
    """
    if not may_hold_code(_half(gray, hidden_px)):
        return []
    scale = min(1.0, SEARCH_SIDE_PX / max(gray.shape))
    small = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else gray
    small = _covered(np.asarray(small, dtype=np.uint8), hidden_px, scale)
    found: set[str] = set()
    for _ in range(MOST_LOOKS):
        try:
            _, texts, quads, _ = cv2.QRCodeDetector().detectAndDecodeMulti(small)
        except cv2.error:  # the detector's own stumble on an odd picture: nothing read
            break
        if quads is None or len(quads) == 0:
            break
        # the detector passes over squares beside one it has found: cover that one and look again
        small = small.copy()
        for text, quad in zip(texts, np.asarray(quads, np.float64).reshape(-1, 4, 2), strict=True):
            said = parse_text(text or _near(gray, (quad + 0.5) / scale - 0.5))
            found |= {said.part} if isinstance(said, PartTag) else set()
            middle = quad.mean(axis=0)
            cv2.fillConvexPoly(small, np.rint(middle + 1.15 * (quad - middle)).astype(np.int32), 255)
    return sorted(found)


def _half(gray: Gray, hidden_px: Sequence[Points]) -> Gray:
    """The photo in half its size, and in no more than that of the search."""
    high, wide = (n // 2 for n in gray.shape)
    if min(high, wide) < QR_MODULES:
        return gray
    half = cv2.resize(gray[: 2 * high, : 2 * wide], (wide, high), interpolation=cv2.INTER_AREA)
    scale = min(1.0, SEARCH_SIDE_PX / max(half.shape))
    small = cv2.resize(half, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR) if scale < 1 else half
    return _covered(np.asarray(small, dtype=np.uint8), hidden_px, scale / 2)


def _covered(small: Gray, hidden_px: Sequence[Points], scale: float) -> Gray:
    """A smaller copy with what is hidden in white."""
    small = small.copy()
    for outline in hidden_px:
        cv2.fillConvexPoly(small, np.rint((outline + 0.5) * scale - 0.5).astype(np.int32), 255)
    return small


def _near(gray: Gray, quad: Points) -> str:
    """Words of one QR square about a place, looked at in full size; empty when it cannot be read."""
    low, high = quad.min(axis=0), quad.max(axis=0)
    room = 0.3 * (high - low).max() + 4
    x0, y0 = np.maximum(low - room, 0).astype(int)
    x1, y1 = np.minimum(high + room, np.array(gray.shape[::-1])).astype(int)
    if x1 - x0 < QR_MODULES or y1 - y0 < QR_MODULES:
        return ""
    crop = gray[y0:y1, x0:x1]
    detector = cv2.QRCodeDetector()
    for side in CLOSE_SIDES_PX:
        zoom = side / max(crop.shape)
        way = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
        try:
            text = str(detector.detectAndDecode(cv2.resize(crop, None, fx=zoom, fy=zoom, interpolation=way))[0])
        except (cv2.error, UnicodeDecodeError):
            text = ""
        if text:
            return text
    return ""


def _patch_mm(size: str) -> Points:
    """Sample points over the QR square and a little of the white around it, (_PATCH, _PATCH, 2), board mm."""
    corner, right = qr_square_mm(size)[:2]
    module = (right[0] - corner[0]) / QR_MODULES
    steps = ((np.arange(_PATCH) + 0.5) / PER_MODULE - _SLACK) * module
    x, y = np.meshgrid(corner[0] + steps, corner[1] + steps)
    return np.stack([x, y], axis=2)


def _project(homography: Points, points: Points) -> Points:
    mapped = cv2.perspectiveTransform(points.reshape(-1, 1, 2), np.asarray(homography, dtype=np.float64))
    return np.asarray(mapped, dtype=np.float64).reshape(-1, 2)


def _inside(px: NDArray[Any], shape: tuple[int, ...]) -> bool:
    return bool(((px >= 0) & (px <= (shape[1] - 1, shape[0] - 1))).all())
