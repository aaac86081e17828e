"""What a bench keeps of cards and cameras."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from wearvision.app.bench import camera_key, keep_camera, keep_print, kept, kept_in, orientation_map
from wearvision.app.shop import open_shop
from wearvision.errors import BadInput
from wearvision.measure.calibrate import Calibration, Evidence
from wearvision.measure.lens import Lens
from wearvision.photos import UPRIGHT, Camera

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def calibration(k1: float) -> Calibration:
    lens = Lens(mean=np.array([8.0, k1, 1999.5, 1499.5, 0.0]), covariance=np.eye(5), size_px=(4000, 3000), sigma_px=0.1)
    return Calibration(lens=lens, evidence=Evidence(photos=8, gain=2.0, gain_se=0.3, better=8, strain=1.0))


def test_readings_of_both_bars_are_kept_by_serial_and_the_latest_holds(tmp_path: Path) -> None:
    with open_shop(tmp_path / "data", create=True) as shop:
        keep_print(shop, "k7q2", 100.3, 99.8, 0.03, AT)
        keep_print(shop, "K7Q2", 100.2, 99.9, 0.02, AT)
        check = kept(shop).prints["K7Q2"]
        assert (check.across_mm, check.down_mm) == (100.2, 99.9)
        assert check.u_mm == pytest.approx(np.hypot(0.02 / np.sqrt(3), 0.015))
        assert check.stretch == pytest.approx(np.log(100.2 / 99.9) / 2)
        assert not list(shop.ledger.verify())
    assert kept_in(tmp_path / "data").prints.keys() == {"K7Q2"}
    assert kept_in(tmp_path / "none").prints == {}


@pytest.mark.parametrize(("serial", "bar", "error", "says"), [
    ("no serial!", 100.0, 0.03, "card serial"), ("K7", 25.4, 0.03, "check bar"), ("K7", 100.0, 0.0, "caliper"),
])  # fmt: skip
def test_what_cannot_be_a_reading_is_refused(tmp_path: Path, serial: str, bar: float, error: float, says: str) -> None:
    with open_shop(tmp_path / "data", create=True) as shop, pytest.raises(BadInput, match=says):
        keep_print(shop, serial, bar, 100.0, error, AT)


def test_a_calibration_is_kept_once_and_comes_back_whole(tmp_path: Path) -> None:
    with open_shop(tmp_path / "data", create=True) as shop:
        for k1 in (0.01, 0.01, 0.02):
            keep_camera(shop, "a", calibration(k1), AT)
        events = list(shop.ledger.chain.events(kind="camera"))
        assert [e.payload["lens"]["mean"][1] for e in events] == [0.01, 0.02]
        assert events[0].payload["evidence"]["better"] == 8
        lens = kept(shop).lenses["a"]
    np.testing.assert_array_equal(lens.mean, calibration(0.02).lens.mean)
    assert lens.size_px == (4000, 3000)


def test_a_camera_is_told_without_maker_or_serial() -> None:
    assert camera_key(Camera(width_px=4000, height_px=3000, focal_mm=5.6, focal35_mm=26.0)) == "4000x3000-5.6-26"
    assert camera_key(Camera(width_px=4000, height_px=3000, focal_mm=None, focal35_mm=None)) == "4000x3000-?-?"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_moves_pixels_as_the_decoder_does(orientation: int) -> None:
    """Pillow's transpose is the reference: one bright pixel."""
    stored = np.zeros((5, 7), dtype=np.uint8)
    stored[1, 5] = 255
    picture = Image.fromarray(stored)
    turned = np.asarray(picture.transpose(UPRIGHT[orientation]) if orientation in UPRIGHT else picture)
    matrix, shift, size = orientation_map(orientation, (7, 5))
    y, x = np.argwhere(turned)[0]
    np.testing.assert_allclose(matrix @ [5.0, 1.0] + shift, [x, y])
    assert size == (turned.shape[1], turned.shape[0])


def test_photos_of_a_card_use_what_is_kept_of_it(tmp_path: Path) -> None:
    """A card printed 1 % large across and true down, photographed square: lengths follow the caliper, both ways."""
    from io import BytesIO

    from wearvision.app.bench import Bench
    from wearvision.app.measuring import measure_photo
    from wearvision.cards.printing import card_png
    from wearvision.measure.prior import PrintCheck
    from wearvision.stated import Stated

    drawn = Image.open(BytesIO(card_png(0, "standard", serial="K7Q2", view="wear-face"))).convert("L")
    drawn.thumbnail((1100, 1100))
    wide = drawn.resize((round(1.01 * drawn.width), drawn.height), Image.Resampling.LANCZOS)
    for name, card in (("true.png", drawn), ("wide.png", wide)):
        photo = Image.new("L", (1600, 1200), 120)
        photo.paste(card, (200, 150))
        photo.save(tmp_path / name)

    def scale(name: str, bench: Bench) -> float:
        public = measure_photo(tmp_path / name, Stated(card_height_mm=-0.3), bench=bench).public
        assert public["scale"]["card_serial"] == "K7Q2"
        return float(public["scale"]["mm_per_px"]["value"])

    real = scale("true.png", Bench(prints={"K7Q2": PrintCheck(across_mm=100.0, down_mm=100.0)}))
    wider = Bench(prints={"K7Q2": PrintCheck(across_mm=101.0, down_mm=100.0)})
    assert scale("wide.png", wider) == pytest.approx(real, rel=0.0015)
    assert scale("wide.png", Bench()) < 0.997 * real
    assert scale("wide.png", Bench(prints={"XX": wider.prints["K7Q2"]})) == scale("wide.png", Bench())


def test_the_command_keeps_a_check(tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from wearvision.cli import app

    data = str(tmp_path / "data")
    words = ["card", "--serial", "k7q2", "--check", "100.12", "99.95", "--data", data, "--json"]
    told = CliRunner().invoke(app, words)
    assert told.exit_code == 0
    assert '"serial":"K7Q2"' in told.output
    assert kept_in(tmp_path / "data").prints["K7Q2"].down_mm == 99.95
