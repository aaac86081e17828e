"""What opening a photo costs: our checked, hashed gray decode against the bare decoders.

Run: python tests/bench/decode.py [MEGAPIXELS ...]     (12 and 48 unless told)
The floor is Pillow's own draft decode of the same file, nothing checked; the speed budget counts in floors.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from wearvision import photos


def drawn(megapixels: float) -> Image.Image:
    """Blotches and grain, 4:3: about as many bytes a pixel as a phone photo of rusty iron."""
    height = round((megapixels * 1e6 * 3 / 4) ** 0.5)
    width = round(height * 4 / 3)
    rng = np.random.default_rng(0)
    blotches = rng.normal(128, 30, (height // 16, width // 16, 3)).astype(np.float32)
    picture = cv2.resize(blotches, (width, height), interpolation=cv2.INTER_CUBIC)
    picture += rng.normal(0, 6, (height, width, 1)).astype(np.float32)
    return Image.fromarray(picture.clip(0, 255).astype(np.uint8))


def floor(path: Path) -> object:
    """Pillow's gray decode and nothing else."""
    with Image.open(path) as picture:
        picture.draft("L", picture.size)
        return np.asarray(picture)


def best_ms(call: Callable[[], object], repeats: int = 5) -> float:
    """Least wall time of several, ms: the machine's other work only ever adds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times)


def main(sizes: list[float]) -> None:
    """Print one table."""
    cv2.setNumThreads(1)
    for megapixels in sizes:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "p.jpg"
            drawn(megapixels).save(path, quality=92)
            base = best_ms(lambda path=path: floor(path))
            print(f"{megapixels:g} MP, {path.stat().st_size / 1e6:.1f} MB, floor {base:.1f} ms")
            rows: dict[str, Callable[[], object]] = {
                "photos.load": lambda path=path: photos.load(path),
                "photos.thumbnail 800 px": lambda path=path: photos.thumbnail(path, 800),
                "photos.colour": lambda path=path: photos.colour(path),
                "cv2.imread gray (checks nothing)": lambda path=path: cv2.imread(
                    str(path), cv2.IMREAD_GRAYSCALE
                ),
            }
            for name, call in rows.items():
                spent = best_ms(call)
                print(f"  {name:34} {spent:7.1f} ms  {spent / base:5.2f} floors")


if __name__ == "__main__":
    main([float(word) for word in sys.argv[1:]] or [12.0, 48.0])
