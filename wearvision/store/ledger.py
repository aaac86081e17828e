"""The book of all parts on one chain: what may be written, and reading a part back.

What the events are and what each does to a record stands in `wearvision.store.record`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from difflib import get_close_matches

from wearvision.arrival import Arrival
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, WearvisionError
from wearvision.rules.entry import Entry, Log
from wearvision.rules.reading import GaugeReading, SightCheck, day_of
from wearvision.rules.sheet import ConfirmedSheet, PrefilledSheet, check_fits, open_estimate
from wearvision.rules.verdict import Verdict
from wearvision.store.arriving import corrected, next_arrival
from wearvision.store.chain import Chain
from wearvision.store.event import Draft
from wearvision.store.record import PartRecord, replay, require_part_stage

__all__ = ["Ledger", "PartRecord", "replay", "require_reason"]


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
        record = self._replayed(tag)
        if not record.kind:
            raise BadInput("no such part in the ledger", got=tag, do=_known_parts(tag, self.tags()))
        return record

    def _replayed(self, tag: str) -> PartRecord:
        record = PartRecord(tag=tag)
        for event in self.chain.events(tag=tag):
            record = replay(record, event)
        return record

    def verify(self) -> Iterator[str]:
        """Replay every part; yields one line per record that does not stand up."""
        for tag in dict.fromkeys(e.tag for e in self.chain.events() if e.tag):
            try:
                self.load(tag)
            except WearvisionError as error:
                yield f"{tag}: {error.line()}"

    def receive(self, tag: str, kind: str, crate: str, at: datetime, *, came: Arrival | None = None) -> None:
        """Note how a part came in: a crate it was not in before begins a new inspection, without any reading.

        The same crate again adds what is stated now to what was stated before; nothing new changes nothing.

        Parameters
        ----------
        tag, kind, crate : str
        at : datetime
        came : Arrival, optional
            Facts stated about it, of the same crate.

        Raises
        ------
        BadInput
            A second kind for the same tag, running hours that go back, or other facts than those that a confirmed
            inspection stands on.
        NeedsPerson
            Readings stand on an inspection that is still open, or the crate is that of an earlier inspection.
        """
        said, record = came or Arrival(crate=crate), self._replayed(tag)
        if said.crate != crate:
            raise BadInput("facts of another crate", got=said.crate)
        if not record.kind:
            drafts = [Draft(kind="part", tag=tag, payload={"kind": kind, "crate": crate}, at=at)]
            drafts += [_arrival(tag, said, at)] if said.stated else []
            self.chain.append_many(drafts, seen=0)
        elif record.kind != kind:
            raise BadInput(f"part {tag} is in the ledger as {record.kind}", got=kind, do="give it another tag")
        elif (wanted := next_arrival(record, said)) is not None:
            self.chain.append_many([_arrival(tag, wanted, at)], seen=record.seq)

    def correct(self, tag: str, said: Arrival, by: str, reason: str, at: datetime) -> PartRecord:
        """A person corrects what was stated about one inspection of a part; the first statement stays in the chain.

        Raises
        ------
        BadInput
            Nobody named, no reason, no inspection of that crate, or hours that do not rise from one to the next.
        """
        record = self.load(tag)
        if not (by.strip() and reason.strip()):
            raise BadInput("a correction needs a name and a reason", got=(by, reason))
        wanted = corrected(record, said)
        draft = _arrival(tag, wanted, at, by=by.strip(), reason=reason.strip())
        return replay(record, self.chain.append_many([draft], seen=record.seq)[0])

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

    def begin(
        self,
        sheet: PrefilledSheet,
        at: datetime,
        *,
        renew: bool = False,
        by: str = "",
        reason: str = "",
        marks: Mapping[str, Sequence[Mapping[str, object]]] | None = None,
    ) -> bool:
        """Begin an inspection; returns whether a new sheet was laid.

        A sheet that already has entries is left alone unless `renew`; the same sheet again changes nothing.

        Parameters
        ----------
        sheet : PrefilledSheet
        at : datetime
        renew : bool
            Lay the sheet though entries stand on the one before; they are set aside, and stay on record.
        by, reason : str
            Who sets standing entries aside, and why; needed when there are any.
        marks : mapping of str to sequence of mapping, optional
            Per photo, by sha256, all marks of persons that the sheet's findings are made with; kept with it,
            both or none.

        Raises
        ------
        NeedsPerson
            When entries would be set aside by nobody, or for no reason.
        BadInput
            For a sheet of another stage than that of the part.
        """
        require_part_stage(sheet)
        record = self.load(sheet.tag)
        standing = record.sheet
        same = standing is not None and standing.digest == sheet.digest
        if not renew and (same or record.log.entries):
            return False
        require_reason(record, by, reason)
        drafts = [
            Draft(kind="marks", tag=sheet.tag, payload={"sha256": sha, "marks": list(all_of_it)}, at=at)
            for sha, all_of_it in (marks or {}).items()
        ]
        if record.log.entries:
            payload = {"by": by.strip(), "reason": reason.strip()}
            drafts.append(Draft(kind="renewed", tag=sheet.tag, payload=payload, at=at))
        drafts.append(Draft(kind="sheet", tag=sheet.tag, payload=sheet.to_json(), at=at))
        self.chain.append_many(drafts, seen=record.seq)
        return True

    def commit(self, tag: str, entry: Entry, at: datetime) -> PartRecord:
        """Commit one entry; see `commit_all`."""
        return self.commit_all(tag, (entry,), at)

    def commit_all(self, tag: str, entries: Sequence[Entry], at: datetime) -> PartRecord:
        """Commit entries in their order, all or none.

        Raises
        ------
        BadInput, NeedsPerson
            No sheet, sheet already confirmed, an entry that does not fit.
        """
        record, sheet = self._open(tag)
        for entry in entries:
            check_fits(sheet, entry.what)
            _check_taken(record, entry.what, at)
        Log((*record.log.entries, *entries))
        drafts = [
            Draft(kind="entry", tag=tag, payload={"sheet": sheet.digest, **entry.to_json()}, at=at) for entry in entries
        ]
        for event in self.chain.append_many(drafts, seen=record.seq):
            record = replay(record, event)
        return record

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

    def require_sound(self) -> None:
        """Refuse to go on when any event of any part is missing, changed or foreign: it may be one of this part.

        Raises
        ------
        BrokenRecord
            Naming the first fault.
        """
        report = self.chain.verify()
        if not report.sound:
            raise BrokenRecord(
                f"the ledger does not hold together: {report.problems[0]}",
                do="run check, and restore a backup into a new folder",
            )

    def confirm(self, tag: str, by: str, at: datetime) -> PartRecord:
        """A person confirms the sheet.

        Raises
        ------
        NeedsPerson
            While anything is missing, or marks were found since the sheet was laid.
        BadInput
            No sheet, or one that is confirmed already.
        BrokenRecord
            When the ledger does not hold together.
        """
        record, prefilled = self._open(tag)
        sheet = ConfirmedSheet(
            prefilled=prefilled,
            log=record.log,
            confirmed_by=by,
            confirmed_at=at.isoformat(timespec="seconds"),
        )
        if record.late:
            raise NeedsPerson(
                f"found since the sheet of {tag} was laid, and not on it: {_first(record.late)}",
                do="begin a new inspection with it: sheet with --renew",
            )
        self.require_sound()
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
            raise BadInput(f"the sheet of {tag} is confirmed and closed", do="begin a new one: sheet with --renew")
        return record, record.sheet


def _arrival(tag: str, said: Arrival, at: datetime, *, by: str = "", reason: str = "") -> Draft:
    return Draft(kind="arrival", tag=tag, payload={**said.to_json(), "by": by, "reason": reason}, at=at)


def require_reason(record: PartRecord, by: str, reason: str) -> None:
    """Entries that stand are set aside only by a named person for a reason, or `NeedsPerson`."""
    if record.log.entries and not (by.strip() and reason.strip()):
        raise NeedsPerson(
            f"{len(record.log.entries)} entries stand on the sheet of {record.tag}: a new one sets them aside",
            do="say who does it and why: --by NAME --reason WHY",
        )


def _first(names: Sequence[str]) -> str:
    return names[0] + (f" and {len(names) - 1} more" if len(names) > 1 else "")


def _known_parts(tag: str, tags: Sequence[str]) -> str:
    """A few tags to choose from: those nearly the same, else those that came last."""
    if not tags:
        return "triage its photos first: no part is known yet"
    near = {t.casefold(): t for t in tags}
    if close := get_close_matches(tag.casefold(), near, 3):
        return f"did you mean {' or '.join(near[t] for t in close)}?"
    more = f" and {len(tags) - 5} more" if len(tags) > 5 else ""
    return f"known parts: {', '.join(tags[-5:])}{more}"


def _check_taken(record: PartRecord, what: GaugeReading | SightCheck, at: datetime) -> None:
    """A reading is taken after its sheet was laid and not in the future; a day's grace for clocks and zones."""
    day, grace = day_of(what.at), timedelta(days=1)
    if not day_of(record.begun) - grace <= day <= at.date() + grace:
        laid = day_of(record.begun).isoformat()
        raise BadInput(f"taken before its sheet was laid on {laid}, or in the future", got=what.at, do="check the date")
