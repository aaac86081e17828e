"""The command line: one function per use case, no logic. Data to stdout, talk to stderr.

Exit codes: 0 done, 2 usage, 3 bad input, 4 needs a person (a retake, a missing reading), 5 a record does not
hold together. Every command takes `--json`.
"""

from __future__ import annotations

from typing import Annotated

import typer

from wearvision import __version__
from wearvision.cli.bench import read, report, sheet, verdict
from wearvision.cli.cards import card
from wearvision.cli.keeping import backup, check, restore
from wearvision.cli.options import CAUTION
from wearvision.cli.photos import measure, triage
from wearvision.cli.shop import clearance, history, orders
from wearvision.talk import put, run

USAGE = 2
"""Exit code of a call without a command."""
COMMANDS = (
    card, measure, triage, sheet, read, verdict, report, clearance, history, orders, check, backup, restore,
)  # fmt: skip
"""In the order of the work, which is that of the help."""
app = typer.Typer(
    help="Wear grading for pump wet ends: the photo says where, the gauge how deep, a person decides.",
    epilog=CAUTION,
    invoke_without_command=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for command in COMMANDS:
    app.command()(command)


def main() -> None:
    """Run the command line."""
    run(app)


def _version(value: bool) -> None:
    if value:
        put(__version__)
        raise typer.Exit


@app.callback()
def _root(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        put(context.get_help())
        raise typer.Exit(USAGE)
