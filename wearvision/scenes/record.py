"""The truth record of a photo, ready for JSON: the same form for every view."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.lens import camera_matrix, mm_per_px, project
from wearvision.scenes.stage import Codes, Stage

Array = NDArray[np.float64]


def truth_record(stage: Stage, mask: Codes, photo_name: str) -> dict[str, Any]:
    """Everything known about the photo."""
    camera, card, truth = stage.camera, stage.card, stage.truth
    at = truth.at_mm(camera)
    return {
        "photo": photo_name,
        "part_kind": stage.part_kind,
        "view": stage.view,
        "mm_per_px": round(mm_per_px(camera, at), 6),
        "at_px": project(camera, np.array([[*at, 0.0]]))[0].round(2).tolist(),
        "plane_points": plane_points(stage),
        "camera": {
            "K": camera_matrix(camera).round(2).tolist(),
            "distortion_k1_k2": [round(camera.k1, 5), round(camera.k2, 5)],
            "tilt_deg": round(camera.tilt_deg, 2),
        },
        "card": {
            "name": card.name,
            "square_mm": card.square_mm,
            "label": bool(card.serial),
            "print_scale": card.print_scale,
            "support": card.support,
            "stated_height_mm": card.height_mm,
            "true_height_mm": round(card.printed_mm, 3),
            "corners_px": card_corners_px(stage).round(2).tolist(),
        },
        "findings": [dict(found) for found in truth.findings(camera, mask)],
        "summary": dict(truth.summary()),
        "stated": {
            "card_height_mm": card.height_mm,
            "check_bar_100_mm": round(100.0 * card.print_scale, 2),
            "stated": dict(truth.stated()),
        },
    }


def plane_points(stage: Stage) -> list[dict[str, Any]]:
    """Four points of the plane: mm and pixel."""
    points = stage.truth.plane_mm(stage.camera)
    px = project(stage.camera, np.column_stack([points, np.zeros(len(points))]))
    return [{"mm": mm.round(3).tolist(), "px": p.round(3).tolist()} for mm, p in zip(points, px, strict=True)]


def card_corners_px(stage: Stage) -> Array:
    """The 24 inner board corners (24, 2) in pixels, in the board's own order (row by row from the top)."""
    world = np.array(stage.card.board_corners())
    return project(stage.camera, np.column_stack([world, np.full(24, stage.card.printed_mm)]))
