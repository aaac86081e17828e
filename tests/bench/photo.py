"""Whole photos, measured: in gray decodes of each, by view; against the plain script; in memory.

The photos of the demo crate, or those of a folder with a truth record beside each, as `python -m wearvision.scenes`
writes them; also by another renderer, whose drawing sizes have names of their own. The floor is OpenCV's gray decode of
the same bytes.
"""

from __future__ import annotations

import gc
import json
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from tests.bench.plain import plain
from tests.bench.ratio import Row, least_ms, median_ms
from wearvision import photos
from wearvision.app.measuring import measure_photo
from wearvision.crates.crate import read_crate
from wearvision.scenes.score import stated_of
from wearvision.stated import Stated

CRATE = Path(__file__).parent.parent.parent / "demo_images" / "crate"
WORKER_MB = 350.0
PEAK = """
import re, sys
from pathlib import Path
from wearvision.app.crate_work import measure_crate_photo
from wearvision.app.rubrics import rubric_folder
from wearvision.crates.crate import read_crate
from wearvision.crates.worker import one_thread

one_thread()
for photo in read_crate(Path(sys.argv[1])).photos:
    measure_crate_photo(photo, rubric=rubric_folder())
print(int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024)
"""


Shot = tuple[str, Path, Stated]


def rows(folder: Path | None = None) -> list[Row]:
    cv2.setNumThreads(1)
    shots = [(p.name, p.path, p.stated) for p in read_crate(CRATE).photos] if folder is None else [*_shots(folder)]
    public = [measure_photo(path, stated).public for _, path, stated in shots]
    gc.collect()
    gc.freeze()  # what the benchmark itself has loaded is not the photo's to sweep
    by_view: dict[str, dict[str, dict[str, float]]] = {}
    for (name, path, stated), result in zip(shots, public, strict=True):
        if result["usable"]:
            by_view.setdefault(result["view"], {})[name] = _spent(path, stated)
    every = [ms for view in by_view.values() for ms in view.values()]
    out = [Row(name="load, checked and hashed, median", **_median(every, "load"))]
    for view, spent in by_view.items():
        out.append(
            Row(name=f"measure {view}, median of {len(spent)}", **_median([*spent.values()], "measure"), at_most=5.0)
        )
        out += [Row(name=f"  {name}", **_median([ms], "measure")) for name, ms in spent.items()]
    return out if folder is not None else [*out, *_machine(shots[0], every)]


def _shots(folder: Path) -> Iterator[Shot]:
    """Photos of a folder that have a truth record beside them, as a person would state them."""
    for record in sorted(folder.glob("*.json")):
        truth = json.loads(record.read_text(encoding="utf-8"))
        yield record.stem, folder / Path(truth["photo"]).name, stated_of(truth)


def _spent(path: Path, stated: Stated) -> dict[str, float]:
    data = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    return least_ms(
        {
            "floor": lambda: cv2.imdecode(data, cv2.IMREAD_GRAYSCALE),
            "load": lambda: photos.load(path),
            "measure": lambda: measure_photo(path, stated),
        },
        rounds=4,
    )


def _median(spent: list[dict[str, float]], what: str) -> dict[str, float]:
    return {
        "ratio": statistics.median(ms[what] / ms["floor"] for ms in spent),
        "floor_ms": statistics.median(ms["floor"] for ms in spent),
    }


def _machine(first: Shot, every: list[dict[str, float]]) -> list[Row]:
    """The plain script against the program, and a worker's memory."""
    floor, ours = (statistics.median(ms[what] for ms in every) for what in ("floor", "measure"))
    slow = median_ms({"plain": lambda: plain(first[1])}, rounds=1)["plain"]
    return [
        Row(name="plain script / measure, median", ratio=slow / ours, floor_ms=floor, at_least=15.0),
        Row(name="peak memory of a worker / 350 MB", ratio=_peak_mb() / WORKER_MB, floor_ms=floor, at_most=1.0),
    ]


def _peak_mb() -> float:
    done = subprocess.run([sys.executable, "-c", PEAK, str(CRATE)], capture_output=True, text=True, check=True)
    return float(done.stdout)
