"""The demo crate: photos of invented parts from an invented shop, good ones and ones to retake."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.scenes.chance import draw_lights, draw_part, draw_shot
from wearvision.scenes.face_stage import face_stage
from wearvision.scenes.files import photo_of, sha256_of
from wearvision.scenes.phone import save_jpeg
from wearvision.scenes.placing import aim_at_part, place_camera, place_card
from wearvision.scenes.spec import Card, Part, Scene
from wearvision.scenes.stage import Stage
from wearvision.scenes.views import STAGES

CRATE_NAME = "Fennick Dock pump bench, crate 7"
WIDTH_PX = 4000
QUALITY, NOISE = 93, 1.0
"""As phones save: a file of 3 to 5 MB for 12 megapixels."""


@dataclass(frozen=True, kw_only=True)
class DemoPart:
    """One part of the crate: its tag, the number it is drawn from and its outer face diameter."""

    tag: str
    kind: str
    seed: int
    outer_diameter_mm: float
    worn: bool = True


@dataclass(frozen=True, kw_only=True)
class DemoPhoto:
    """One photo. ``fault`` is empty, ``no-card``, ``blur`` or ``tilt``; ``label`` says if the card has one."""

    tag: str
    file: str
    seed: int
    fault: str = ""
    label: bool = True
    where: str = "beside"
    height_mm: float = 0.0
    whole: bool = True

    @property
    def name(self) -> str:
        """Path inside the crate."""
        return f"{self.tag}/{self.file}"


@dataclass(frozen=True, kw_only=True)
class ViewPhoto:
    """One photo of another view, drawn by its number."""

    name: str
    view: str
    seed: int

    def stage(self) -> Stage:
        """What is drawn."""
        stage = STAGES[self.view](self.seed, WIDTH_PX)
        kind = VIEW_PARTS[self.name.partition("/")[0]]
        return replace(stage, part_kind=kind, shot=replace(stage.shot, quality=QUALITY, noise=NOISE, motion_px=0.0))


PARTS = (
    DemoPart(tag="C-1042", kind="casing", seed=7101, outer_diameter_mm=242.5),
    DemoPart(tag="I-2207", kind="impeller", seed=7102, outer_diameter_mm=186.0),
    DemoPart(tag="B-0331", kind="box-cover", seed=7124, outer_diameter_mm=214.0),
    DemoPart(tag="S-1188", kind="side-plate", seed=7114, outer_diameter_mm=198.4),
    DemoPart(tag="C-1057", kind="casing", seed=7105, outer_diameter_mm=228.0, worn=False),
)
PHOTOS = (
    DemoPhoto(tag="C-1042", file="face_a.jpg", seed=1),
    DemoPhoto(tag="C-1042", file="face_b.jpg", seed=2, whole=False),
    DemoPhoto(tag="C-1042", file="face_c.jpg", seed=3, fault="blur"),
    DemoPhoto(tag="I-2207", file="face_a.jpg", seed=4),
    DemoPhoto(tag="I-2207", file="face_b.jpg", seed=5, height_mm=-6.0),
    DemoPhoto(tag="I-2207", file="face_c.jpg", seed=6, fault="no-card"),
    DemoPhoto(tag="B-0331", file="face_a.jpg", seed=7),
    DemoPhoto(tag="B-0331", file="face_b.jpg", seed=8, label=False),
    DemoPhoto(tag="B-0331", file="face_c.jpg", seed=9, fault="tilt"),
    DemoPhoto(tag="S-1188", file="face_a.jpg", seed=10),
    DemoPhoto(tag="S-1188", file="face_b.jpg", seed=11, whole=False),
    DemoPhoto(tag="C-1057", file="face_a.jpg", seed=12),
    DemoPhoto(tag="C-1057", file="face_b.jpg", seed=13),
)


VIEW_PARTS = {"C-1063": "casing", "I-2231": "impeller", "I-2246": "impeller"}
"""Parts that are photographed in other views than their wear face."""
VIEW_PHOTOS = (
    ViewPhoto(name="C-1063/land.jpg", view="gasket-land", seed=7403),
    ViewPhoto(name="C-1063/tongue.jpg", view="tongue", seed=2214),
    ViewPhoto(name="C-1063/line.jpg", view="line-light", seed=9778),
    ViewPhoto(name="I-2231/back.jpg", view="vane-back", seed=7004),
    ViewPhoto(name="I-2231/vane.jpg", view="vane-edge", seed=210),
    ViewPhoto(name="I-2246/front.jpg", view="vane-front", seed=7076),
)


def demo_part(demo: DemoPart) -> Part:
    """The part's shape and look."""
    rng = np.random.default_rng([30, demo.seed])
    wear = "worn" if demo.worn else "clean"
    return draw_part(rng, demo.seed, demo.kind, wear, demo.outer_diameter_mm / 2)


