"""Photos: whole ones load the same whatever wraps them, and anything else is refused in one line."""

from __future__ import annotations

import hashlib
import os
import struct
import sys
import zlib
from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageOps

from wearvision import photos
from wearvision.errors import BadInput

Gray = NDArray[np.uint8]


def scene(width: int = 96, height: int = 64) -> Gray:
    """No symmetry, smooth enough for JPEG."""
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    return (40 + 1.1 * x + 1.3 * y + 25 * (x > 60) * (y > 30)).clip(0, 255).astype(np.uint8)


def packed(image: Image.Image, kind: str = "PNG", **options: object) -> bytes:
    out = BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def jpeg(**options: object) -> bytes:
    return packed(Image.fromarray(scene()).convert("RGB"), "JPEG", quality=98, **options)


def exif(**tags: object) -> Image.Exif:
    block = Image.Exif()
    names = {"orientation": 0x0112, "maker": 0x010F, "model": 0x0110}
    inner = {"focal35": 0xA405, "focal": 0x920A, "taken": 0x9003, "serial": 0xA431}
    for name, value in tags.items():
        if name in names:
            block[names[name]] = value
        else:
            block.get_ifd(0x8769)[inner[name]] = value
    return block


def refused(data: bytes) -> str:
    with pytest.raises(BadInput) as caught:
        photos.decode(data, "a.jpg")
    line = caught.value.line()
    assert "\n" not in line
    assert "a.jpg" in line
    return line


JPEG = jpeg()
PNG = packed(Image.fromarray(scene()))


# ---- whole photos


