"""A crate of photos to a board: measured in parallel, kept in the ledger, sheets laid, pages written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from wearvision import __version__
from wearvision.app import sheets as pages
from wearvision.app.measuring import measure_photo
from wearvision.app.rubrics import load_rubric, rubric_folder
from wearvision.app.shop import Shop
from wearvision.crates.batch import BatchEnd, Outcome, batch_pool, measure_all, outcomes
from wearvision.crates.crate import Crate, CratePhoto, read_crate
from wearvision.crates.journal import Journal, compact
from wearvision.crates.pool import LIMIT_S, Done, Job, Pool, SetAside
from wearvision.crates.worker import workers_for
from wearvision.errors import WearvisionError
from wearvision.finding_record import finding_from_record
from wearvision.pages.board import BoardModel, PartCard, board_csv, board_page
from wearvision.photos import read_bytes
from wearvision.rules.same import merge
from wearvision.rules.sheet import prefill


@dataclass(frozen=True, kw_only=True)
class TriageEnd:
    """What a triage left behind.

    Attributes
    ----------
    board : Path or None
        The board's file; `None` when the run was stopped before it.
    parts, photos, fresh : int
        Parts on the board; photos of the crate; photos measured in this run.
    aside : tuple of (str, str)
        Names that were set aside, with the reason.
    retakes : int
        Photos to take again.
    dropped : int
        Torn lines of an earlier run that were measured again.
    stopped : bool
    next_command : str
        What to type next; empty when nothing follows.
    """

    board: Path | None
    parts: int
    photos: int
    fresh: int
    aside: tuple[tuple[str, str], ...]
    retakes: int
    dropped: int
    stopped: bool
    next_command: str

    def to_json(self) -> dict[str, Any]:
        """Field by field."""
        return {**vars(self), "board": None if self.board is None else str(self.board),
                "aside": [{"name": n, "why": w} for n, w in self.aside]}  # fmt: skip


@dataclass(kw_only=True)
class _Part:
    """Photos of one part as they came out of the batch."""

    tag: str
    kinds: set[str] = field(default_factory=set)
    photos: list[tuple[CratePhoto, Mapping[str, Any]]] = field(default_factory=list)


def triage(
    folder: Path,
    out: Path,
    shop: Shop,
    at: datetime,
    *,
    workers: int | None = None,
    limit_s: float = LIMIT_S,
    again: bool = False,
    on_photo: Callable[[str, int], None] = lambda _name, _total: None,
) -> TriageEnd:
    """Measure a crate and lay its board.

    Finished photos are never measured twice: `out` holds the journal. A run that was stopped or killed goes on
    when the same command is given again.

    Parameters
    ----------
    folder, out : Path
        Crate; folder for board, sheets and journal.
    shop : Shop
        Where parts, photos and sheets are kept.
    workers : int, optional
        Processes; as many as cores and memory allow when left out.
    limit_s : float
        Time limit for one photo.
    again : bool
        Try photos once more that were set aside for a fault of ours.
    on_photo : callable
        Told each finished photo's name and the number of all.

    Raises
    ------
    BadInput
        When the crate, the rubrics or the output folder cannot be used.
    """
    crate = read_crate(folder)
    kinds = sorted({p.stated.part_kind for p in crate.photos if p.stated.part_kind})
    rubrics = {kind: load_rubric(kind, shop.rubric).digest for kind in kinds}
    work = partial(measure_crate_photo, rubric=rubric_folder(shop.rubric))
    count = min(workers or workers_for(), len(crate.photos))
    total = len(crate.photos)
    with Journal(out) as journal, batch_pool(work, workers=count, limit_s=limit_s) as pool:
        end = measure_all(
            crate.photos, journal, pool, context=[__version__, rubrics], again=again,
            on_outcome=lambda name, _: on_photo(name, total),
        )  # fmt: skip
        if end.stopped:
            return _stopped(crate, end, journal)
        return _lay(crate, end, journal, out, shop, at, count)


def measure_crate_photo(photo: CratePhoto, *, rubric: Path) -> dict[str, Any]:
    """Work of one process: the result without the photo's name, which is not part of what was measured."""
    result = measure_photo(photo.path, photo.stated, rubric=rubric, want_tags=not photo.tag).to_json()
    del result["public"]["photo"]["file"]
    return result


def _stopped(crate: Crate, end: BatchEnd, journal: Journal) -> TriageEnd:
    return TriageEnd(
        board=None, parts=len(crate.parts), photos=len(crate.photos), fresh=end.fresh, aside=(), retakes=0,
        dropped=journal.dropped, stopped=True, next_command="",
    )  # fmt: skip


