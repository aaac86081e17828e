"""One photo file to one result: public for everybody, and with its sealed values for the ledger."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from wearvision import photos
from wearvision.app.bench import NOTHING_KEPT, Bench
from wearvision.app.rubrics import load_rubric, smallest_limit_mm
from wearvision.cards import tags
from wearvision.finding_record import kept_besides
from wearvision.measure.board import BoardSpec, card
from wearvision.measure.chart import Copies
from wearvision.measure.label import CUT as LABEL_END
from wearvision.measure.lights import Lights
from wearvision.measure.mark import Mark
from wearvision.measure.plane import Array, Plane
from wearvision.measure.points import FLAG as NO_TILT
from wearvision.measure.prior import PrintCheck
from wearvision.measure.retake import Retake
from wearvision.measure.scale import Sighting, apply, default_specs, find_boards
from wearvision.measure.survey import LIMIT_MM, Survey, survey
from wearvision.quantity import Measured
from wearvision.rules.rubric import Rubric
from wearvision.rules.severity import open_summary, seal
from wearvision.stated import Stated, View

SCHEMA = "wearvision.measure/1"
COLOUR_PX = {"tongue": 450, "gasket-land": 900}
"""Least long side of the small copy in colour, for views that look at colour: twice that at most."""
ASSUMED_SIZE = ("card size", "nobody stated it and the card's label cannot be read: taken as standard")
ASSUMED_VIEW = ("view", "nobody stated it and the card's label is silent: taken as wear-face")


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoResult:
    """What one photo gave.

    Attributes
    ----------
    public : dict
        The `measure` object (see `wearvision.app.schema`); no sealed value in it.
    records : list of dict
        The findings as the ledger keeps them, sealed values included.
    part_tags : tuple of str
        Part tags read in the photo.
    drawing : dict
        What an overlay needs: `circles_px`, `card_px`, `mm_per_px`.
    """

    public: dict[str, Any]
    records: list[dict[str, Any]]
    part_tags: tuple[str, ...]
    drawing: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        """Field by field, for the journal."""
        return {"public": self.public, "records": self.records, "part_tags": list(self.part_tags),
                "drawing": self.drawing}  # fmt: skip


def measure_photo(
    path: Path | str,
    stated: Stated,
    *,
    marks: Sequence[Mark] = (),
    boards: Sequence[BoardSpec] = (),
    rubric: Path | None = None,
    want_tags: bool = False,
    bench: Bench = NOTHING_KEPT,
    for_sheet: bool = False,
) -> PhotoResult:
    """Measure one photo.

    Parameters
    ----------
    path : Path or str
    stated : Stated
    marks : sequence of Mark
        What persons added, reshaped or struck.
    boards : sequence of BoardSpec
        Boards of yours that may lie in the photo, instead of our cards.
    rubric : Path, optional
        Folder of rubrics; the smallest limit of the view decides how close a photo must be.
    want_tags : bool
        Whether to look for part tags anywhere in the photo.
    bench : Bench
        What is kept of cards and cameras.
    for_sheet : bool
        Whether the result goes to a part's sheet: severities that its rubric has gauged are then sealed.

    Raises
    ------
    BadInput
        When the file is no photo, or a mark does not fit it.
    """
    photo = photos.load(path)
    copies = Copies(photo.gray)
    sightings, label = _find(photo, stated, boards, copies)
    told, notes, asked = _resolve(stated, label)
    if label is None and stated.card_size is None and sightings and not boards:
        notes = (*notes, ASSUMED_SIZE)
    rules = load_rubric(told.part_kind, rubric) if told.part_kind is not None else None
    limit = LIMIT_MM if rules is None or told.view is None else smallest_limit_mm(rules, told.view)
    seen = survey(
        photo.gray, told, focal35_mm=photo.focal35_mm, sightings=sightings, marks=marks, limit_mm=limit,
        checks=_checks(photo, sightings, label, bench), lens=bench.lens_of(photo),
        red=photos.redness(path) if told.view == "line-light" else None,
        colour=photos.small_colour(path, COLOUR_PX[told.view]) if told.view in COLOUR_PX else None, copies=copies,
        lights=Lights(lambda: photos.lights(path)),
    )  # fmt: skip
    if for_sheet and told.view is not None:
        seen = _sealed(seen, rules, told.view)
    found = tuple(tags.find_tags(photo.gray, [_paper(s) for s in sightings])) if want_tags else ()
    seen = replace(seen, retake=(*asked, *seen.retake), not_assessed=(*notes, *seen.not_assessed))
    public = _plain(_public(photos.printable(Path(path).name), photo, told, seen, label))
    records = [
        {**shown, **(kept := kept_besides(f, shown)), "sealed": _plain(kept["sealed"])}
        for shown, f in zip(public["findings"], seen.findings, strict=True)
    ]
    return PhotoResult(public=public, records=records, part_tags=found, drawing=_plain(_drawing(seen)))


def _sealed(seen: Survey, rules: Rubric | None, view: View) -> Survey:
    """The survey as a sheet may show it."""
    found = tuple(seal(f, rules, view) for f in seen.findings)
    return replace(seen, findings=found, summary=open_summary(seen.summary, rules, view))


def _find(
    photo: photos.Photo, stated: Stated, boards: Sequence[BoardSpec], copies: Copies
) -> tuple[list[Sighting], tags.CardText | None]:
    """Boards in the photo at their true size, and what the best one's label says."""
    size = stated.card_size or "standard"
    sightings = find_boards(photo.gray, boards or default_specs(size), copies)
    if boards or not sightings:
        return sightings, None
    label = tags.read_card_text(photo.gray, sightings[0].homography, size)
    if label is not None and stated.card_size is None:
        sightings = [_resized(s, label.size) for s in sightings]
    return sightings, label