def test_pixels_digest_and_size_come_from_the_same_bytes(tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    path.write_bytes(PNG)
    photo = photos.load(path)
    assert np.array_equal(photo.gray, scene())
    assert photo.sha256 == hashlib.sha256(PNG).hexdigest()
    assert (photo.width_px, photo.height_px) == (96, 64)
    assert photo.orientation == 1
    assert photo.taken_at is photo.focal35_mm is None
    with pytest.raises(ValueError, match="read-only"):
        photo.gray[0, 0] = 1


def test_gray_of_a_jpeg_is_its_luminance_plane() -> None:
    """Oracle: OpenCV's own gray decode, another decoder front end."""
    import cv2

    theirs = cv2.imdecode(np.frombuffer(JPEG, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert np.abs(photos.decode(JPEG, "p").gray.astype(int) - theirs).max() <= 1


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_every_orientation_gives_the_same_upright_picture(
    orientation: int, kind: str, tmp_path: Path
) -> None:
    """Oracle: Pillow's exif_transpose must see the same upright picture in the same bytes."""
    back = {6: 8, 8: 6}.get(orientation, orientation)  # the transform that undoes the undoing
    stored = Image.fromarray(scene())
    if back in photos.UPRIGHT:
        stored = stored.transpose(photos.UPRIGHT[back])
    options = {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    data = packed(stored, kind, exif=exif(orientation=orientation), **options)
    photo = photos.decode(data, "p")
    assert photo.orientation == orientation
    assert photo.gray.shape == (64, 96)
    assert np.abs(photo.gray.astype(int) - scene()).max() <= (3 if kind == "JPEG" else 0)
    with Image.open(BytesIO(data)) as theirs:
        assert np.array_equal(photo.gray, np.asarray(ImageOps.exif_transpose(theirs).convert("L")))
    assert (photo.camera.width_px, photo.camera.height_px) == stored.size
    path = tmp_path / "p"
    path.write_bytes(data)
    assert np.abs(photos.colour(path)[..., 1].astype(int) - scene()).max() <= 3


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_impossible_orientation_is_ignored(orientation: int) -> None:
    photo = photos.decode(packed(Image.fromarray(scene()), exif=exif(orientation=orientation)), "p")
    assert photo.orientation == 1
    assert np.array_equal(photo.gray, scene())


def test_the_camera_is_known_by_its_figures_alone() -> None:
    block = exif(
        focal35=26, focal=5.7, taken="2025:03:04 05:06:07", maker="Nobody", model="None", serial="S3R1AL"
    )
    block.get_ifd(0x8825)[1] = "N"  # GPS latitude reference
    photo = photos.decode(jpeg(exif=block), "p")
    assert photo.camera == photos.Camera(width_px=96, height_px=64, focal_mm=5.7, focal35_mm=26.0)
    assert hash(photo.camera)
    assert photo.taken_at == datetime(2025, 3, 4, 5, 6, 7)
    kept = repr(photo)
    assert not any(word in kept for word in ("Nobody", "S3R1AL", "None", "'N'"))


@pytest.mark.parametrize(
    "tags",
    [
        {"focal35": 0},  # 0 = unknown (EXIF tag 0xA405)
        {"taken": "0000:00:00 00:00:00"},
        {"taken": "yesterday", "focal": 0.0},
    ],
)
def test_unknown_stays_unknown(tags: dict[str, object]) -> None:
    photo = photos.decode(jpeg(exif=exif(**tags)), "p")
    assert photo.camera.focal_mm is photo.focal35_mm is photo.taken_at is None


MODES: dict[str, Callable[[], bytes]] = {
    "palette": lambda: packed(Image.fromarray(scene()).convert("P")),
    "rgb": lambda: packed(Image.fromarray(scene()).convert("RGB")),
    "16-bit": lambda: packed(Image.fromarray(scene().astype(np.uint16) * 257)),
    "opaque rgba": lambda: packed(Image.fromarray(scene()).convert("RGBA")),
    "opaque gray + alpha": lambda: packed(Image.fromarray(scene()).convert("LA")),
    "progressive": lambda: jpeg(progressive=True),
    "gray jpeg": lambda: packed(Image.fromarray(scene()), "JPEG", quality=98),
    "4:4:4": lambda: jpeg(subsampling=0),
    "cmyk": lambda: packed(Image.fromarray(scene()).convert("CMYK"), "JPEG", quality=98),
    "two pictures in one": lambda: packed(
        Image.fromarray(scene()), "MPO", quality=98, save_all=True, append_images=[Image.new("L", (96, 64))]
    ),
    "trailer after the end": lambda: JPEG + b"\xff\xda" + bytes(5000),
    "own thumbnail": lambda: jpeg(exif=_with_thumbnail()),
}


def _with_thumbnail() -> bytes:
    return exif(orientation=1).tobytes() + packed(Image.new("L", (16, 16)), "JPEG")


@pytest.mark.parametrize("name", MODES)
def test_every_pixel_format_gives_the_same_gray(name: str) -> None:
    gray = photos.decode(MODES[name](), "p").gray
    assert gray.dtype == np.uint8
    assert np.abs(gray.astype(int) - scene()).max() <= 5
    assert abs(gray.mean() - scene().mean()) < 1


def test_one_bit_is_black_and_white() -> None:
    gray = photos.decode(packed(Image.fromarray(scene() > 128)), "p").gray
    assert np.array_equal(gray, np.where(scene() > 128, 255, 0))


@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_transparent_is_white(mode: str) -> None:
    image = Image.fromarray(scene()).convert(mode)
    image.putalpha(Image.fromarray(np.where(scene() > 128, 255, 0).astype(np.uint8)))
    gray = photos.decode(packed(image), "p").gray
    assert np.array_equal(gray, np.where(scene() > 128, scene(), 255))


def test_garbage_in_the_exif_block_spoils_no_pixel() -> None:
    lying = b"MM\0*\0\0\0\x08\xff\xff" + b"\x01" * 60
    for block in (b"garbage", b"II*\0\xff\xff\xff\xff", lying):
        photo = photos.decode(jpeg(exif=b"Exif\0\0" + block), "p")
        assert np.array_equal(photo.gray, photos.decode(JPEG, "p").gray)
        assert photo.orientation == 1


def test_a_48_megapixel_photo_loads() -> None:
    photo = photos.decode(packed(Image.new("L", (8064, 6048), 90), "JPEG"), "p")
    assert photo.gray.shape == (6048, 8064)


# ---- refused


@pytest.mark.parametrize("tenth", range(10))
@pytest.mark.parametrize("data", [JPEG, PNG, jpeg(progressive=True)], ids=["jpeg", "png", "progressive"])
def test_a_photo_cut_at_any_tenth_is_refused(data: bytes, tenth: int) -> None:
    part = data[: len(data) * tenth // 10]
    if part:
        refused(part)


def test_a_jpeg_whose_tail_is_zeros_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """An unfinished copy keeps its length, or more; the decoder alone takes that for a picture."""
    noise = np.random.default_rng(1).integers(0, 255, (320, 480), dtype=np.uint8)
    whole = packed(Image.fromarray(noise), "JPEG", quality=92, optimize=True)
    broken = whole[: len(whole) // 2] + bytes(len(whole))
    assert "cut short" in refused(broken)
    monkeypatch.setattr(photos, "_ends", lambda kind, data: True)
    assert not np.array_equal(photos.decode(broken, "p").gray, photos.decode(whole, "p").gray)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"GIF89a" + bytes(50), "GIF"),
        (b"%PDF-1.7 ...", "PDF"),
        (b"BM" + bytes(60), "BMP"),
        (b"II*\0" + bytes(60), "TIFF"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "WebP"),
        (b"width,height\n3,4\n", "something else"),
        (b"\x00", "something else"),
        (b"\xff\xd8\xff", "damaged"),
        (b"\x89PNG\r\n\x1a\n", "damaged"),
    ],
)
def test_other_kinds_are_named(data: bytes, word: str) -> None:
    assert word in refused(data)


def png_claiming(width: int, height: int) -> bytes:
    """A PNG with an honest header and hardly any data."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    body = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize("side", [10_955, 16_000, 32_768, 2**31 - 1])
def test_a_bomb_is_refused_before_decoding(side: int) -> None:
    assert side * side > photos.MAX_PIXELS
    assert "120 megapixels" in refused(png_claiming(side, side))


def test_just_under_the_limit_is_judged_by_its_content() -> None:
    assert "damaged" in refused(png_claiming(10_954, 10_954))


def heic_head() -> bytes:
    return struct.pack(">I", 24) + b"ftypheic" + bytes(4) + b"mif1heic" + bytes(200)


def test_heic_without_the_extra_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    line = refused(heic_head())
    assert "wearvision[heic]" in line
    assert "JPEG" in line


def test_heic_with_the_extra() -> None:
    """The HEIC reader turns the picture by its own box; the EXIF orientation must not turn it again."""
    heif = pytest.importorskip("pillow_heif", reason="the extra heic is not installed")
    heif.register_heif_opener()
    block = exif(orientation=6, focal35=26)
    data = packed(Image.fromarray(scene()).convert("RGB"), "HEIF", quality=95, exif=block)
    photo = photos.decode(data, "p.heic")
    assert (photo.focal35_mm, photo.orientation) == (26.0, 1)
    assert np.abs(photo.gray.astype(int) - scene()).max() <= 4
    refused(data[: len(data) // 2])


def test_paths_that_are_no_photo(tmp_path: Path) -> None:
    empty = tmp_path / "empty.jpg"
    empty.touch()
    pipe = tmp_path / "pipe.jpg"
    os.mkfifo(pipe)
    cases = {
        empty: "empty",
        tmp_path: "folder",
        tmp_path / "none.jpg": "no such file",
        empty / "p.jpg": "no such file",
        pipe: "pipe",
        tmp_path / ("x" * 300): "cannot be read",
        Path("a\0b"): "no file name",
    }
    for path, word in cases.items():
        for read in (photos.load, photos.colour):
            with pytest.raises(BadInput, match=word):
                read(path)


def test_no_right_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Denied by hand: a test may run as root, whom no file mode stops."""

    def deny(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "p.jpg"
    path.write_bytes(JPEG)
    monkeypatch.setattr(Path, "read_bytes", deny)
    with pytest.raises(BadInput, match="no right to read"):
        photos.load(path)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    with path.open("wb") as file:
        file.truncate(photos.MAX_BYTES + 1)  # sparse: no disk used
    with pytest.raises(BadInput, match="larger than 256 MB"):
        photos.load(path)


def test_broken_colour_is_refused_too(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(JPEG[:-40])
    with pytest.raises(BadInput, match="damaged"):
        photos.thumbnail(path, 20)


# ---- anything at all


def loads_or_is_refused(data: bytes) -> None:
    try:
        photo = photos.decode(data, "p")
    except BadInput:  # the only error allowed; any other fails the test
        return
    assert photo.gray.ndim == 2
    assert photo.gray.size == photo.width_px * photo.height_px <= photos.MAX_PIXELS


@settings(max_examples=150)
@given(st.sampled_from([b"", JPEG[:3], JPEG[:24], PNG[:8], PNG[:33], heic_head()[:12]]), st.binary())
def test_random_bytes_never_crash(head: bytes, tail: bytes) -> None:
    loads_or_is_refused(head + tail)


@settings(max_examples=250)
@given(
    st.sampled_from([JPEG, PNG, jpeg(exif=exif(orientation=6, focal35=26, taken="2025:03:04 05:06:07"))]),
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_flipped_bytes_never_crash(data: bytes, flips: list[tuple[int, int]]) -> None:
    broken = bytearray(data)
    for at, value in flips:
        broken[at % min(len(broken), 1200)] ^= value
    loads_or_is_refused(bytes(broken))