def _lay(crate: Crate, end: BatchEnd, journal: Journal, out: Path, shop: Shop, at: datetime, workers: int) -> TriageEnd:
    """Keep what was measured, lay the sheets, write the pages."""
    aside = list(crate.refused)
    parts = _sort(outcomes(crate.photos, end, journal), aside)
    tags = []
    with (out / "photos.jsonl").open("w", encoding="utf-8") as lines:
        for part in parts:
            for photo, result in part.photos:
                lines.write(compact(_named(result, photo)) + "\n")
            if _keep(part, crate, shop, at, aside):
                tags.append(part.tag)
    cards = _draw(tags, shop, out, at, workers, aside)
    board = BoardModel(
        crate=crate.name, made_at=pages.when(at), version=__version__, photos_total=len(crate.photos),
        photos_done=len(end.keys), parts=tuple(cards), set_aside=tuple(aside),
    )  # fmt: skip
    (out / "board.html").write_text(board_page(board), encoding="utf-8")
    (out / "board.csv").write_text(board_csv(board), encoding="utf-8", newline="")
    first = next((p for _, _, group in board.groups()[1:] for p in group), None)
    return TriageEnd(
        board=out / "board.html", parts=len(cards), photos=len(crate.photos), fresh=end.fresh,
        aside=tuple(aside), retakes=sum(len(c.retakes) for c in cards), dropped=journal.dropped, stopped=False,
        next_command=first.command if first else "",
    )  # fmt: skip


def _sort(done: Iterable[tuple[CratePhoto, Outcome]], aside: list[tuple[str, str]]) -> Iterator[_Part]:
    """Photos by part; one that belongs nowhere or to two parts is set aside with the question."""
    parts: dict[str, _Part] = {}
    for photo, outcome in done:
        if "aside" in outcome:
            aside.append((photo.name, str(outcome["aside"]["why"])))
            continue
        result = outcome["done"]
        tags = [photo.tag] if photo.tag else result["part_tags"]
        if len(tags) != 1:
            why = f"two part tags in it: {', '.join(tags)}; show one part only" if tags else (
                "belongs to no part: put it in a folder named after the part's tag, or show the tag's QR"
            )  # fmt: skip
            aside.append((photo.name, why))
            continue
        part = parts.setdefault(tags[0], _Part(tag=tags[0]))
        part.photos.append((photo, result))
        part.kinds |= {photo.stated.part_kind} if photo.stated.part_kind else set()
    return iter([parts[tag] for tag in sorted(parts)])


def _keep(part: _Part, crate: Crate, shop: Shop, at: datetime, aside: list[tuple[str, str]]) -> bool:
    """One part into the ledger and its sheet laid; false when a person must say more."""
    try:
        if len(part.kinds) != 1:
            said = f"is called {' and '.join(sorted(part.kinds))}" if part.kinds else "has no kind"
            aside.append((part.tag, f'this part {said}: state it once in crate.toml, [parts."{part.tag}"] kind'))
            return False
        kind = next(iter(part.kinds))
        shop.ledger.receive(part.tag, kind, crate.name, at)
        for photo, result in part.photos:
            data = read_bytes(photo.path)
            sha = shop.blobs.put(data, photo.path.suffix.lower() or ".jpg")
            shop.ledger.keep_photo(part.tag, _photo_record(photo, sha), _survey_record(photo, result), at)
        findings = [
            (result["public"]["photo"]["sha256"], finding_from_record(record))
            for _, result in part.photos for record in result["records"] if result["public"]["usable"]
        ]  # fmt: skip
        views = {r["public"]["photo"]["sha256"]: r["public"]["view"] for _, r in part.photos}
        sheet = prefill(load_rubric(kind, shop.rubric), part.tag, merge(findings, views), photos=views)
        shop.ledger.begin(sheet, at)
        return True
    except WearvisionError as error:
        if error.exit_code == 5:
            raise
        aside.append((part.tag, error.line()))
        return False


def _draw(
    tags: list[str], shop: Shop, out: Path, at: datetime, workers: int, aside: list[tuple[str, str]]
) -> list[PartCard]:
    """The bench sheet of each part written, its card for the board; in parallel, in the order of the tags."""
    cards: dict[str, PartCard] = {}

    def back(outcome: Done[PartCard] | SetAside) -> None:
        if isinstance(outcome, Done):
            cards[outcome.name] = outcome.value
        else:
            aside.append((outcome.name, outcome.why))

    work = partial(pages.part_job, data=shop.store.folder, out=out, at=at)
    with Pool(work, workers=max(1, min(workers, len(tags)))) as pool:
        if pool.run((Job(name=tag, payload=tag) for tag in tags), back).stopped:
            raise KeyboardInterrupt
    return [cards[tag] for tag in tags if tag in cards]


def _photo_record(photo: CratePhoto, sha: str) -> dict[str, Any]:
    stated = {k: v for k, v in vars(photo.stated).items() if v is not None and k != "nominal"}
    return {"sha256": sha, "file": photo.name, "stated": {**stated, **photo.stated.nominal}}


def _survey_record(photo: CratePhoto, result: Mapping[str, Any]) -> dict[str, Any]:
    return {**_named(result, photo), "drawing": result["drawing"]}


def _named(result: Mapping[str, Any], photo: CratePhoto) -> dict[str, Any]:
    public = dict(result["public"])
    public["photo"] = {"file": photo.name, **public["photo"]}
    return public
