"""The only place that reads photos: file to upright array, with its digest.

A file is read once; digest and pixels come from the same bytes. Its kind is told by the first bytes, whatever
the name says: JPEG and PNG always, HEIC with the extra `heic`. Whatever can be wrong with a file ends in
`BadInput`, one line. Of its EXIF block only orientation, focal length and time are kept: never position,
maker or serial.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import math
import os
import stat
import threading
import unicodedata
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageFile

from wearvision.errors import BadInput
from wearvision.memory import keep_freed

MAX_PIXELS = 120_000_000
"""A 108 megapixel photo passes; anything larger is refused before it is decoded."""
MAX_BYTES = 256 * 1024 * 1024
Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # Pillow's own gate, set on purpose; it only stops at twice the figure
KEPT_BLOCKS = 2
"""Blocks of memory, 16 MB at most each, that Pillow keeps for the next picture: fresh ones cost a third of a decode."""
Image.core.set_blocks_max(KEPT_BLOCKS)  # type: ignore[attr-defined]  # PILLOW_BLOCKS_MAX of its docs; has no types
keep_freed()

UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What sets a stored picture upright, by EXIF orientation."""

_EXIF_IFD, _ORIENTATION, _TAKEN, _FOCAL, _FOCAL35 = 0x8769, 0x0112, 0x9003, 0x920A, 0xA405
_HEIF_BRANDS = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"}
_OTHER_KINDS = {
    b"GIF8": "a GIF", b"%PDF": "a PDF", b"BM": "a BMP", b"RIFF": "a WebP or a video", b"PK\x03\x04": "a ZIP",
    b"II*\0": "a TIFF or raw file", b"MM\0*": "a TIFF or raw file",
}  # fmt: skip
_AGAIN = "copy it from the camera again, or retake the photo"
_SMALLER = "set the camera to 12 to 50 megapixels"
_QUIET = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class Camera:
    """What tells one camera and lens from another, without maker or serial. Usable as a key.

    Attributes
    ----------
    width_px, height_px : int
        Size as stored, before orientation: the sensor's own frame.
    focal_mm, focal35_mm : float or None
        Focal length, true and as on 36 x 24 mm film; `None` when the file does not say.
    """

    width_px: int
    height_px: int
    focal_mm: float | None
    focal35_mm: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    """One decoded photo, upright.

    Attributes
    ----------
    gray : (H, W) uint8 array, read-only
    sha256 : str
        Digest of the file's bytes, 64 hex digits.
    width_px, height_px : int
        After orientation.
    orientation : int
        The EXIF orientation that was undone, 1 to 8; 1 when there was none.
    camera : Camera
    taken_at : datetime or None
        By the camera's own clock, no time zone.
    """

    gray: NDArray[np.uint8]
    sha256: str
    width_px: int
    height_px: int
    orientation: int
    camera: Camera
    taken_at: datetime | None

    @property
    def focal35_mm(self) -> float | None:
        """Focal length as on 36 x 24 mm film, mm; a whole number in the file, so +-2 % at 26 mm."""
        return self.camera.focal35_mm


def load(path: str | os.PathLike[str]) -> Photo:
    """Read, check and decode one photo in gray.

    Raises
    ------
    BadInput
        For anything that is not a whole, readable JPEG, PNG or (with the extra) HEIC photo.
    """
    return decode(read_bytes(path), Path(path).name)


def decode(data: bytes, name: str) -> Photo:
    """`load` for bytes already at hand, such as an upload; `name` serves the messages only."""
    with _picture(data, name) as picture:
        stored = picture.size
        picture.draft("L", stored)
        into = _decoded_into(picture) if (picture.format, picture.mode) == ("JPEG", "L") else None
        flat = _flat(picture)
        luminance = flat if flat.mode == "L" else flat.convert("L")  # a conversion to its own mode would copy
        exif = _exif(picture)
        orientation = _orientation(exif)
        upright = _upright(luminance, orientation)
        gray = into if into is not None and upright is picture else np.asarray(upright)
    gray.flags.writeable = False
    return Photo(
        gray=gray, sha256=hashlib.sha256(data).hexdigest(), width_px=gray.shape[1], height_px=gray.shape[0],
        orientation=orientation, camera=_camera(stored, exif), taken_at=_time(exif.get(_TAKEN)),
    )  # fmt: skip


