"""What is asked of each part kind: `rubric/<kind>.toml`, checked, with the text and its digest kept.

The models here are the file format; `json_schema()` exports it for editors. A `Rubric` is made from the text
and from nothing else, so that the text that travels with a sheet is the rubric of that sheet.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from wearvision.errors import BadInput
from wearvision.finding import Kind
from wearvision.rules.decision import GUARD_95, Limit
from wearvision.rules.notation import LengthUnit, parse_length
from wearvision.rules.reading import GaugeKind
from wearvision.stated import PartKind, View
from wearvision.toml_lines import line_of, load_toml

Action = Literal["do not reuse", "rework first", "reuse with loss noted"]
Outcome = Literal["pass", "fail", "suspect"]
Stage = Literal["part", "assembly"]
QuantityName = Literal[
    "depth", "height_loss", "edge_radius", "max_deviation", "remaining_width", "clearance", "condition"
]
COMMON_PRACTICE = "common practice, no source"
SHOP_SETTING = "shop setting, no common figure"


def _length(text: str) -> str:
    try:
        parse_length(text)
    except BadInput as error:
        raise ValueError(error.line()) from None
    return text


Typed = Annotated[str, AfterValidator(_length), Field(description="a length with its unit: 1/8, 0.008 in, 1.6 mm")]
Sentence = Annotated[str, Field(min_length=3)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Share = Annotated[float, Field(gt=0, le=1)]

AtLeast = Annotated[int, Field(strict=True, ge=1, le=20)]
EachFinding = Annotated[int, Field(strict=True, ge=0, le=20)]
MostFindings = Annotated[int, Field(strict=True, ge=1, le=100)]


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LimitText(_Strict):
    """A limit as typed, in shop notation."""

    upper: Typed | None = None
    lower: Typed | None = None
    rule: Literal["inclusive", "exclusive"] = Field(default="inclusive", description="does the limit itself conform")
    target: Typed | None = Field(default=None, description="figure to set at assembly; shown, never decides")
    noted_above: Typed | None = Field(default=None, description="loss is noted above this; else a share of the limit")

    @model_validator(mode="after")
    def _makes_sense(self) -> LimitText:
        try:
            _ = self.limit
        except BadInput as error:
            raise ValueError(error.line()) from None
        return self

    @property
    def limit(self) -> Limit:
        """The limit in millimetres."""
        return Limit(upper_mm=_mm(self.upper), lower_mm=_mm(self.lower), inclusive=self.rule == "inclusive")

    @property
    def typed(self) -> str:
        """The limit in shop notation, `1/8 in` or `0.020 in to 0.040 in`."""
        return " to ".join(parse_length(t).understood for t in (self.lower, self.upper) if t is not None)


class DiameterPlace(_Strict):
    """Where on a ring pair both diameters are read."""

    place: Sentence = Field(description="end or plane of the ring")
    angle_deg: Annotated[float, Field(ge=0, lt=360)] = Field(description="direction across it, degrees")

    @property
    def words(self) -> str:
        """`front end, 90 deg`."""
        return f"{self.place}, {self.angle_deg:g} deg"


class Plan(_Strict):
    """Which gauge readings a criterion demands."""

    at_least: AtLeast = Field(description="readings, findings or none")
    at_each_finding: EachFinding = Field(
        default=1, description="readings at each finding; 0 when findings do not guide the gauge"
    )
    most_findings: MostFindings = Field(
        default=10,
        description="largest findings gauged one by one; the rest share one point at the deepest of them",
    )
    figure: Literal["extreme", "difference"] = Field(
        default="extreme", description="worst reading, or outer minus inner diameter (readings in pairs)"
    )
    places: tuple[DiameterPlace, ...] = Field(
        default=(), description="for a difference: where each pair of diameters is read; tells ovality from taper"
    )
    where: Sentence
    datum: Sentence = Field(description="what the gauge stands on")
    gauges: tuple[GaugeKind, ...] = Field(min_length=1)
    largest_error: Typed = Field(description="largest maximum permissible error a gauge may have here")
    seating: Typed = Field(default="0 mm", description="half-width of the error of seating the gauge on the part")

    @model_validator(mode="after")
    def _places_of_diameters(self) -> Plan:
        if self.places and self.figure != "difference":
            raise ValueError("places are for a difference of diameters")
        if self.places and len(self.places) < self.at_least:
            raise ValueError("fewer places than readings at least")
        _unlike("place", [p.words for p in self.places])
        return self

    @property
    def largest_error_mm(self) -> float:
        """Largest maximum permissible error, mm."""
        return parse_length(self.largest_error).value_mm

    @property
    def seating_mm(self) -> float:
        """Half-width of the seating error, mm."""
        return parse_length(self.seating).value_mm


class Sight(_Strict):
    """One check by eye or by test."""

    id: Name
    question: Sentence
    how: tuple[Sentence, ...] = Field(min_length=1, description="allowed ways to look")
    answers: dict[str, Outcome] = Field(min_length=2, description="each allowed answer and what follows")
    when: Literal["always", "suspected"] = Field(
        default="always", description="suspected: only after a finding or an answer that makes suspect"
    )
    standards: tuple[str, ...] = ()
    record: str = Field(default="", description="record to be named with the answer, such as a report number")

    @model_validator(mode="after")
    def _can_pass(self) -> Sight:
        if "pass" not in self.answers.values():
            raise ValueError("no answer passes")
        if self.when == "suspected" and "suspect" in self.answers.values():
            raise ValueError("a check of a suspicion must settle it: answers pass or fail only")
        return self


class Criterion(_Strict):
    """One thing asked of the part."""

    id: Name
    title: Sentence
    feature: Sentence
    view: View | Literal["any"] = Field(description="view whose findings count here")
    stage: Stage = "part"
    quantity: QuantityName = Field(description="what is gauged; condition: by sight only")
    findings: tuple[Kind, ...] = Field(default=(), description="kinds of finding that prefill this criterion")
    limit: LimitText | None = None
    readings: Plan | None = None
    sights: tuple[Sight, ...] = ()
    action: Action = Field(description="what follows when beyond, or when a check fails")
    loss: str = Field(default="", description="what a reused worn part costs; shown when the wear is noted")
    source: Sentence
    note: str = ""

    @model_validator(mode="after")
    def _whole(self) -> Criterion:
        gauged = self.quantity != "condition"
        if gauged != (self.limit is not None) or gauged != (self.readings is not None):
            raise ValueError("a gauged criterion needs limit and readings; a condition has neither")
        if not gauged and not any(s.when == "always" for s in self.sights):
            raise ValueError("a condition needs a sight check that is always made")
        _unlike("sight check", [s.id for s in self.sights])
        suspects = any("suspect" in s.answers.values() for s in self.sights)
        tests = [s for s in self.sights if s.when == "suspected"]
        if suspects and not tests:
            raise ValueError("an answer makes suspect, but no check is made when suspected")
        if "crack" in self.findings and not any(t.standards for t in tests):
            raise ValueError("a suspected crack needs a test that names its standard")
        return self

    def sight(self, check: str) -> Sight | None:
        """The sight check of that id."""
        return next((s for s in self.sights if s.id == check), None)


class GaugeRules(_Strict):
    """What to do about gauges out of date, and which unit a bare decimal has."""

    overdue: Literal["refuse", "flag"] = "refuse"
    no_zero_check: Literal["refuse", "flag"] = Field(
        default="refuse", description="no zero check on the day of the reading"
    )
    bare_decimals: LengthUnit | None = Field(default=None, description="unit of a decimal typed without one; none: ask")


class DecisionRule(_Strict):
    """How a figure is held against a limit (ISO 14253-1, JCGM 106)."""

    guard_factor: float = Field(
        default=GUARD_95, json_schema_extra={"enum": [1.645, 2.0]}, description="guard band / u"
    )
    noted_share: Share = Field(default=0.5, description="share of an upper limit above which loss is noted")

    @model_validator(mode="after")
    def _known_factor(self) -> DecisionRule:
        if self.guard_factor not in (GUARD_95, 2.0):
            raise ValueError("guard_factor is 1.645 (95 % one-sided) or 2")
        return self

    @property
    def text(self) -> str:
        """The rule, one sentence for the report."""
        return (
            f"Within when figure + {self.guard_factor:g} u is inside the limit, beyond when figure -"
            f" {self.guard_factor:g} u is outside, else undecided (guarded decision, ISO 14253-1, JCGM 106)."
        )


class RubricFile(_Strict):
    """The whole file."""

    format: Literal["wearvision.rubric/1"]
    kind: PartKind
    title: Sentence
    edition: str = Field(min_length=1)
    about: Sentence
    gauges: GaugeRules = GaugeRules()
    decision: DecisionRule = DecisionRule()
    criteria: tuple[Criterion, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _ids(self) -> RubricFile:
        _unlike("criterion", [c.id for c in self.criteria])
        return self


@dataclass(frozen=True)
class Rubric:
    """A checked rubric, made from its text alone.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Name for messages, such as `rubric/casing.toml`.

    Attributes
    ----------
    file : RubricFile
    digest : str
        sha256 of the text, hexadecimal.

    Raises
    ------
    BadInput
        With `name:line` of each mistake, three at most.
    """

    text: str
    name: str = field(default="rubric", compare=False)
    file: RubricFile = field(init=False, repr=False, compare=False)
    digest: str = field(init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "file", _checked(self.text, self.name))
        object.__setattr__(self, "digest", hashlib.sha256(self.text.encode()).hexdigest())

    def __reduce__(self) -> tuple[object, ...]:
        return (Rubric, (self.text, self.name))

    @property
    def kind(self) -> PartKind:
        """Part kind it is for."""
        return self.file.kind

    def criteria(self, stage: Stage = "part") -> tuple[Criterion, ...]:
        """Criteria of one stage, in the order of the file."""
        return tuple(c for c in self.file.criteria if c.stage == stage)

    def criterion(self, name: str) -> Criterion:
        """The criterion of that id."""
        for criterion in self.file.criteria:
            if criterion.id == name:
                return criterion
        known = ", ".join(c.id for c in self.file.criteria)
        raise BadInput(f"no such criterion in {self.name}", got=name, do=f"use one of {known}")


def json_schema() -> dict[str, object]:
    """JSON Schema of the file format, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **RubricFile.model_json_schema()}


def _checked(text: str, name: str) -> RubricFile:
    data = load_toml(text, name)
    try:
        return RubricFile.model_validate(data)
    except ValidationError as error:
        lines = [_mistake(text, name, e["loc"], e["msg"]) for e in error.errors()[:3]]
        more = f" and {error.error_count() - 3} more" if error.error_count() > 3 else ""
        raise BadInput("; ".join(lines) + more, do="correct the file") from None


def _mistake(text: str, name: str, path: tuple[int | str, ...], message: str) -> str:
    dotted = ".".join(map(str, path)) or "file"
    return f"{name}:{line_of(text, path)}: {dotted}: {message.removeprefix('Value error, ')}"


def _unlike(what: str, names: list[str]) -> None:
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise ValueError(f"{what} id used twice: {', '.join(twice)}")


def _mm(text: str | None) -> float | None:
    return None if text is None else parse_length(text).value_mm
