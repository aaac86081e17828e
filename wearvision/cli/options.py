"""Options that several commands share, and what every bench is told."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CAUTION = (
    "Before hands go in: isolate and lock out, drain residual fluid, mind sharp edges and lifting. The maker's manual, "
    "local codes and licensed practice come first."
)

Data = Annotated[Path, typer.Option("--data", help="Data folder of this bench.", envvar="WEARVISION_DATA")]
DATA = Path("wearvision-data")
Out = Annotated[Path, typer.Option("--out", help="Folder for pages.")]
OUT = Path("wearvision-out")
Rubric = Annotated[Path | None, typer.Option("--rubric", help="Folder of rubrics instead of ours.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
By = Annotated[str, typer.Option("--by", help="Your name; it stands on the record.")]
Tag = Annotated[str, typer.Argument(help="Tag of the part.")]
PumpFile = Annotated[Path, typer.Argument(help="Pump file: gaps, rings, materials, duty.", metavar="PUMP.toml")]
