"""The record of each part: what its events say, replayed through the constructors that guard the promise.

Kinds of event, and what their payload holds:

    part       kind of the part, crate it first came in
    arrival    the part came in again, or more was stated about how it came: crate, running hours, dates, duty; by
               whom and why where a person corrected it. A crate it was not in before begins a new inspection
    photo      sha256, file name, view and stated facts of a photo kept as a blob
    survey     sha256 of a photo and the public result of measuring it
    marks      sha256 of a photo and all that persons marked on it so far: added, reshaped, struck
    renewed    readings are set aside for a new sheet; by whom and why. Always right before that sheet
    sheet      a prefilled sheet; it takes the place of an earlier one, which stays in the chain
    entry      a reading or a sight check, with the digest of the sheet it belongs to
    opened     a sealed estimate was shown, with the criterion and by whom
    confirmed  a person confirmed the sheet; name, time, digest and the verdict word derived then
    report     sha256 of a report that was made

Nothing here is believed because it is stored: a sheet, an entry or a confirmation that its constructor would
refuse makes the record broken, whoever wrote the row. When a new inspection begins, all of the one before is set
aside with it, photos, sheet and readings: nothing of an older inspection can count for a newer verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta

from wearvision.arrival import Arrival
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, WearvisionError
from wearvision.quantity import Quantity
from wearvision.rules.entry import Entry, Log
from wearvision.rules.history import Inspection
from wearvision.rules.late import unknown_findings
from wearvision.rules.reading import day_of
from wearvision.rules.sheet import ConfirmedSheet, PrefilledSheet, check_fits, open_estimate
from wearvision.rules.verdict import Verdict
from wearvision.store.event import Event


@dataclass(frozen=True, kw_only=True)
class SetAside:
    """A sheet with its readings that a newer sheet took the place of in the same inspection.

    Attributes
    ----------
    sheet : PrefilledSheet
    log : Log
    confirmed : ConfirmedSheet or None
    by, reason : str
        Who set it aside and why.
    """

    sheet: PrefilledSheet
    log: Log
    confirmed: ConfirmedSheet | None
    by: str
    reason: str


CLOCKS = timedelta(days=1)
"""Grace for clocks and zones."""


@dataclass(frozen=True, kw_only=True)
class PartRecord:
    """What the ledger says of one part, up to event `seq`.

    Attributes
    ----------
    tag, kind : str
    arrival : Arrival
        How it came in for the inspection that is open.
    past : tuple of Inspection
        The inspections before, each as it was left.
    replaced : int
        Confirmed sheets of the open inspection that a newer sheet took the place of.
    renewal : tuple of str
        Who sets the readings aside for the sheet that comes next, and why; empty when nobody does.
    set_aside : tuple of SetAside
        Every sheet with readings that was set aside in this inspection.
    photos : mapping of str to mapping
        Payload of each photo of this inspection by its sha256, in order of arrival.
    surveys : mapping of str to mapping
        Latest public result of each photo by its sha256.
    marks : mapping of str to tuple of mapping
        All that persons marked on each photo, by its sha256, in the order made.
    sheet : PrefilledSheet or None
    since : tuple of str
        Photos, by sha256, that were measured after the sheet was laid.
    begun : str
        ISO time, UTC, at which the sheet was laid.
    log : Log
    confirmed : ConfirmedSheet or None
    opened : mapping of str to Quantity
        Sealed estimates that have been shown, by criterion, as they were shown.
    seq : int
    """

    tag: str
    kind: str = ""
    arrival: Arrival = field(default_factory=lambda: Arrival(crate=""))
    past: tuple[Inspection, ...] = ()
    replaced: int = 0
    renewal: tuple[str, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    photos: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    surveys: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    marks: Mapping[str, tuple[Mapping[str, object], ...]] = field(default_factory=dict)
    sheet: PrefilledSheet | None = None
    since: tuple[str, ...] = ()
    begun: str = ""
    log: Log = field(default_factory=Log)
    confirmed: ConfirmedSheet | None = None
    opened: Mapping[str, Quantity] = field(default_factory=dict)
    seq: int = 0

    @property
    def crate(self) -> str:
        """Name of the crate of the open inspection."""
        return self.arrival.crate

    @property
    def inspections(self) -> tuple[Inspection, ...]:
        """All inspections in their order; the last one is open or confirmed."""
        return (*self.past, Inspection(arrival=self.arrival, sheet=self.confirmed, replaced=self.replaced))

    @property
    def late(self) -> tuple[str, ...]:
        """Findings of photos measured since the sheet was laid that the sheet does not know."""
        if self.sheet is None:
            return ()
        return unknown_findings(self.sheet, (self.surveys[sha] for sha in self.since))

    def verdict(self) -> Verdict:
        """The verdict of the confirmed sheet.

        Raises
        ------
        NeedsPerson
            While the sheet is not confirmed.
        """
        if self.confirmed is None:
            raise NeedsPerson(f"no verdict on {self.tag}", do="take the readings and confirm the sheet")
        return Verdict(self.confirmed)


def replay(record: PartRecord, event: Event) -> PartRecord:
    """The record after one more event."""
    step = _STEPS.get(event.kind)
    if step is None:
        raise _broken(event, "unknown kind of event")
    try:
        after = replace(step(record, event.payload), seq=event.seq)
        return replace(after, begun=event.at) if event.kind == "sheet" else after
    except BrokenRecord:
        raise
    except WearvisionError as error:
        raise _broken(event, error.what) from None
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise _broken(event, f"its payload does not read: {type(error).__name__}") from None


def _broken(event: Event, why: str) -> BrokenRecord:
    return BrokenRecord(
        f"event {event.seq} ({event.kind} of {event.tag}) does not stand up: {why}",
        do="run check, and restore a backup into a new folder",
    )


Payload = Mapping[str, object]


def _part(record: PartRecord, data: Payload) -> PartRecord:
    if record.kind and (record.kind, record.crate) != (data["kind"], data["crate"]):
        raise BadInput("a part has one kind and comes into the ledger once", got=(data["kind"], data["crate"]))
    return replace(record, kind=str(data["kind"]), arrival=Arrival(crate=str(data["crate"])))


def _arrival(record: PartRecord, data: Payload) -> PartRecord:
    said = Arrival.from_json({k: v for k, v in data.items() if k not in ("by", "reason")})
    if not record.kind:
        raise BadInput("an arrival of a part that is not in the ledger", got=said.crate)
    if said.crate == record.crate:
        return replace(record, arrival=said)
    if any(i.arrival.crate == said.crate for i in record.past):
        past = (replace(i, arrival=said) if i.arrival.crate == said.crate else i for i in record.past)
        return replace(record, past=tuple(past))
    if record.log.entries and record.confirmed is None:
        raise BadInput("a new arrival while readings stand", got=said.crate)
    return PartRecord(tag=record.tag, kind=record.kind, arrival=said, past=record.inspections)


def _photo(record: PartRecord, data: Payload) -> PartRecord:
    return replace(record, photos={**record.photos, str(data["sha256"]): data})


def _survey(record: PartRecord, data: Payload) -> PartRecord:
    photo = data["photo"]
    if not isinstance(photo, Mapping):
        raise BadInput("a survey names its photo", got=photo)
    sha = str(photo["sha256"])
    since = record.since if sha in record.since else (*record.since, sha)
    return replace(record, surveys={**record.surveys, sha: data}, since=since)


def _marks(record: PartRecord, data: Payload) -> PartRecord:
    sha, marks = str(data["sha256"]), data["marks"]
    if sha not in record.photos or not isinstance(marks, list):
        raise BadInput("marks on a photo of another part", got=sha)
    return replace(record, marks={**record.marks, sha: tuple(marks)})


def _sheet(record: PartRecord, data: Payload) -> PartRecord:
    sheet = PrefilledSheet.from_json(data)
    if sheet.tag != record.tag or sheet.rubric.kind != record.kind:
        raise BadInput("the sheet is for another part", got=(sheet.tag, sheet.rubric.kind))
    require_part_stage(sheet)
    replaced, aside = record.replaced + (record.confirmed is not None), record.set_aside
    if record.sheet is not None and record.log.entries:
        if not record.renewal:
            raise BadInput("a new sheet over readings that nobody has set aside")
        by, reason = record.renewal
        old = SetAside(sheet=record.sheet, log=record.log, confirmed=record.confirmed, by=by, reason=reason)
        aside = (*aside, old)
    return replace(
        record, sheet=sheet, since=(), log=Log(), confirmed=None, opened={}, replaced=replaced, renewal=(),
        set_aside=aside,
    )  # fmt: skip


def require_part_stage(sheet: PrefilledSheet) -> None:
    """Refuse a sheet of what is measured at assembly: its verdict would stand as that of the part."""
    if sheet.stage != "part":
        raise BadInput("a part is judged on a sheet of its own, not on one of its assembly", got=sheet.stage)


def _renewed(record: PartRecord, data: Payload) -> PartRecord:
    by, reason = str(data["by"]), str(data["reason"])
    if not by.strip() or not reason.strip():
        raise BadInput("readings are set aside by a named person for a reason")
    return replace(record, renewal=(by, reason))


def _entry(record: PartRecord, data: Payload) -> PartRecord:
    sheet = _same_sheet(record, data)
    if record.confirmed is not None:
        raise BadInput("an entry after the sheet was confirmed")
    entry = Entry.from_json({k: v for k, v in data.items() if k != "sheet"})
    if record.past and day_of(entry.what.at) < day_of(record.begun) - CLOCKS:
        raise BadInput("a reading from before this inspection began", got=entry.what.at)
    check_fits(sheet, entry.what)
    return replace(record, log=Log((*record.log.entries, entry)))


def _opened(record: PartRecord, data: Payload) -> PartRecord:
    sheet, criterion = _same_sheet(record, data), str(data["criterion"])
    estimate = open_estimate(sheet, criterion, record.log)
    return replace(record, opened={**record.opened, criterion: estimate})


def _confirmed(record: PartRecord, data: Payload) -> PartRecord:
    if record.sheet is None or record.confirmed is not None:
        raise BadInput("a confirmation without an open sheet")
    if record.late:
        raise BadInput("a confirmation that passes over a later finding", got=record.late[0])
    sheet = ConfirmedSheet(
        prefilled=record.sheet, log=record.log, confirmed_by=str(data["by"]), confirmed_at=str(data["at"])
    )
    if sheet.digest != data["digest"]:
        raise BadInput("the confirmation was given for another sheet")
    if Verdict(sheet).word != data["word"]:
        raise BadInput("the verdict derived now differs from the one noted then", got=data["word"])
    return replace(record, confirmed=sheet)


def _report(record: PartRecord, data: Payload) -> PartRecord:
    return record


def _same_sheet(record: PartRecord, data: Payload) -> PrefilledSheet:
    if record.sheet is None or record.sheet.digest != data["sheet"]:
        raise BadInput("it belongs to a sheet that is not open")
    return record.sheet


_STEPS: Mapping[str, Callable[[PartRecord, Payload], PartRecord]] = {
    "part": _part, "arrival": _arrival, "photo": _photo, "survey": _survey, "marks": _marks,
    "renewed": _renewed, "sheet": _sheet, "entry": _entry, "opened": _opened, "confirmed": _confirmed,
    "report": _report,
}  # fmt: skip
