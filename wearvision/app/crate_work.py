"""What a worker does with one photo of a crate. Kept light: a fresh process imports it."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Any

from wearvision.app.bench import NOTHING_KEPT, Bench
from wearvision.app.envelope import close
from wearvision.app.measuring import measure_photo
from wearvision.crates.crate import CratePhoto
from wearvision.crates.worker import one_thread, preparing
from wearvision.measure.compiled import while_compiling

_WORKING = ExitStack()
"""What holds for as long as the process works."""


def prepare() -> None:
    """Prepare a worker that measures: what it compiles at its first photos does not count as theirs."""
    _WORKING.enter_context(while_compiling(preparing))
    one_thread()


def measure_crate_photo(photo: CratePhoto, *, rubric: Path, bench: Bench = NOTHING_KEPT) -> dict[str, Any]:
    """Work of one process: the result without the photo's name, which is not part of what was measured.

    The records, sealed estimates in them, go into an envelope: the journal lies beside the board.
    """
    measured = measure_photo(photo.path, photo.stated, rubric=rubric, want_tags=True, bench=bench, for_sheet=True)
    result = measured.to_json()
    del result["public"]["photo"]["file"]
    return {**result, "records": close(result["records"])}
