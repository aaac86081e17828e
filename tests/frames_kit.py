"""The committed rendered frames with their truth, and crates made of them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

FRAMES = Path(__file__).parent / "frames"


def truths() -> dict[Path, dict[str, Any]]:
    """Truth of each frame by its photo."""
    found = {}
    for path in sorted(FRAMES.glob("*.json")):
        data = json.loads(path.read_text(encoding="utf-8"))
        if "photo" in data:
            found[FRAMES / data["photo"]] = data
    return found


def make_crate(folder: Path, count: int = 4) -> list[str]:
    """A crate of parts `P-1`, `P-2`, ... with one frame each and its stated facts; returns the tags."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = ["[crate]", 'name = "Trial crate"']
    tags = []
    for number, (photo, truth) in enumerate(list(truths().items())[:count], start=1):
        tag, stated = f"P-{number}", truth["stated"]
        (folder / tag).mkdir()
        shutil.copy(photo, folder / tag / "face.jpg")
        lines += [f'[parts."{tag}"]', f'kind = "{truth["part_kind"]}"']
        lines += [f"{name} = {value}" for name, value in stated["stated"].items()]
        lines += [f'[photos."{tag}/face.jpg"]', f'view = "{truth["view"]}"']
        lines += [f"card_height_mm = {stated['card_height_mm']}", f"check_bar_mm = {stated['check_bar_100_mm']}"]
        lines += [f'card_size = "{truth["card"].get("name", "standard")}"']
        tags.append(tag)
    (folder / "crate.toml").write_text("\n".join(lines), encoding="utf-8")
    return tags


GAUGES = """
[gauges."DG-07"]
kind = "dial depth gauge"
resolution = "0.01 mm"
largest_error = "0.02 mm"
due = "2099-12-31"
[gauges."FG-02"]
kind = "feeler gauge"
resolution = "0.05 mm"
largest_error = "0.01 mm"
due = "2099-12-31"
"""
