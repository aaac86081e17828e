"""Write a scale card to a file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wearvision.app.files import write_whole
from wearvision.cards import printing as cards
from wearvision.cards.tag_sheet import tags_pdf
from wearvision.errors import BadInput
from wearvision.stated import View


def write_tags(out: Path, listed: Sequence[str], page: str) -> dict[str, Any]:
    """Write a sheet of part tags as PDF; a comma parts two tags.

    Raises
    ------
    BadInput
        For another ending, or what the sheet itself refuses.
    """
    if out.suffix.lower() != ".pdf":
        raise BadInput("tags are written as .pdf", got=out.name, do="change the ending of --out")
    tags = [tag.strip() for text in listed for tag in text.split(",") if tag.strip()]
    write_whole(out, tags_pdf(tags, page=page))
    return {"file": str(out), "tags": tags, "page": page}


def write_card(out: Path, number: int, size: str, serial: str, view: View | None, page: str) -> dict[str, Any]:
    """Write a card as PDF or PNG, told by the file's ending; returns what was printed on it.

    Raises
    ------
    BadInput
        For another ending, or what the card itself refuses.
    """
    serial = serial or cards.new_serial(datetime.now(UTC).isoformat(), size, str(number))
    if out.suffix.lower() == ".pdf":
        data = cards.card_pdf(number, size, serial=serial, view=view, page=page)
    elif out.suffix.lower() == ".png":
        data = cards.card_png(number, size, serial=serial, view=view)
    else:
        raise BadInput("a card is written as .pdf or .png", got=out.name, do="change the ending of --out")
    write_whole(out, data)
    return {"file": str(out), "card": number, "size": size, "serial": serial, "view": view, "page": page}
