"""Proof that all is as it was written, and copies of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wearvision.cli.options import DATA, Data, Json, Rubric
from wearvision.talk import give, put, say


def check(
    data: Data = DATA, rubric: Rubric = None, as_json: Json = False,
    head: Annotated[str | None, typer.Option(help="Chain head printed on a report: the ledger must hold it.")] = None,
) -> None:
    """Check rubrics, installation, and that no stored byte changed."""
    from wearvision.app.checkup import check as run

    lines = run(data, rubric, head)
    for line in lines:
        if as_json:
            give(vars(line))
        else:
            put(f"{'ok  ' if line.sound else 'BAD '} {line.what}: {line.found}")
    raise typer.Exit(max((line.exit_code for line in lines if not line.sound), default=0))


def backup(
    file: Annotated[Path, typer.Argument(help="Archive to write.")], data: Data = DATA, as_json: Json = False
) -> None:
    """Write one consistent archive of ledger and photos."""
    from wearvision.app.keeping import backup as run

    made = run(data, file)
    if as_json:
        give(made)
    say(f"wrote {file}")


def restore(file: Annotated[Path, typer.Argument(help="Archive.")], data: Data = DATA, as_json: Json = False) -> None:
    """Restore an archive into a new data folder, and prove it."""
    from wearvision.app.keeping import restore as run

    made = run(file, data)
    if as_json:
        give(made)
    say(f"restored into {data}")
