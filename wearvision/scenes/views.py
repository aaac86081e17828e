"""The views that can be drawn: number in, stage out, one file per view."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from wearvision.scenes import (
    face_stage,
    gasket_stage,
    light_stage,
    shadow_stage,
    spots_stage,
    tongue_stage,
    vane_edge_stage,
    vanes_stage,
)  # fmt: skip
from wearvision.scenes.stage import Stage

Draw = Callable[[int, int | None], Stage]
STAGES: Mapping[str, Draw] = {
    "wear-face": face_stage.draw_stage,
    "wear-face-spots": spots_stage.draw_stage,
    "tongue": tongue_stage.draw_stage,
    "gasket-land": gasket_stage.draw_stage,
    "line-light": light_stage.draw_stage,
    "line-light-step": light_stage.draw_stepped,
    "line-light-shadow": shadow_stage.draw_stage,
    "vane-edge": vane_edge_stage.draw_stage,
    "vane-back": vanes_stage.draw_back,
    "vane-front": vanes_stage.draw_front,
}
"""View -> stage of a seed and a picture width in px (None: the view's own)."""
