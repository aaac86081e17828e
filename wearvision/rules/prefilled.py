"""The sheet of one part as the photos suggest it: criteria, findings under them, numbered gauge points.

`PrefilledSheet` derives its gauge points from rubric and findings; nobody can hand it fewer.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import final

from wearvision.errors import BadInput
from wearvision.finding_record import finding_from_record, finding_record
from wearvision.rules.points import GaugePoint, Placed, lay_points, not_gauged
from wearvision.rules.reading import whole
from wearvision.rules.rubric import Criterion, Rubric, Stage
from wearvision.stated import VIEWS


@final
@dataclass(frozen=True, kw_only=True, eq=False)
class PrefilledSheet:
    """All criteria of one part under one rubric, with what the photos suggest. Not a verdict, nor near one.

    Attributes
    ----------
    rubric : Rubric
    tag : str
        Tag of the part.
    findings : tuple of (str, Finding)
        sha256 of the photo and the finding, struck ones included.
    photos : tuple of (str, str)
        sha256 and view of each photo looked at. A finding counts for criteria of its photo's view; on a photo
        without a stated view, or a light-line photo, it counts for every criterion that lists its kind.
    stage : Stage
        `part` decides on reuse; `assembly` holds what is measured when the pump goes together.
    points : tuple of GaugePoint
        Derived.
    """

    rubric: Rubric
    tag: str
    findings: tuple[Placed, ...] = ()
    photos: tuple[tuple[str, str], ...] = ()
    stage: Stage = "part"
    points: tuple[GaugePoint, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if type(self.rubric) is not Rubric:
            raise BadInput("a sheet needs its rubric", got=type(self.rubric).__name__)
        if not self.tag.strip():
            raise BadInput("a part needs a tag", got=self.tag, do="give the tag on the part")
        if not self.criteria:
            raise BadInput(f"{self.rubric.name} asks nothing at this stage", got=self.stage, do="add a criterion")
        object.__setattr__(self, "findings", tuple((sha, finding) for sha, finding in self.findings))
        object.__setattr__(self, "photos", tuple((sha, view) for sha, view in self.photos))
        for key, times in Counter((sha, finding.id) for sha, finding in self.findings).items():
            if times > 1:
                raise BadInput("the same finding twice", got=key, do="give each finding its own id on its photo")
        for sha, view in self.photos:
            if view and view not in VIEWS:
                raise BadInput("unknown view of a photo", got=(sha, view), do=f"use one of {', '.join(VIEWS)}")
        placed = [(c, self.placed(c)) for c in self.criteria]
        object.__setattr__(self, "points", lay_points(placed))

    def __reduce__(self) -> tuple[object, ...]:
        return (PrefilledSheet.from_json, (self.to_json(),))

    @property
    def criteria(self) -> tuple[Criterion, ...]:
        """Criteria of this stage."""
        return self.rubric.criteria(self.stage)

    def placed(self, criterion: Criterion) -> tuple[Placed, ...]:
        """Findings that count for a criterion; struck ones and repeats of one on another photo do not."""
        views = dict(self.photos)
        return tuple(
            (sha, f) for sha, f in self.findings
            if not (f.struck or f.same_as) and f.kind in criterion.findings
            and (criterion.view == "any" or views.get(sha, "") in ("", criterion.view, "line-light"))
        )  # fmt: skip

    @property
    def unplaced(self) -> tuple[Placed, ...]:
        """Findings, not struck, that no criterion of the rubric asks about."""
        placed = [f for c in self.rubric.file.criteria for _, f in self.placed(c)]
        standing = [(sha, f) for sha, f in self.findings if not (f.struck or f.same_as)]
        return tuple((sha, f) for sha, f in standing if not any(f is p for p in placed))

    @property
    def not_gauged(self) -> tuple[Placed, ...]:
        """Findings without a gauge point of their own, because only the largest are gauged one by one."""
        return tuple(item for c in self.criteria for item in not_gauged(c, self.placed(c)))

    def point(self, number: int) -> GaugePoint:
        """The gauge point of that number."""
        if not 1 <= number <= len(self.points):
            raise BadInput("no such gauge point", got=number, do=f"points run from 1 to {len(self.points)}")
        return self.points[number - 1]

    def points_of(self, criterion: str) -> tuple[GaugePoint, ...]:
        """Points of one criterion."""
        return tuple(p for p in self.points if p.criterion == criterion)

    @property
    def digest(self) -> str:
        """sha256 of the stored form, hexadecimal."""
        return digest_of(self.to_json())

    def to_json(self) -> dict[str, object]:
        """Stored form, sealed values included: for the ledger only. The rubric travels as text."""
        return {
            "schema": "wearvision.prefilled/1", "tag": self.tag, "stage": self.stage,
            "rubric": self.rubric.text,
            "rubric_name": self.rubric.name, "photos": [list(p) for p in self.photos],
            "findings": [{"photo_sha": sha, **finding_record(f)} for sha, f in self.findings],
        }  # fmt: skip

    def public_json(self) -> dict[str, object]:
        """Form for a screen: points, findings without sealed values, criteria ids."""
        return {
            "schema": "wearvision.sheet-view/1", "tag": self.tag, "stage": self.stage,
            "kind": self.rubric.kind,
            "rubric_digest": self.rubric.digest, "points": [p.to_json() for p in self.points],
            "findings": [{"photo_sha": sha, **f.to_json()} for sha, f in self.findings],
            "criteria": [c.id for c in self.criteria],
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> PrefilledSheet:
        """Inverse of `to_json`, through the constructor."""
        fields = whole(data, "schema", "tag", "stage", "rubric", "rubric_name", "photos", "findings")
        photos, findings, stage = fields["photos"], fields["findings"], fields["stage"]
        if not (isinstance(photos, list) and isinstance(findings, list) and stage in ("part", "assembly")):
            raise BadInput("not a stored sheet", got=fields["schema"])
        return cls(
            rubric=Rubric(str(fields["rubric"]), str(fields["rubric_name"])),
            tag=str(fields["tag"]), stage=stage, photos=tuple((str(sha), str(view)) for sha, view in photos),
            findings=tuple((str(f["photo_sha"]), finding_from_record(f)) for f in findings),
        )  # fmt: skip


def prefill(
    rubric: Rubric, tag: str, findings: Sequence[Placed], *, photos: Mapping[str, str] | None = None,
    stage: Stage = "part",
) -> PrefilledSheet:  # fmt: skip
    """Sheet of a part from its findings.

    Parameters
    ----------
    rubric : Rubric
    tag : str
    findings : sequence of (str, Finding)
        sha256 of the photo, and the finding.
    photos : mapping of str to str, optional
        sha256 to view, for every photo looked at, also those without findings.
    stage : Stage
    """
    return PrefilledSheet(
        rubric=rubric, tag=tag, findings=tuple(findings), photos=tuple((photos or {}).items()), stage=stage
    )


def digest_of(data: Mapping[str, object]) -> str:
    """sha256 of the canonical JSON of a record, hexadecimal."""
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()
