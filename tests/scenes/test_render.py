"""One tiny path-traced scene, where the tracer is installed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearvision.scenes.chance import draw_scene
from wearvision.scenes.face_stage import face_stage
from wearvision.scenes.files import is_done, write_scene
from wearvision.scenes.lens import inside, project


def test_a_tiny_scene_lands_where_the_geometry_says(tmp_path: Path) -> None:
    pytest.importorskip("mitsuba", reason="the path tracer of the extra 'scenes' is not installed")
    from PIL import Image

    scene = draw_scene(9004, 320)
    record = write_scene(face_stage(scene), tmp_path, 1)
    assert is_done(tmp_path, scene.name)
    mask = np.asarray(Image.open(tmp_path / f"{scene.name}_mask.png"))
    assert mask.shape == (240, 320)
    middle = project(scene.camera, np.array([[scene.card.x_mm, scene.card.y_mm, scene.card.printed_mm]]))[0]
    assert mask[round(middle[1]), round(middle[0])] == 7
    radius = (scene.part.inner_mm + scene.part.outer_mm) / 2
    angles = np.radians(np.arange(0, 360, 10))
    ring = np.column_stack([radius * np.cos(angles), radius * np.sin(angles), 0 * angles])
    px = project(scene.camera, ring)
    px = px[inside(scene.camera, px)]
    assert len(px) > 15
    column, row = px.round().astype(int).T
    assert np.isin(mask[row, column], (1, 2, 6, 11)).mean() > 0.9
    assert [f["kind"] for f in record["findings"]].count("groove") == len(scene.part.grooves)
