"""What was seen after a sheet was laid: findings of later photos, or of a later look, that it does not know.

A sheet with readings on it is left as it is. So that no verdict passes over a mark that was found meanwhile,
the findings of each later survey are held against those of the sheet: one is known when the sheet has a mark of
its kind at its place, struck or not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.rules.prefilled import PrefilledSheet

SAME_PLACE = 0.5
"""Two outlines lie at one place when the boxes around them overlap by this share (intersection over union)."""

Box = NDArray[np.float64]


def unknown_findings(sheet: PrefilledSheet, surveys: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Findings of later surveys that the sheet has no mark for, such as `groove G1 of C-1042/face_d.jpg`.

    Parameters
    ----------
    sheet : PrefilledSheet
    surveys : iterable of mapping
        Public results of photos of this part; one that asks for a retake carries no finding.
    """
    return tuple(
        f"{found['kind']} {found['id']} of {survey['photo']['file']}"
        for survey in surveys
        if survey.get("usable")
        for found in survey.get("findings", ())
        if not found.get("struck") and not _known(sheet, survey["photo"]["sha256"], found)
    )


def _known(sheet: PrefilledSheet, sha: str, found: Mapping[str, Any]) -> bool:
    box = _box(found["outline_px"])
    return any(
        f.kind == found["kind"] and _overlap(box, _box(f.outline_px)) >= SAME_PLACE
        for s, f in sheet.findings
        if s == sha
    )


def _box(outline: Any) -> Box:
    points = np.asarray(outline, dtype=np.float64)
    return np.array([points.min(axis=0), points.max(axis=0)])


def _overlap(a: Box, b: Box) -> float:
    sides = np.minimum(a[1], b[1]) - np.maximum(a[0], b[0])
    shared = float(np.prod(np.clip(sides, 0.0, None)))
    areas = float(np.prod(a[1] - a[0]) + np.prod(b[1] - b[0]))
    return shared / max(areas - shared, 1e-9)