def redness(path: str | os.PathLike[str]) -> NDArray[np.uint8]:
    """How much redder, or greener, than gray each pixel is, (H, W) uint8, upright; of a JPEG half as large, as most
    keep their colours.

    80 plus red less the mean of green and blue, or the same of green where that is more: line lasers are red or green.
    A second decode, in colour, for the one view that needs it. A gray photo gives 80 all over.
    """
    with _picture(read_bytes(path), Path(path).name) as picture:
        orientation = _orientation(_exif(picture))
        picture.draft("RGB", (picture.width // 2, picture.height // 2))
        rgb = _rgb(picture)
        red, green = (rgb.convert("L", share) for share in ((1.0, -0.5, -0.5, 80.0), (-0.5, 1.0, -0.5, 80.0)))
        return np.asarray(_upright(ImageChops.lighter(red, green), orientation), dtype=np.uint8)


def lights(path: str | os.PathLike[str]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The photo in its red light and in its blue, (H, W) uint8 each, upright: one decode in colour."""
    with _picture(read_bytes(path), Path(path).name) as picture:
        rgb, orientation = _rgb(picture), _orientation(_exif(picture))
        red, blue = (np.asarray(_upright(rgb.getchannel(k), orientation), dtype=np.uint8) for k in ("R", "B"))
        return red, blue


def camera(path: str | os.PathLike[str]) -> Camera | None:
    """What took a photo, from the file's head alone; `None` when it does not open: decoding will say why."""
    try:
        with _quiet(), Image.open(path, formats=("JPEG", "PNG")) as picture:
            exif, size = _exif_of(picture), picture.size
    except Exception:  # on broken bytes a decoder raises nearly anything
        return None
    return _camera(size, exif)


def colour(path: str | os.PathLike[str], max_side_px: int | None = None) -> NDArray[np.uint8]:
    """Give the photo in colour, for people: upright (H, W, 3) uint8 RGB, read-only.

    With `max_side_px` the long side shrinks to it (it never grows), and a JPEG is decoded small.
    """
    with _picture(read_bytes(path), Path(path).name) as picture:
        share = min(1.0, (max_side_px or math.inf) / max(picture.size))
        size = (max(1, round(picture.width * share)), max(1, round(picture.height * share)))
        picture.draft("RGB", size)
        rgb = _rgb(picture)
        if rgb.size != size:
            rgb = rgb.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)
        pixels = np.asarray(_upright(rgb, _orientation(_exif(picture))))
    pixels.flags.writeable = False
    return pixels


def small_colour(path: str | os.PathLike[str], least_px: int) -> NDArray[np.uint8]:
    """The photo in colour, (H, W, 3) uint8 RGB, upright, in the least size that costs no resampling: a JPEG as its
    decoder shrinks it, all else by whole pixels; its long side stays `least_px` and longer, where the photo's is."""
    with _picture(read_bytes(path), Path(path).name) as picture:
        share = min(1.0, least_px / max(picture.size))
        picture.draft("RGB", (math.ceil(picture.width * share), math.ceil(picture.height * share)))
        rgb = _rgb(picture)
        if (factor := max(rgb.size) // least_px) > 1:
            rgb = rgb.reduce(factor)
        return np.asarray(_upright(rgb, _orientation(_exif(picture))))


def thumbnail(path: str | os.PathLike[str], long_side_px: int) -> NDArray[np.uint8]:
    """Give a small colour picture for overlays and contact sheets; see `colour`."""
    return colour(path, long_side_px)


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """The bytes of a regular file of sensible size.

    Raises
    ------
    BadInput
        For a missing, unreadable, empty or oversized file, a folder, a device.
    """
    name = Path(path).name or str(path)
    try:
        found = Path(path).stat()
        if stat.S_ISDIR(found.st_mode):
            raise BadInput("this is a folder, not a photo", got=name, do="name the photos inside it")
        if not stat.S_ISREG(found.st_mode):
            raise BadInput("this is a device or a pipe, not a photo", got=name, do="save the photo as a file")
        if found.st_size > MAX_BYTES:
            raise BadInput(f"this file is larger than {MAX_BYTES >> 20} MB", got=name, do=_SMALLER)
        data = Path(path).read_bytes()
    except OSError as error:
        raise BadInput(_why_unreadable(error), got=name, do="check the path and your rights") from error
    except ValueError as error:  # a NUL inside the path
        raise BadInput("this is no file name", got=str(path)) from error
    if not data:
        raise BadInput("this file is empty", got=name, do=_AGAIN)
    return data


def _why_unreadable(error: OSError) -> str:
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return "there is no such file"
    if error.errno in (errno.EACCES, errno.EPERM):
        return "you have no right to read this file"
    return f"this file cannot be read ({error.strerror})"


@contextlib.contextmanager
def _picture(data: bytes, name: str) -> Iterator[ImageFile.ImageFile]:
    """Open the bytes and turn whatever goes wrong until the end of the block into `BadInput`."""
    kind = _kind(data, name)
    try:
        with _quiet():
            picture = Image.open(BytesIO(data), formats=(kind,))
        picture.decodermaxblock = MAX_BYTES  # all bytes at once: fed by blocks, what is left of each is copied
        with picture:
            if picture.width * picture.height > MAX_PIXELS:
                raise Image.DecompressionBombError
            if not _ends(kind, data):
                raise OSError("the end of the picture is missing")
            yield picture
    except BadInput:
        raise
    except Image.DecompressionBombError as error:
        raise BadInput(f"more than {MAX_PIXELS // 1_000_000} megapixels", got=name, do=_SMALLER) from error
    except MemoryError as error:
        raise BadInput("not enough memory to open this photo", got=name, do=_SMALLER) from error
    except Exception as error:  # on broken bytes a decoder raises nearly anything, struct.error for one
        raise BadInput("this photo is damaged or cut short", got=name, do=_AGAIN) from error


def printable(name: str) -> str:
    """The name of a file as text that can be written: bytes that are no UTF-8 and control characters spelt out."""
    text = os.fsencode(name).decode("utf-8", "backslashreplace")
    odd = {c for c in text if unicodedata.category(c) in ("Cc", "Zl", "Zp")}
    return text.translate({ord(c): c.encode("unicode_escape").decode("ascii") for c in odd})


def kind_of(start: bytes) -> str:
    """Pillow's format name by a file's first twelve bytes; empty when it is no photo we read."""
    if start.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    return "HEIF" if start[4:8] == b"ftyp" and start[8:12] in _HEIF_BRANDS else ""


def _kind(data: bytes, name: str) -> str:
    kind = kind_of(data)
    if kind == "HEIF":
        _enable_heif(name)
    if kind:
        return kind
    other = next((kind for start, kind in _OTHER_KINDS.items() if data.startswith(start)), "something else")
    raise BadInput(f"a photo must be JPEG, PNG or HEIC, this is {other}", got=name, do="save it as JPEG")


def _enable_heif(name: str) -> None:
    try:
        import pillow_heif
    except ImportError as error:
        raise BadInput(
            "a HEIC photo needs the extra 'heic'", got=name,
            do="run: pip install 'wearvision[heic]', or set the phone to save JPEG (most compatible)",
        ) from error  # fmt: skip
    pillow_heif.register_heif_opener()


def _ends(kind: str, data: bytes) -> bool:
    """Whether the file's own end mark is there: JPEG EOI (ITU-T T.81 B.1.1), PNG IEND (W3C PNG 11.2.5).

    A copy broken off on a memory card often keeps its length and ends in zeros; decoders see pixels in that.
    """
    if kind == "PNG":
        return b"IEND\xae\x42\x60\x82" in data
    at = 2
    while kind == "JPEG" and data[at : at + 1] == b"\xff":
        marker = data[at + 1 : at + 2]
        if marker == b"\xda":  # the picture's own scan, past any thumbnail
            return data.rfind(b"\xff\xd9", at) >= 0  # from the end, where it stands in a whole file
        at += 1 if marker == b"\xff" else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return True  # nothing to look for, or not laid out as expected: the decoder must judge


def _rgb(picture: Image.Image) -> Image.Image:
    """The picture in red, green and blue; a conversion to its own mode would copy."""
    flat = _flat(picture)
    return flat if flat.mode == "RGB" else flat.convert("RGB")


def _flat(picture: Image.Image) -> Image.Image:
    """Eight bits a channel and nothing transparent: 16-bit gray is scaled, alpha laid over white."""
    if picture.mode.startswith("I"):
        return Image.fromarray((np.clip(np.asarray(picture), 0, 65535) // 257).astype(np.uint8))
    if picture.has_transparency_data:
        picture = picture.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture).convert("RGB")
    picture.load()
    return picture


def _decoded_into(picture: ImageFile.ImageFile) -> NDArray[np.uint8]:
    """A gray picture decoded straight into its array: Pillow's own way to an array copies all pixels twice."""
    pixels = np.empty(picture.size[::-1], dtype=np.uint8)
    picture.im = Image.frombuffer("L", picture.size, pixels, "raw", "L", 0, 1).im
    picture.load()
    return pixels


def _upright(picture: Image.Image, orientation: int) -> Image.Image:
    return picture.transpose(UPRIGHT[orientation]) if orientation in UPRIGHT else picture


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Silence Pillow's remarks on odd files; locked, because all threads share the warning filters."""
    with _QUIET, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _exif(picture: Image.Image) -> Mapping[int, Any]:
    """Main and EXIF tags of a decoded picture; empty when the block is garbage, which spoils no pixel."""
    with _quiet():
        return _exif_of(picture)


def _exif_of(picture: Image.Image) -> Mapping[int, Any]:
    tags: dict[int, Any] = {}
    with contextlib.suppress(Exception):  # Pillow's EXIF parser raises nearly anything on garbage
        block = picture.getexif()
        tags.update(block)
        tags.update(block.get_ifd(_EXIF_IFD))
    return tags


def _camera(size: tuple[int, int], exif: Mapping[int, Any]) -> Camera:
    return Camera(
        width_px=size[0], height_px=size[1], focal_mm=_number(exif.get(_FOCAL), 0.1, 5000.0),
        focal35_mm=_number(exif.get(_FOCAL35), 1.0, 5000.0),
    )


def _orientation(exif: Mapping[int, Any]) -> int:
    value = exif.get(_ORIENTATION)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _number(value: Any, low: float, high: float) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if low <= number <= high else None


def _time(value: Any) -> datetime | None:
    try:
        return datetime.strptime(value.strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except (TypeError, ValueError, AttributeError):
        return None
