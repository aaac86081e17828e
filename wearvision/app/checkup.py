"""Does everything hold together: rubrics, ledger and photos, installation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from wearvision.app.rubrics import load_rubric
from wearvision.app.shop import USUAL_FOLDER, Shop, open_shop
from wearvision.errors import UsageError, WearvisionError
from wearvision.measure.compiled import kept_in
from wearvision.stated import PART_KINDS

HEAD = re.compile(r"[0-9a-f]{16,64}")
"""As printed: all of a chain head, or enough of its first digits that no other can be meant."""
WHEELS = ("opencv-python", "opencv-contrib-python", "opencv-python-headless", "opencv-contrib-python-headless")


@dataclass(frozen=True, kw_only=True)
class Line:
    """One thing that was checked: what, whether it holds, and what was found."""

    what: str
    sound: bool
    found: str
    exit_code: int = 5


def check(data: Path, rubric: Path | None = None, head: str | None = None) -> list[Line]:
    """Check the installation, every rubric, and the data folder.

    Parameters
    ----------
    data : Path
        A folder that is not there is sound only under its usual name: then nothing has been kept yet.
    rubric : Path, optional
        Folder of rubrics; ours when left out.
    head : str, optional
        Chain head printed on a report. A ledger written anew from end to end holds together in itself; only what
        was printed from the old one tells.

    Raises
    ------
    UsageError
        When `head` is none.
    """
    if head is not None and not HEAD.fullmatch(head.lower()):
        raise UsageError("not a chain head", got=head, do="give 16 or more of its digits, as printed on the report")
    return [_opencv(), _measuring_code(), *_rubrics(rubric), *_data(data, head)]


def _opencv() -> Line:
    found = []
    for name in WHEELS:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            continue
    if len(found) > 1:
        repair = "remove them all, then install opencv-python-headless alone: removing one of two leaves no cv2"
        return Line(what="OpenCV", sound=False, found=f"{' and '.join(found)} share one folder; {repair}", exit_code=3)
    return Line(what="OpenCV", sound=bool(found), found=found[0] if found else "not installed", exit_code=3)


def _measuring_code() -> Line:
    folder = kept_in()
    repair = "it cannot be kept, so every run prepares it anew: name a folder by NUMBA_CACHE_DIR"
    found = repair if folder is None else f"kept in {folder}"
    return Line(what="measuring code", sound=folder is not None, found=found, exit_code=3)


def _rubrics(folder: Path | None) -> list[Line]:
    lines = []
    for kind in PART_KINDS:
        try:
            rubric = load_rubric(kind, folder)
            found = f"{len(rubric.file.criteria)} criteria, edition {rubric.file.edition}, digest {rubric.digest[:12]}"
            lines.append(Line(what=f"rubric {kind}", sound=True, found=found))
        except WearvisionError as error:
            lines.append(Line(what=f"rubric {kind}", sound=False, found=error.line(), exit_code=error.exit_code))
    return lines


def _photos_gone(shop: Shop) -> Iterator[str]:
    """Photos that an event names and the blobs do not hold."""
    kept = {blob.sha256 for blob in shop.blobs.all()}
    for event in shop.ledger.chain.events(kind="photo"):
        if event.payload.get("sha256") not in kept:
            yield f"{event.tag}: photo {event.payload.get('file')} of event {event.seq} is not kept"


def _printed(shop: Shop, head: str) -> Line:
    """Whether the ledger still holds the event a report was printed from."""
    seq = shop.ledger.chain.seq_of(head)
    found = f"{head} is event {seq}" if seq else f"{head} is not in this ledger: it is not the one the report came from"
    return Line(what="printed head", sound=seq is not None, found=found)


def _data(folder: Path, head: str | None) -> list[Line]:
    if not folder.exists():
        return [Line(what="data folder", sound=folder == USUAL_FOLDER, found=f"none at {folder}", exit_code=3)]
    try:
        with open_shop(folder) as shop:
            chain = shop.ledger.chain.verify()
            blobs = shop.blobs.verify_all()
            records = [*shop.ledger.verify(), *_photos_gone(shop)] if chain.sound else []
            printed = [] if head is None else [_printed(shop, head.lower())]
    except WearvisionError as error:
        return [Line(what="data folder", sound=False, found=error.line(), exit_code=error.exit_code)]
    lines = [Line(what="ledger", sound=chain.sound, found=f"{chain.events} events, head {chain.head.hash[:16]}")]
    lines += [Line(what="ledger", sound=False, found=str(p)) for p in chain.problems]
    lines += [*printed, *(Line(what="photos", sound=False, found=str(p)) for p in blobs.problems)]
    lines += [Line(what="record", sound=False, found=line) for line in records]
    if blobs.sound:
        lines.append(Line(what="photos", sound=True, found="every kept photo is as it was"))
    if chain.sound and not records:
        lines.append(Line(what="records", sound=True, found="every sheet, reading and verdict derives again"))
    return lines
