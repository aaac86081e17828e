"""Photos in colour: small ones, how red each pixel is, and the light of one colour; upright as their greys are."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from wearvision import photos


def turned(orientation: int) -> Image.Exif:
    block = Image.Exif()
    block[0x0112] = orientation
    return block


def plain(kind: str, width: int, height: int) -> bytes:
    """A photo of one colour that lies on its side."""
    out = BytesIO()
    Image.new("RGB", (width, height), (200, 90, 30)).save(out, kind, exif=turned(6))
    return out.getvalue()


def test_colour_shrinks_and_never_grows(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(plain("JPEG", 640, 480))
    small = photos.thumbnail(path, 100)
    assert small.shape == (100, 75, 3)
    assert np.abs(small.astype(int) - (200, 90, 30)).max() <= 4
    assert photos.colour(path, 5000).shape == photos.colour(path).shape == (640, 480, 3)
    assert photos.thumbnail(path, 1).shape == (1, 1, 3)


@pytest.mark.parametrize(("kind", "long"), [("JPEG", 800), ("PNG", 800)])
def test_a_small_colour_picture_costs_no_resampling(tmp_path: Path, kind: str, long: int) -> None:
    """By a power of two in the decoder, by whole pixels else; upright, and never larger than the photo."""
    path = tmp_path / "p"
    path.write_bytes(plain(kind, 3200, 2400))
    small = photos.small_colour(path, 700)
    assert small.shape == (long, long * 3 // 4, 3)
    assert np.abs(small.astype(int) - (200, 90, 30)).max() <= 4
    assert photos.small_colour(path, 9000).shape == (3200, 2400, 3)


def test_a_red_or_a_green_line_is_more_coloured_than_gray_metal(tmp_path: Path) -> None:
    picture = np.full((20, 40, 3), 110, np.uint8)
    picture[5], picture[15] = (250, 90, 80), (80, 240, 90)
    Image.fromarray(picture).save(tmp_path / "a.png")
    coloured = photos.redness(tmp_path / "a.png")
    assert coloured[0, 0] == 80
    assert coloured[5, 0] == 80 + 250 - 85 and coloured[15, 0] == 80 + 240 - 85


@pytest.mark.parametrize("orientation", [1, 6])
def test_redness_of_a_jpeg_is_that_of_its_pixels(tmp_path: Path, orientation: int) -> None:
    """In the middle of each two by two; an odd size, so that the half of it does not come out even."""
    rng = np.random.default_rng(5)
    picture = np.clip(rng.normal(110.0, 6.0, (121, 163, 1)) + np.zeros(3), 0, 255)
    picture[60:66] += [120.0, -30.0, -30.0]
    whole = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    whole.save(tmp_path / "a.jpg", quality=95, subsampling="4:2:0", exif=turned(orientation))
    with Image.open(tmp_path / "a.jpg") as decoded:
        rgb = np.asarray(decoded.convert("RGB"), dtype=float)
    expected = 80 + rgb[..., 0] - rgb[..., 1:].mean(axis=-1)
    coloured = photos.redness(tmp_path / "a.jpg").astype(float)
    coloured = coloured if orientation == 1 else np.rot90(coloured)
    assert coloured.shape == (61, 82)
    inner = expected[:120, :162].reshape(60, 2, 81, 2).mean(axis=(1, 3))
    assert np.abs(coloured[:60, :81] - inner).mean() < 1.5 and coloured[31].mean() == pytest.approx(230.0, abs=4.0)


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("name", ["a.png", "a.jpg"])
def test_lights_are_a_photos_red_and_blue(tmp_path: Path, name: str, orientation: int) -> None:
    blocks = np.random.default_rng(7).integers(0, 256, (4, 6, 3), dtype=np.uint8).repeat(16, axis=0).repeat(16, axis=1)
    Image.fromarray(blocks).save(tmp_path / name, exif=turned(orientation), quality=100)
    red, blue = photos.lights(tmp_path / name)
    colour = photos.colour(tmp_path / name)
    assert np.array_equal(red, colour[..., 0]) and np.array_equal(blue, colour[..., 2])
    assert red.shape == photos.load(tmp_path / name).gray.shape
    upright = blocks if orientation == 1 else np.rot90(blocks, -1)
    assert np.abs(red[8::16, 8::16].astype(int) - upright[8::16, 8::16, 0]).max() <= (3 if name.endswith("jpg") else 0)