def _paper(sighting: Sighting) -> Array:
    """Outline (4, 2) of a card's paper, its label included, photo px."""
    edge = sighting.spec.square_mm / 2
    width, height = sighting.spec.size_mm
    right = LABEL_END * sighting.spec.square_mm if sighting.spec.card is not None else width + edge
    corners = [[-edge, -edge], [right, -edge], [right, height + edge], [-edge, height + edge]]
    return apply(sighting.homography, np.array(corners))


def _checks(
    photo: photos.Photo, sightings: Sequence[Sighting], label: tags.CardText | None, bench: Bench
) -> list[PrintCheck | None]:
    """What is kept of each card's bars, by the serial on its label; the best card's label is read already."""
    if not bench.prints:
        return [None] * len(sightings)
    labels = [label, *(tags.read_card_text(photo.gray, s.homography, s.spec.size_name) for s in sightings[1:])]
    return [None if one is None else bench.prints.get(one.serial) for one in labels[: len(sightings)]]


def _resized(sighting: Sighting, size: str) -> Sighting:
    """The same sighting of a card that turns out to be of another size."""
    assert sighting.spec.card is not None
    spec = card(sighting.spec.card, size)
    ratio = spec.square_mm / sighting.spec.square_mm
    shrink = sighting.homography.copy()
    shrink[:, :2] /= ratio
    return replace(sighting, spec=spec, corners_mm=sighting.corners_mm * ratio, homography=shrink)


def _resolve(
    stated: Stated, label: tags.CardText | None
) -> tuple[Stated, tuple[tuple[str, str], ...], tuple[Retake, ...]]:
    """Stated facts completed by the card's label; contradictions are asked, not settled."""
    asked = []
    if label is not None and label.view and stated.view and label.view != stated.view:
        asked.append(Retake(code="view-conflict", say=f"The card says {label.view}, but {stated.view} was stated:"
                            " use the card of this view, or correct the statement."))  # fmt: skip
    if label is not None and stated.card_size and label.size != stated.card_size:
        asked.append(Retake(code="size-conflict", say=f"The card's label says {label.size}, but"
                            f" {stated.card_size} was stated: correct the statement."))  # fmt: skip
    view = stated.view or (label.view if label else None)
    notes = () if view else (ASSUMED_VIEW,)
    return replace(stated, view=view or "wear-face"), notes, tuple(asked)


