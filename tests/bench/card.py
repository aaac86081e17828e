"""What finding the card costs: ours and OpenCV's full-size ChArUco search, in gray decodes of the same photo.

Run: python -m tests.bench.card [PHOTO ...]     (drawn photos of 12 and 48 megapixels unless told)
The budget is half a decode. The drawn ground is blotches and grain, about what rusty iron looks like.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.bench.decode import best_ms
from tests.measure.drawn_board import STANDARD, Look, draw
from wearvision.measure.scale import default_specs, find_boards

GROUND = 110


def drawn(megapixels: int) -> np.ndarray:
    """A 4:3 photo with the standard card at one side, a square 1/27 of the long side."""
    height = round((megapixels * 1e6 * 3 / 4) ** 0.5)
    width = round(height * 4 / 3)
    rng = np.random.default_rng(0)
    blotches = rng.normal(GROUND, 30, (height // 16, width // 16)).astype(np.float32)
    photo = cv2.resize(blotches, (width, height), interpolation=cv2.INTER_CUBIC)
    photo += rng.normal(0, 6, photo.shape).astype(np.float32)
    part = (round(0.36 * width), round(0.36 * height))
    look = Look(size_px=part, square_px=width / 27, tilt_deg=15.0, focal=0.8 * width / max(part))
    card = draw(STANDARD, look, ground=GROUND, fine=4)
    corner = photo[height // 3 : height // 3 + part[1], width // 20 : width // 20 + part[0]]
    ink = np.abs(card.astype(np.float32) - GROUND) > 25
    corner[ink] = card[ink]
    return np.asarray(photo.clip(0, 255), dtype=np.uint8)


def decode(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        picture.draft("L", picture.size)
        return np.asarray(picture)


def stock(gray: np.ndarray) -> int:
    """Corners of the first card by OpenCV's ChArUco detector in full size, defaults."""
    board = cv2.aruco.CharucoBoard((7, 5), 15.0, 10.5, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100))
    corners, *_ = cv2.aruco.CharucoDetector(board).detectBoard(gray)
    return 0 if corners is None else len(corners)


def photos(named: list[str], folder: Path) -> Iterator[tuple[str, Path]]:
    for name in named:
        yield Path(name).name, Path(name)
    if not named:
        for megapixels in (12, 48):
            path = folder / f"{megapixels}.jpg"
            Image.fromarray(drawn(megapixels)).save(path, quality=92)
            yield f"drawn, {megapixels} MP", path


def main(named: list[str]) -> None:
    """Print one line per photo."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        for name, path in photos(named, Path(folder)):
            gray = decode(path)
            floor = best_ms(lambda path=path: decode(path), 5)
            ours = best_ms(lambda gray=gray: find_boards(gray, default_specs()), 5)
            full = best_ms(lambda gray=gray: stock(gray), 1)
            found = find_boards(gray, default_specs())
            corners = found[0].inner_count if found else 0
            print(
                f"{name}: decode {floor:.0f} ms; ours {ours:.0f} ms = {ours / floor:.2f} decodes, {corners} corners; "
                f"stock ChArUco {full:.0f} ms = {full / floor:.1f} decodes, {stock(gray)} corners"
            )


if __name__ == "__main__":
    main(sys.argv[1:])