def demo_scene(photo: DemoPhoto) -> Scene:
    """The scene of one demo photo."""
    part = demo_part(next(p for p in PARTS if p.tag == photo.tag))
    rng = np.random.default_rng([31, photo.seed])
    turn = float(rng.uniform(0, 360))
    card = _card(rng, part, photo, turn)
    steep = {"tilt": 52.0}.get(photo.fault, float(rng.uniform(2, 22)))
    points = aim_at_part(part, card, None if photo.whole else 75.0, with_card=photo.fault != "no-card")
    camera = place_camera(rng, card, turn, WIDTH_PX, lambda _: points, steep, f35_mm=26)
    lights, room = draw_lights(rng)
    shot = replace(draw_shot(rng), motion_px=0.0, noise=NOISE, quality=QUALITY, sharpen=0.4)
    if photo.fault == "blur":
        shot = replace(shot, defocus_px=5.5, motion_px=7.0)
    return Scene(
        name=Path(photo.file).stem,
        seed=photo.seed,
        view="wear-face",
        part=part,
        card=card,
        lights=lights,
        room=replace(room, fill=max(0.6, room.fill)),
        camera=camera,
        shot=shot,
    )


def _card(rng: np.random.Generator, part: Part, photo: DemoPhoto, turn_deg: float) -> Card:
    """The shop's one standard card, print checked at 100.0 mm; far off where it was forgotten."""
    card = place_card(rng, part, turn_deg, "standard", photo.where)
    card = replace(card, serial="K7Q2M4" if photo.label else "", print_scale=1.0, error_mm=0.0)
    card = replace(card, height_mm=photo.height_mm)
    if photo.fault == "no-card":
        angle = math.radians(turn_deg)
        card = replace(card, x_mm=700 * math.cos(angle), y_mm=700 * math.sin(angle))
    return card


def write_crate(out: Path, samples: int) -> None:
    """Draw the crate into ``out/crate`` with ``crate.toml``, and ``out/truth.json`` beside it.

    A photo that is there already, and whose record in ``truth.json`` has its fingerprint, is kept.
    """
    crate = out / "crate"
    crate.mkdir(parents=True, exist_ok=True)
    truth_path = out / "truth.json"
    truth: dict[str, Any] = json.loads(truth_path.read_text("utf-8")) if truth_path.exists() else {"photos": {}}
    tracer = None
    drawn: list[tuple[str, str, Callable[[], Stage]]] = [
        *((p.name, p.fault, partial(_face_stage, p)) for p in PHOTOS), *((p.name, "", p.stage) for p in VIEW_PHOTOS)
    ]
    for name, fault, draw in drawn:
        path = crate / name
        known = truth["photos"].get(name, {}).get("sha256")
        if path.exists() and known == sha256_of(path):
            continue
        if tracer is None:
            from wearvision.scenes.render import load_tracer

            tracer = load_tracer()
        path.parent.mkdir(exist_ok=True)
        stage = draw()
        pixels, _, record = photo_of(stage, samples, name, tracer)
        save_jpeg(path, pixels, stage.camera, stage.shot.quality)
        truth["photos"][name] = {"sha256": sha256_of(path), "retake_expected": fault, **record}
        truth_path.write_text(json.dumps(truth, separators=(",", ":")) + "\n", encoding="utf-8")
        print(f"{name}: {path.stat().st_size / 1e6:.1f} MB", file=sys.stderr, flush=True)
    (crate / "crate.toml").write_text(crate_toml(), encoding="utf-8")


def _face_stage(photo: DemoPhoto) -> Stage:
    return face_stage(demo_scene(photo))


def crate_toml() -> str:
    """Stated facts of the crate, as a fitter would write them."""
    lines = ["[crate]", f'name = "{CRATE_NAME}"', "check_bar_mm = 100.0", ""]
    for demo in PARTS:
        part = demo_part(demo)
        lines += [
            f'[parts."{demo.tag}"]',
            f'kind = "{demo.kind}"',
            f"face_inner_diameter_mm = {2 * part.inner_mm:.1f}",
            f"face_outer_diameter_mm = {2 * part.outer_mm:.1f}",
            "",
        ]
    for photo in PHOTOS:
        lines += [f'[photos."{photo.name}"]', 'view = "wear-face"', f"card_height_mm = {photo.height_mm:.1f}", ""]
    for tag, kind in VIEW_PARTS.items():
        lines += [f'[parts."{tag}"]', f'kind = "{kind}"', ""]
    for shown in VIEW_PHOTOS:
        stage = shown.stage()
        lines += [
            f'[photos."{shown.name}"]', f'view = "{shown.view}"', f"card_height_mm = {stage.card.height_mm:.1f}",
            f'card_size = "{stage.card.name}"', f"check_bar_mm = {100 * stage.card.print_scale:.2f}",
            *(f"{name} = {size:g}" for name, size in stage.truth.stated().items()), "",
        ]  # fmt: skip
    return "\n".join(lines)
