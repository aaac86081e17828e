"""First pass over a crate: find the cards in some photos of each camera, and calibrate the cameras that allow it.

A camera is told by picture size and focal lengths alone. Up to `MOST_SHOTS` photos of each are looked at, the first
by name, so that the cost of this pass does not grow with the crate; what was found in them stands in the journal
and is not sought twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from wearvision import __version__, photos
from wearvision.app.bench import Bench, camera_key, orientation_map
from wearvision.app.crate_work import prepare
from wearvision.crates.batch import BatchEnd, batch_pool, measure_all, outcomes
from wearvision.crates.crate import CratePhoto
from wearvision.crates.journal import Journal
from wearvision.measure.board import card
from wearvision.measure.calibrate import LEAST_SHOTS, MOST_SHOTS, Calibration, calibrate
from wearvision.measure.scale import Sighting, default_specs, find_boards

FORM = ["look", 1]
NOTHING = BatchEnd(keys={}, fresh=0, kept=0, aside=0, stopped=False)


@dataclass(frozen=True, kw_only=True)
class Looked:
    """What the first pass found.

    Attributes
    ----------
    calibrations : mapping of camera key to Calibration
        The convincing ones only.
    cameras : frozenset of str
        Keys of all cameras of the crate.
    end : BatchEnd
    """

    calibrations: Mapping[str, Calibration] = field(default_factory=dict)
    cameras: frozenset[str] = frozenset()
    end: BatchEnd = NOTHING

    @property
    def stopped(self) -> bool:
        """Whether it was interrupted."""
        return self.end.stopped

    def bench(self, kept: Bench) -> Bench:
        """What is kept of cards, and of this crate's cameras; its own calibrations go before kept ones."""
        lenses = {key: lens for key, lens in kept.lenses.items() if key in self.cameras}
        return replace(kept, lenses=lenses | {key: found.lens for key, found in self.calibrations.items()})


def look_for_cameras(
    crate: Sequence[CratePhoto], journal: Journal, *, workers: int, limit_s: float, again: bool,
    on_preparing: Callable[[], None] = lambda: None,
) -> Looked:  # fmt: skip
    """Find cards in enough photos of each camera, and calibrate."""
    groups: dict[str, list[CratePhoto]] = {}
    for photo in sorted(crate, key=lambda p: p.name):
        camera = photos.camera(photo.path)
        if camera is not None:
            groups.setdefault(camera_key(camera), []).append(photo)
    chosen = {key: group[:MOST_SHOTS] for key, group in groups.items() if len(group) >= LEAST_SHOTS}
    if not chosen:
        return Looked(cameras=frozenset(groups))
    some = [photo for group in chosen.values() for photo in group]
    count = min(workers, len(some))
    with batch_pool(look, workers=count, limit_s=limit_s, prepare=prepare, on_preparing=on_preparing) as pool:
        end = measure_all(some, journal, pool, context=[__version__, FORM], again=again)
    if end.stopped:
        return Looked(end=end, cameras=frozenset(groups))
    found = {key: _calibrated(group, end, journal) for key, group in chosen.items()}
    return Looked(
        end=end, cameras=frozenset(groups),
        calibrations={key: one for key, one in found.items() if one is not None and one.evidence.convincing},
    )  # fmt: skip


def _calibrated(group: Iterable[CratePhoto], end: BatchEnd, journal: Journal) -> Calibration | None:
    """A camera from what was found in its photos, those of a damaged photo left out; each photo counts once."""
    found = outcomes(group, end, journal)
    done = {end.keys[p.name]: outcome["done"] for p, outcome in found if "done" in outcome}
    shots = list(done.values())
    if len(shots) < LEAST_SHOTS:
        return None
    width, height = shots[0]["size_px"]
    lens = calibrate(
        [[_sighting(s) for s in shot["boards"]] for shot in shots], size_px=(width, height),
        focal35_mm=shots[0]["focal35_mm"],
    )  # fmt: skip
    return lens if isinstance(lens, Calibration) else None


def look(photo: CratePhoto) -> dict[str, Any]:
    """Work of one process: the cards of a photo, in the frame of its sensor."""
    shot = photos.load(photo.path)
    size = (shot.camera.width_px, shot.camera.height_px)
    matrix, shift, _ = orientation_map(shot.orientation, size)
    boards = find_boards(shot.gray, default_specs(photo.stated.card_size or "standard"))
    return {
        "size_px": list(size), "focal35_mm": shot.focal35_mm,
        "boards": [_record(s, np.asarray(matrix), np.asarray(shift)) for s in boards],
    }  # fmt: skip


def _record(sighting: Sighting, matrix: Any, shift: Any) -> dict[str, Any]:
    return {
        "card": sighting.spec.card, "square_mm": sighting.spec.square_mm, "ids": sighting.ids.tolist(),
        "corners_px": ((sighting.corners_px - shift) @ matrix).round(4).tolist(),
        "corners_mm": sighting.corners_mm.tolist(), "sigma_rel": sighting.sigma_rel.round(4).tolist(),
        "pull": (sighting.pull @ matrix).round(6).tolist(), "inner": sighting.inner_count,
    }  # fmt: skip


def _sighting(record: Mapping[str, Any]) -> Sighting:
    spec = replace(card(record["card"]), square_mm=record["square_mm"], marker_mm=0.7 * record["square_mm"])
    return Sighting(
        spec=spec, corners_px=np.array(record["corners_px"]), corners_mm=np.array(record["corners_mm"]),
        ids=np.array(record["ids"]), sigma_rel=np.array(record["sigma_rel"]), pull=np.array(record["pull"]),
        marker_count=spec.marker_count, inner_count=record["inner"], homography=np.eye(3),
        edge_sigma_px=float("nan"), black=0.0, white=255.0, glare_share=0.0, in_view_share=1.0,
    )  # fmt: skip
