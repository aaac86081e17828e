"""What a person measured with a gauge or saw by eye. Kept apart from `Measured`: a photo cannot make one.

Uncertainty of a reading: resolution q taken as rectangular over one step, q / sqrt(12), and the gauge's
maximum permissible error +-a as rectangular, a / sqrt(3) (GUM, JCGM 100:2008, 4.3.7 and F.2.2.1).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal, final, get_args

from wearvision.errors import BadInput
from wearvision.rules.notation import Length, LengthUnit, parse_length

GaugeKind = Literal[
    "depth gauge", "dial depth gauge", "depth micrometer", "pit gauge", "feeler gauge", "caliper",
    "inside micrometer", "outside micrometer", "bore gauge", "dial indicator", "radius gauge", "steel rule",
]  # fmt: skip
GAUGE_KINDS: tuple[GaugeKind, ...] = get_args(GaugeKind)
WITHOUT_ZERO: tuple[GaugeKind, ...] = ("feeler gauge", "radius gauge", "steel rule")
"""Gauges that have no zero to check."""


def gauge_u(resolution_mm: float, *half_widths_mm: float) -> float:
    """Standard uncertainty, mm, of one step and of errors given as half-widths, all rectangular."""
    return math.sqrt(resolution_mm**2 / 12 + sum(a * a for a in half_widths_mm) / 3)


@final
@dataclass(frozen=True, kw_only=True)
class Instrument:
    """A gauge.

    Attributes
    ----------
    kind : GaugeKind
    serial : str
    resolution_mm : float
        Step of the display or scale; for a feeler gauge the step to the next leaf. Above 0.
    mpe_mm : float
        Maximum permissible error, +-; 0 or more.
    last_zero : str
        ISO date or time of the last zero check; empty when there was none.
    due : str
        ISO date of the next calibration; empty when not known, which counts as overdue.
    """

    kind: GaugeKind
    serial: str
    resolution_mm: float
    mpe_mm: float
    last_zero: str = ""
    due: str = ""

    def __post_init__(self) -> None:
        if self.kind not in GAUGE_KINDS:
            raise BadInput("unknown kind of gauge", got=self.kind, do=f"use one of {', '.join(GAUGE_KINDS)}")
        _named("the serial of a gauge", self.serial)
        if not (math.isfinite(self.resolution_mm) and 0 < self.resolution_mm <= 10):
            raise BadInput("resolution of a gauge, mm: above 0 to 10", got=self.resolution_mm)
        if not (math.isfinite(self.mpe_mm) and 0 <= self.mpe_mm <= 10):
            raise BadInput("maximum permissible error of a gauge, mm: 0 to 10", got=self.mpe_mm)
        for text in filter(None, (self.last_zero, self.due)):
            day_of(text)

    def overdue(self, at: str) -> bool:
        """Whether the calibration had run out, or was not known, at that time."""
        return not self.due or day_of(at) > day_of(self.due)

    def zero_unchecked(self, at: str) -> bool:
        """Whether the gauge has a zero that was not checked on the day of the reading."""
        return self.kind not in WITHOUT_ZERO and (not self.last_zero or day_of(self.last_zero) != day_of(at))

    def to_json(self) -> dict[str, object]:
        """`{"kind", "serial", "resolution_mm", "mpe_mm", "last_zero", "due"}`."""
        return {
            "kind": self.kind, "serial": self.serial, "resolution_mm": self.resolution_mm,
            "mpe_mm": self.mpe_mm, "last_zero": self.last_zero, "due": self.due,
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Instrument:
        """Inverse of `to_json`, through the same checks."""
        fields = whole(data, "kind", "serial", "resolution_mm", "mpe_mm", "last_zero", "due")
        kind = next((k for k in GAUGE_KINDS if k == fields["kind"]), None)
        if kind is None:
            raise BadInput("unknown kind of gauge", got=fields["kind"])
        return cls(
            kind=kind, serial=str(fields["serial"]), resolution_mm=float(str(fields["resolution_mm"])),
            mpe_mm=float(str(fields["mpe_mm"])), last_zero=str(fields["last_zero"]), due=str(fields["due"]),
        )  # fmt: skip


@final
@dataclass(frozen=True, kw_only=True)
class GaugeReading:
    """One gauge reading at one numbered point.

    Attributes
    ----------
    point : int
        Number of the gauge point, from 1.
    typed : str
        Value and unit as typed. With a feeler gauge: the thickest leaf that goes; the next must not go.
    instrument : Instrument
    reader : str
        Name of the person.
    at : str
        ISO date and time.
    assumed : LengthUnit or None
        Unit of a decimal typed without one, from the rubric or the bench.
    length : Length
        `typed`, understood.
    """

    point: int
    typed: str
    instrument: Instrument
    reader: str
    at: str
    assumed: LengthUnit | None = None
    length: Length = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.point < 1:
            raise BadInput("gauge points are numbered from 1", got=self.point)
        if type(self.instrument) is not Instrument:
            raise BadInput("a reading needs its gauge", got=type(self.instrument).__name__)
        _named("the reader", self.reader)
        time_of(self.at)
        object.__setattr__(self, "length", parse_length(self.typed, default=self.assumed))

    @property
    def value_mm(self) -> float:
        """The figure, mm; for a feeler gauge the middle between the leaf that goes and the next."""
        half = self.instrument.resolution_mm / 2 if self.instrument.kind == "feeler gauge" else 0.0
        return self.length.value_mm + half

    @property
    def u_mm(self) -> float:
        """Standard uncertainty, mm. The coarser of the gauge's step and the step typed counts."""
        return gauge_u(max(self.instrument.resolution_mm, self.length.resolution_mm), self.instrument.mpe_mm)

    def __reduce__(self) -> tuple[object, ...]:
        return (_reading, (self.to_json(),))

    def to_json(self) -> dict[str, object]:
        """`{"point", "typed", "assumed", "value_mm", "u_mm", "instrument", "reader", "at"}`."""
        return {
            "point": self.point, "typed": self.typed, "assumed": self.assumed, "value_mm": self.value_mm,
            "u_mm": self.u_mm, "instrument": self.instrument.to_json(), "reader": self.reader, "at": self.at,
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> GaugeReading:
        """Inverse of `to_json`; value and uncertainty are derived again and compared."""
        fields = whole(data, "point", "typed", "assumed", "value_mm", "u_mm", "instrument", "reader", "at")
        instrument, assumed = fields["instrument"], fields["assumed"]
        if not isinstance(instrument, Mapping) or assumed not in (None, "in", "mil", "mm", "um"):
            raise BadInput("not a gauge reading", got=dict(data))
        reading = cls(
            point=int(str(fields["point"])), typed=str(fields["typed"]), assumed=assumed,
            instrument=Instrument.from_json(instrument), reader=str(fields["reader"]), at=str(fields["at"]),
        )  # fmt: skip
        if (reading.value_mm, reading.u_mm) != (fields["value_mm"], fields["u_mm"]):
            raise BadInput("a stored reading does not agree with its own text", got=dict(data))
        return reading


@final
@dataclass(frozen=True, kw_only=True)
class SightCheck:
    """One answer to a sight check.

    Attributes
    ----------
    criterion, check : str
        Ids in the rubric.
    answer, how : str
        Words the rubric allows.
    by, at : str
        Who and when (ISO date and time).
    record : str
        Number of the report, where the rubric asks for one.
    note : str
    """

    criterion: str
    check: str
    answer: str
    how: str
    by: str
    at: str
    record: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("criterion", "check", "answer", "how", "by"):
            _named(f"the field {name!r} of a sight check", getattr(self, name))
        time_of(self.at)

    def to_json(self) -> dict[str, object]:
        """`{"criterion", "check", "answer", "how", "by", "at", "record", "note"}`."""
        return {name: getattr(self, name) for name in _SIGHT}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> SightCheck:
        """Inverse of `to_json`, through the same checks."""
        return cls(**{name: str(value) for name, value in whole(data, *_SIGHT).items()})


_SIGHT = ("criterion", "check", "answer", "how", "by", "at", "record", "note")


def time_of(text: str) -> datetime:
    """An ISO 8601 date and time, with or without an offset."""
    try:
        if len(text) < len("2026-01-01T00:00"):
            raise ValueError
        return datetime.fromisoformat(text)
    except (ValueError, TypeError):
        raise BadInput("not a date and time", got=text, do="write it like 2026-11-25T09:30:00") from None


def day_of(text: str) -> date:
    """The day of an ISO date or time, as written there."""
    try:
        return datetime.fromisoformat(text).date()
    except (ValueError, TypeError):
        raise BadInput("not a date", got=text, do="write it like 2026-11-25") from None


def whole(data: Mapping[str, object], *names: str) -> dict[str, object]:
    """Exactly these fields of a stored record, or `BadInput`."""
    if set(data) != set(names):
        odd = sorted(set(data) ^ set(names))
        raise BadInput("a stored record has missing or unknown fields", got=odd, do="check the ledger")
    return {name: data[name] for name in names}


def _named(what: str, text: str) -> None:
    if not (isinstance(text, str) and text.strip()):
        raise BadInput(f"{what} is not named", got=text, do="name it")


def _reading(data: Mapping[str, object]) -> GaugeReading:
    return GaugeReading.from_json(data)
