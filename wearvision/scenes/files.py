"""One stage to files: photo, truth record and mask, written so that a stopped run can go on."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wearvision.scenes.phone import develop, save_jpeg
from wearvision.scenes.record import truth_record
from wearvision.scenes.stage import CARD, Stage


def is_done(folder: Path, name: str) -> bool:
    """Whether a scene's files are complete (the record is written last)."""
    return all((folder / f"{name}{end}").exists() for end in (".jpg", "_mask.png", ".json"))


def photo_of(
    stage: Stage, samples: int, photo_name: str, tracer: Any = None
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]:
    """RGB photo (H, W, 3), mask (H, W) and truth record of a stage."""
    from wearvision.scenes.render import trace

    traced = trace(stage, samples, tracer)
    mask = stage.truth.paint(traced.codes, traced.hit_mm)
    photo = develop(stage, traced.light, mask == CARD)
    return photo, mask, truth_record(stage, mask, photo_name)


def write_scene(stage: Stage, folder: Path, samples: int, tracer: Any = None) -> dict[str, Any]:
    """Draw a stage and write ``NAME.jpg``, ``NAME_mask.png`` and ``NAME.json``; returns the record."""
    folder.mkdir(parents=True, exist_ok=True)
    photo, mask, record = photo_of(stage, samples, f"{stage.name}.jpg", tracer)
    save_jpeg(folder / f"{stage.name}.jpg", photo, stage.camera, stage.shot.quality)
    Image.fromarray(mask).save(folder / f"{stage.name}_mask.png", optimize=True)
    partial = folder / f".{stage.name}.json.part"
    partial.write_text(json.dumps(record, separators=(",", ":")) + "\n", encoding="utf-8")
    partial.replace(folder / f"{stage.name}.json")
    return record


def sha256_of(path: Path) -> str:
    """Fingerprint of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def write_registry(folder: Path) -> None:
    """List the fingerprint of every other file of a folder in its ``registry.json``."""
    names = sorted(p.name for p in folder.iterdir() if p.suffix in (".jpg", ".png") or p.name.startswith("face_"))
    prints = {name: sha256_of(folder / name) for name in names}
    (folder / "registry.json").write_text(json.dumps(prints, indent=1) + "\n", encoding="utf-8")
