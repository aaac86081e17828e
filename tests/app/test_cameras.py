"""First pass over a crate: cameras are calibrated once, the same way, whoever does the work."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.measure.drawn_board import STANDARD, Look, draw
from wearvision.app.bench import NOTHING_KEPT, camera_key
from wearvision.app.cameras import Looked, look_for_cameras
from wearvision.crates.crate import read_crate
from wearvision.crates.journal import Journal
from wearvision.photos import camera

K1 = 0.05


@pytest.fixture(scope="module")
def crate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six photos of one camera, every second stored on its side, and one of another camera."""
    folder = tmp_path_factory.mktemp("crate") / "C-1"
    folder.mkdir()
    rng = np.random.default_rng(3)
    for k in range(6):
        look = Look(
            tilt_deg=20.0 + 2 * k, tilt_axis_deg=60.0 * k, roll_deg=37.0 * k, k1=K1, square_px=92.0,
            shift_px=(float(rng.uniform(-150, 150)), float(rng.uniform(-100, 100))),
        )  # fmt: skip
        exif = Image.Exif()
        exif[274] = 3 if k % 2 else 1
        Image.fromarray(draw(STANDARD, look, seed=k)).save(folder / f"{k}.jpg", quality=95, exif=exif)
    small = draw(STANDARD, replace(Look(), size_px=(800, 600), square_px=45.0))
    Image.fromarray(small).save(folder / "other.jpg")
    return folder.parent


def looked(crate: Path, out: Path, workers: int) -> Looked:
    with Journal(out) as journal:
        return look_for_cameras(read_crate(crate).photos, journal, workers=workers, limit_s=60.0, again=False)


def test_a_crate_calibrates_its_camera_and_does_it_once(crate: Path, tmp_path: Path) -> None:
    first = looked(crate, tmp_path / "a", 2)
    key = "1200x900-?-?"
    assert set(first.calibrations) == {key}
    assert first.cameras == {key, "800x600-?-?"}
    assert first.calibrations[key].lens.mean[1] == pytest.approx(K1, abs=0.02)
    assert first.calibrations[key].evidence.convincing
    assert (first.end.fresh, first.end.kept) == (6, 0)
    again, alone = looked(crate, tmp_path / "a", 2), looked(crate, tmp_path / "b", 1)
    assert (again.end.fresh, again.end.kept) == (0, 6)
    for other in (again, alone):
        assert other.bench(NOTHING_KEPT).record() == first.bench(NOTHING_KEPT).record()


def test_a_camera_is_known_from_the_head_of_the_file(crate: Path) -> None:
    found = camera(crate / "C-1" / "1.jpg")
    assert found is not None
    assert camera_key(found) == "1200x900-?-?"
    assert camera(crate / "C-1" / "missing.jpg") is None
