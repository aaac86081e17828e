"""Fake work for the pool and the batch: each payload says what becomes of its worker."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wearvision.crates.worker import preparing
from wearvision.errors import BadInput

if TYPE_CHECKING:
    from wearvision.crates.crate import CratePhoto

LOG = "WEARVISION_TEST_MARKS"


def nothing() -> None:
    """Prepare a worker without loading OpenCV."""


def no_start() -> None:
    """Prepare a worker that cannot."""
    os._exit(7)


def mark(folder: str, name: str) -> int:
    """Leave one file per execution; returns how many there are now."""
    place = Path(folder)
    (place / f"{name}.{time.time_ns()}.{os.getpid()}").touch()
    return len(list(place.glob(f"{name}.*")))


def count(folder: Path, name: str) -> int:
    return len(list(folder.glob(f"{name}.*")))


def work(payload: tuple[str, str, str]) -> str:
    """Do as the payload (folder of marks, name, order) says."""
    folder, name, order = payload
    times = mark(folder, name)
    if order == "die" or (order == "die once" and times == 1):
        os.kill(os.getpid(), signal.SIGKILL)
    if order == "exit":
        os._exit(3)
    if order == "refuse":
        raise BadInput("not a photo", got=name, do="take it again")
    if order == "raise":
        raise ZeroDivisionError("two\nlines")
    if order == "unpicklable":
        return lambda: None  # type: ignore[return-value]  # the point of this order
    if order == "hang":
        time.sleep(600)
    if order == "prepare":
        for _ in range(4):
            preparing()
            time.sleep(0.4)
    if order.startswith("sleep"):
        time.sleep(float(order.split()[1]))
    return f"{name} done"


def measure(photo: CratePhoto) -> Mapping[str, Any]:
    """The file's second line is the order; each execution leaves a mark."""
    order = photo.path.read_text().split("\n")[1]
    return {"said": work((os.environ[LOG], photo.name, order)), "view": photo.stated.view}
