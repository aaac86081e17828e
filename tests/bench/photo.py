"""The 12 megapixel photos of the demo crate, measured: in gray decodes of each, against the plain script, in memory."""

from __future__ import annotations

import gc
import statistics
import subprocess
import sys
from pathlib import Path

import cv2

from tests.bench import decode
from tests.bench.plain import plain
from tests.bench.ratio import Row, median_ms
from wearvision import photos
from wearvision.app.measuring import measure_photo
from wearvision.crates.crate import CratePhoto, read_crate

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
for photo in read_crate(Path(sys.argv[1])).photos[:4]:
    measure_crate_photo(photo, rubric=rubric_folder())
print(int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024)
"""


def rows() -> list[Row]:
    cv2.setNumThreads(1)
    crate = read_crate(CRATE)
    first = crate.photos[0]
    measure_photo(first.path, first.stated)
    gc.collect()
    gc.freeze()  # what the benchmark itself has loaded is not the photo's to sweep
    usable = [p for p in crate.photos if measure_photo(p.path, p.stated).public["usable"]]
    spent = {photo.name: _spent(photo) for photo in usable}
    ratios = {name: ms["measure"] / ms["floor"] for name, ms in spent.items()}
    floor = statistics.median(ms["floor"] for ms in spent.values())
    measure = statistics.median(ms["measure"] for ms in spent.values())
    slow = median_ms({"plain": lambda: plain(first.path)}, rounds=1)["plain"]
    out = [
        Row(name="load a 12 MP photo, checked and hashed", floor_ms=floor,
            ratio=statistics.median(ms["load"] / ms["floor"] for ms in spent.values())),
        Row(name="measure a 12 MP wear face, median", ratio=statistics.median(ratios.values()), floor_ms=floor,
            at_most=5.0),
    ]  # fmt: skip
    out += [Row(name=f"  {name}", ratio=ratio, floor_ms=spent[name]["floor"]) for name, ratio in ratios.items()]
    return [
        *out,
        Row(name="plain script / measure, median", ratio=slow / measure, floor_ms=floor, at_least=15.0),
        Row(name="peak memory of a worker / 350 MB", ratio=_peak_mb() / WORKER_MB, floor_ms=floor, at_most=1.0),
    ]


def _spent(photo: CratePhoto) -> dict[str, float]:
    return median_ms(
        {
            "floor": lambda: decode.floor(photo.path),
            "load": lambda: photos.load(photo.path),
            "measure": lambda: measure_photo(photo.path, photo.stated),
        },
        rounds=3,
    )


def _peak_mb() -> float:
    done = subprocess.run([sys.executable, "-c", PEAK, str(CRATE)], capture_output=True, text=True, check=True)
    return float(done.stdout)
