"""The record of each part: what its events say, replayed through the constructors that guard the promise.

Kinds of event, and what their payload holds:

    part       kind of the part, crate it came in
    photo      sha256, file name, view and stated facts of a photo kept as a blob
    survey     sha256 of a photo and the public result of measuring it
    sheet      a prefilled sheet; begins an inspection, the earlier one stays in the chain
    entry      a reading or a sight check, with the digest of the sheet it belongs to
    opened     a sealed estimate was shown, with the criterion and by whom
    confirmed  a person confirmed the sheet; name, time, digest and the verdict word derived then
    report     sha256 of a report that was made

Nothing here is believed because it is stored: a sheet, an entry or a confirmation that its constructor would
refuse makes the record broken, whoever wrote the row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, WearvisionError
from wearvision.rules.entry import Entry, Log
from wearvision.rules.sheet import ConfirmedSheet, PrefilledSheet, check_fits, open_estimate
from wearvision.rules.verdict import Verdict
from wearvision.store.chain import Chain
from wearvision.store.event import Draft, Event


@dataclass(frozen=True, kw_only=True)
class PartRecord:
    """What the ledger says of one part, up to event `seq`.

    Attributes
    ----------
    tag, kind, crate : str
    photos : mapping of str to mapping
        Payload of each photo by its sha256, in order of arrival.
    surveys : mapping of str to mapping
        Latest public result of each photo by its sha256.
    sheet : PrefilledSheet or None
    log : Log
    confirmed : ConfirmedSheet or None
    opened : frozenset of str
        Criteria whose sealed estimate has been shown.
    seq : int
    """

    tag: str
    kind: str = ""
    crate: str = ""
    photos: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    surveys: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    sheet: PrefilledSheet | None = None
    log: Log = field(default_factory=Log)
    confirmed: ConfirmedSheet | None = None
    opened: frozenset[str] = frozenset()
    seq: int = 0

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


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """The records of all parts, on one chain."""

    chain: Chain

    def tags(self) -> tuple[str, ...]:
        """Tags of every part, in order of arrival."""
        return tuple(dict.fromkeys(e.tag for e in self.chain.events(kind="part")))

    def load(self, tag: str) -> PartRecord:
        """Replay the events of a part.

        Raises
        ------
        BadInput
            When the ledger does not know the part.
        BrokenRecord
            When an event does not stand up to its own constructor.
        """
        record = PartRecord(tag=tag)
        for event in self.chain.events(tag=tag):
            record = replay(record, event)
        if not record.kind:
            known = ", ".join(self.tags()) or "none yet"
            raise BadInput("no such part in the ledger", got=tag, do=f"known parts: {known}")
        return record

    def verify(self) -> Iterator[str]:
        """Replay every part; yields one line per record that does not stand up."""
        for tag in dict.fromkeys(e.tag for e in self.chain.events() if e.tag):
            try:
                self.load(tag)
            except WearvisionError as error:
                yield f"{tag}: {error.line()}"

    def receive(self, tag: str, kind: str, crate: str, at: datetime) -> None:
        """Note a part, once; a second kind for the same tag is refused."""
        first = next(iter(self.chain.events(tag=tag, kind="part")), None)
        if first is None:
            self.chain.append("part", tag, {"kind": kind, "crate": crate}, at)
        elif first.payload["kind"] != kind:
            raise BadInput(
                f"part {tag} is in the ledger as {first.payload['kind']}", got=kind, do="give it another tag"
            )

    def keep_photo(self, tag: str, photo: Mapping[str, object], survey: Mapping[str, object], at: datetime) -> None:
        """Note a photo and what it measured; the same pair again changes nothing."""
        record = self.load(tag)
        sha = str(photo["sha256"])
        drafts = []
        if record.photos.get(sha) != photo:
            drafts.append(Draft(kind="photo", tag=tag, payload=photo, at=at))
        if record.surveys.get(sha) != survey:
            drafts.append(Draft(kind="survey", tag=tag, payload=survey, at=at))
        self.chain.append_many(drafts, seen=record.seq)

    def begin(self, sheet: PrefilledSheet, at: datetime, *, renew: bool = False) -> bool:
        """Begin an inspection; returns whether a new sheet was laid.

        A sheet that already has entries is left alone unless `renew`; the same sheet again changes nothing.
        """
        record = self.load(sheet.tag)
        standing = record.sheet
        same = standing is not None and standing.digest == sheet.digest
        if not renew and (same or record.log.entries):
            return False
        self.chain.append("sheet", sheet.tag, sheet.to_json(), at, seen=record.seq)
        return True

    def commit(self, tag: str, entry: Entry, at: datetime) -> PartRecord:
        """Add a reading or a sight check to the open sheet.

        Raises
        ------
        BadInput, NeedsPerson
            No sheet, sheet already confirmed, entry that does not fit.
        """
        record, sheet = self._open(tag)
        check_fits(sheet, entry.what)
        Log((*record.log.entries, entry))
        payload = {"sheet": sheet.digest, **entry.to_json()}
        return replay(record, self.chain.append("entry", tag, payload, at, seen=record.seq))

    def note_opened(self, tag: str, criterion: str, by: str, at: datetime) -> PartRecord:
        """Note that a sealed estimate was shown; refused while its readings are missing."""
        record = self.load(tag)
        if record.sheet is None:
            raise NeedsPerson(f"part {tag} has no sheet", do="triage its photos first")
        open_estimate(record.sheet, criterion, record.log)
        if criterion in record.opened:
            return record
        payload = {"sheet": record.sheet.digest, "criterion": criterion, "by": by}
        return replay(record, self.chain.append("opened", tag, payload, at, seen=record.seq))

    def confirm(self, tag: str, by: str, at: datetime) -> PartRecord:
        """A person confirms the sheet; refused while anything is missing."""
        record, prefilled = self._open(tag)
        sheet = ConfirmedSheet(
            prefilled=prefilled,
            log=record.log,
            confirmed_by=by,
            confirmed_at=at.isoformat(timespec="seconds"),
        )
        payload = {
            "by": sheet.confirmed_by, "at": sheet.confirmed_at, "digest": sheet.digest, "word": Verdict(sheet).word,
        }  # fmt: skip
        return replay(record, self.chain.append("confirmed", tag, payload, at, seen=record.seq))

    def note_report(self, tag: str, sha256: str, form: str, at: datetime) -> None:
        """Note a report that was made."""
        self.chain.append("report", tag, {"sha256": sha256, "form": form}, at)

    def _open(self, tag: str) -> tuple[PartRecord, PrefilledSheet]:
        record = self.load(tag)
        if record.sheet is None:
            raise NeedsPerson(f"part {tag} has no sheet", do="triage its photos first")
        if record.confirmed is not None:
            raise BadInput(f"the sheet of {tag} is confirmed and closed", do="begin a new inspection to change it")
        return record, record.sheet


def replay(record: PartRecord, event: Event) -> PartRecord:
    """The record after one more event."""
    step = _STEPS.get(event.kind)
    if step is None:
        raise _broken(event, "unknown kind of event")
    try:
        return replace(step(record, event.payload), seq=event.seq)
    except BrokenRecord:
        raise
    except WearvisionError as error:
        raise _broken(event, error.what) from None
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise _broken(event, f"its payload does not read: {type(error).__name__}") from None


def _broken(event: Event, why: str) -> BrokenRecord:
    return BrokenRecord(
        f"event {event.seq} ({event.kind} of {event.tag}) does not stand up: {why}",
        do="run check, and restore a backup into a new folder",
    )


Payload = Mapping[str, object]


def _part(record: PartRecord, data: Payload) -> PartRecord:
    return replace(record, kind=str(data["kind"]), crate=str(data["crate"]))


def _photo(record: PartRecord, data: Payload) -> PartRecord:
    return replace(record, photos={**record.photos, str(data["sha256"]): data})


def _survey(record: PartRecord, data: Payload) -> PartRecord:
    photo = data["photo"]
    if not isinstance(photo, Mapping):
        raise BadInput("a survey names its photo", got=photo)
    return replace(record, surveys={**record.surveys, str(photo["sha256"]): data})


def _sheet(record: PartRecord, data: Payload) -> PartRecord:
    sheet = PrefilledSheet.from_json(data)
    if sheet.tag != record.tag or sheet.rubric.kind != record.kind:
        raise BadInput("the sheet is for another part", got=(sheet.tag, sheet.rubric.kind))
    return replace(record, sheet=sheet, log=Log(), confirmed=None, opened=frozenset())


def _entry(record: PartRecord, data: Payload) -> PartRecord:
    sheet = _same_sheet(record, data)
    if record.confirmed is not None:
        raise BadInput("an entry after the sheet was confirmed")
    entry = Entry.from_json({k: v for k, v in data.items() if k != "sheet"})
    check_fits(sheet, entry.what)
    return replace(record, log=Log((*record.log.entries, entry)))


def _opened(record: PartRecord, data: Payload) -> PartRecord:
    sheet, criterion = _same_sheet(record, data), str(data["criterion"])
    open_estimate(sheet, criterion, record.log)
    return replace(record, opened=record.opened | {criterion})


def _confirmed(record: PartRecord, data: Payload) -> PartRecord:
    if record.sheet is None or record.confirmed is not None:
        raise BadInput("a confirmation without an open sheet")
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
    "part": _part, "photo": _photo, "survey": _survey, "sheet": _sheet, "entry": _entry, "opened": _opened,
    "confirmed": _confirmed, "report": _report,
}  # fmt: skip
