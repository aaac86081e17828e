"""A crate of photos to a board: measured in parallel, kept in the ledger, sheets laid, pages written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from wearvision import __version__
from wearvision.app import sheets as pages
from wearvision.app.bench import keep_camera, kept
from wearvision.app.cameras import look_for_cameras
from wearvision.app.crate_work import measure_crate_photo, prepare
from wearvision.app.files import write_whole
from wearvision.app.intake import Intake, Part, named
from wearvision.app.retakes import retake_rows, write_retakes
from wearvision.app.rubrics import load_rubric, rubric_folder
from wearvision.app.shop import Shop
from wearvision.crates.batch import BatchEnd, batch_pool, measure_all, outcomes
from wearvision.crates.crate import Crate, read_crate
from wearvision.crates.jobs import Done, Job, SetAside
from wearvision.crates.journal import Journal, write_lines
from wearvision.crates.pool import LIMIT_S, Pool
from wearvision.crates.worker import workers_for
from wearvision.pages.board import BoardModel, PartCard, board_csv, board_page
from wearvision.pages.page import some
from wearvision.store.files import disk_in_words

FORM = 3
"""Form of a result in the journal; a higher number has every photo measured again."""


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
    notes : tuple of (str, str)
        Tags of parts whose sheet stays as it was laid though something is new, and what.
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
    notes: tuple[tuple[str, str], ...]
    dropped: int
    stopped: bool
    next_command: str

    @property
    def words(self) -> str:
        """How it went, in one line."""
        what = f"{some(self.photos, 'photo')} of {some(self.parts, 'part')}"
        return f"{what}, {self.fresh} measured now; {some(self.retakes, 'photo')} to retake"

    def to_json(self) -> dict[str, Any]:
        """Field by field."""
        return {**vars(self), "board": None if self.board is None else str(self.board),
                "aside": [{"name": n, "why": w} for n, w in self.aside],
                "notes": [{"tag": t, "note": n} for t, n in self.notes]}  # fmt: skip


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
    on_preparing: Callable[[], None] = lambda: None,
) -> TriageEnd:
    """Measure a crate and lay its board.

    Two passes: the cards of some photos of each camera are found and calibrate it (see `cameras`); then every photo
    is measured.

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
    on_preparing : callable
        Told, again and again, while the measuring code is compiled, which is kept for later runs.

    Raises
    ------
    BadInput
        When the crate, the rubrics or the output folder cannot be used.
    """
    crate = read_crate(folder)
    kinds = sorted({p.stated.part_kind for p in crate.photos if p.stated.part_kind})
    rubrics = {kind: load_rubric(kind, shop.rubric).digest for kind in kinds}
    count = max(1, min(workers or workers_for(), len(crate.photos)))
    total = len(crate.photos)
    with Journal(out) as journal:
        looked = look_for_cameras(
            crate.photos, journal, workers=count, limit_s=limit_s, again=again, on_preparing=on_preparing
        )
        if looked.stopped:
            return _stopped(crate, looked.end, journal)
        for key, found in looked.calibrations.items():
            keep_camera(shop, key, found, at)
        bench = looked.bench(kept(shop))
        work = partial(measure_crate_photo, rubric=rubric_folder(shop.rubric), bench=bench)
        with batch_pool(
            work, workers=count, limit_s=limit_s, prepare=prepare, on_preparing=on_preparing
        ) as pool:
            end = measure_all(
                crate.photos, journal, pool, context=[__version__, FORM, rubrics, bench.record()], again=again,
                on_outcome=lambda name, _: on_photo(name, total),
            )  # fmt: skip
        if end.stopped:
            return _stopped(crate, end, journal)
        return _lay(crate, end, journal, out, shop, at, count)


def _stopped(crate: Crate, end: BatchEnd, journal: Journal) -> TriageEnd:
    return TriageEnd(
        board=None, parts=len(crate.parts), photos=len(crate.photos), fresh=end.fresh, aside=(), retakes=0, notes=(),
        dropped=journal.dropped, stopped=True, next_command="",
    )  # fmt: skip


def _lay(crate: Crate, end: BatchEnd, journal: Journal, out: Path, shop: Shop, at: datetime, workers: int) -> TriageEnd:
    """Keep what was measured, lay the sheets, write the pages."""
    intake = Intake(crate=crate, shop=shop, at=at, aside=list(crate.refused))
    parts = intake.sort(outcomes(crate.photos, end, journal))
    with disk_in_words("the results cannot be written", out):
        write_lines(out / "photos.jsonl", (named(result, photo) for part in parts for photo, result in part.photos))
    tags = [part.tag for part in parts if intake.keep(part)]
    aside = intake.aside
    cards = _draw(tags, shop, out, at, workers, aside)
    board = BoardModel(
        crate=crate.name, made_at=pages.when(at), version=__version__, photos_total=len(crate.photos),
        photos_done=len(end.keys), parts=tuple(cards), set_aside=tuple(aside),
    )  # fmt: skip
    write_whole(out / "board.html", board_page(board))
    write_whole(out / "board.csv", board_csv(board))
    write_retakes(out, [row for part in parts for row in retake_rows(part.tag, _surveys(part))])
    first = next((p for _, _, group in board.groups()[1:] for p in group), None)
    return TriageEnd(
        board=out / "board.html", parts=len(cards), photos=len(crate.photos), fresh=end.fresh,
        aside=tuple(aside), retakes=board.retakes, notes=tuple(intake.notes),
        dropped=journal.dropped, stopped=False, next_command=first.command if first else "",
    )  # fmt: skip


def _surveys(part: Part) -> list[dict[str, Any]]:
    return [named(result, photo) for photo, result in part.photos]


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

    work = partial(pages.part_job, data=shop.folder, out=out, at=at)
    with Pool(work, workers=max(1, min(workers, len(tags)))) as pool:
        if pool.run((Job(name=tag, payload=tag) for tag in tags), back).stopped:
            raise KeyboardInterrupt
    return [cards[tag] for tag in tags if tag in cards]