def _public(name: str, photo: photos.Photo, told: Stated, seen: Survey, label: tags.CardText | None) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "photo": {
            "file": name, "sha256": photo.sha256, "width_px": photo.width_px, "height_px": photo.height_px,
        },
        "part_kind": told.part_kind, "view": told.view, "usable": seen.usable,
        "retake": [r.to_json() for r in seen.retake],
        "scale": _scale(seen, label),
        "findings": [f.to_json() for f in seen.findings],
        "summary": {k: q.to_json() for k, q in seen.summary.items()},
        "not_assessed": [{"what": what, "why": why} for what, why in seen.not_assessed],
    }  # fmt: skip


def _scale(seen: Survey, label: tags.CardText | None) -> dict[str, Any]:
    plane = seen.plane
    if not isinstance(plane, Plane) or not isinstance(seen.mm_per_px, Measured) or seen.at_px is None:
        return {"source": None, "unmeasured": getattr(plane, "reason", "no scale")}
    k1, cx, cy = (float(plane.theta[i]) for i in (7, 8, 9))
    return _rule(seen) | {
        "source": plane.source, "mm_per_px": seen.mm_per_px.to_json(), "at_px": [float(v) for v in seen.at_px],
        "tilt_deg": plane.tilt_deg, "plane_to_px": plane.homography.tolist(),
        "lens": {
            "focal_px": plane.focal_px, "k1": k1, "k2": float(plane.theta[12]), "centre_px": [cx, cy],
            "source": plane.lens_source,
        },
        "boards": list(plane.boards),
        "flags": [NO_TILT] if plane.source in ("two-points", "stated") else [],
        "board": seen.sighting.spec.name if seen.sighting else None,
        "card_serial": label.serial if label else None, "corner_rms_px": plane.rms_px,
    }  # fmt: skip


def _rule(seen: Survey) -> dict[str, Any]:
    """What is told of the steel rule that the scale came from, if one did."""
    if seen.rule is None:
        return {}
    told = seen.rule
    return {"rule": {
        "graduation": told.unit, "stated": told.stated, "second_scale": told.partner, "marks": told.marks_used,
        "residual_px": told.residual_px, "along_mm_per_px": told.mm_per_px().to_json(),
        "along_at_px": told.at_px.tolist(), "band_px": told.band_px.tolist(),
    }}  # fmt: skip


def _drawing(seen: Survey) -> dict[str, Any]:
    return {
        "circles_px": [c.round(1).tolist() for c in seen.circles_px],
        "card_px": None if seen.card_px is None else seen.card_px.round(1).tolist(),
        "mm_per_px": seen.mm_per_px.value if isinstance(seen.mm_per_px, Measured) else None,
    }


def _plain(value: Any) -> Any:
    """The same as JSON reads it back: lists for tuples, plain numbers for numpy's, no nan."""
    if type(value) is dict:
        return {
            str(name): part if type(part) is str or (type(part) is float and math.isfinite(part)) else _plain(part)
            for name, part in value.items()
        }
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"no number of a result may be {value}")
        return float(value)
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, (list, tuple)):
        return [*map(list.copy, value)] if _is_line(value) else [_plain(part) for part in value]
    return _plain(dict(value) if isinstance(value, Mapping) else value.item())


def _is_line(value: Sequence[Any]) -> bool:
    """Whether these are lists of plain finite numbers: outlines are thousands of them, too many for a call each."""
    if set(map(type, value)) != {list}:
        return False
    numbers = [*chain.from_iterable(value)]
    return set(map(type, numbers)) == {float} and all(map(math.isfinite, numbers))
