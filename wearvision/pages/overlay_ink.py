"""Strokes and letters of the overlay: anti-aliased lines with a halo, badges, tags and the legend strip.

Sizes follow the width of the picture, so that a number is as easy to read on a phone as on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Pixels = NDArray[np.uint8]
Points = NDArray[np.float64]
Colour = tuple[int, int, int]
DARK, LIGHT, PAPER = (18, 22, 26), (255, 255, 255), (244, 245, 243)
SHIFT = 4
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@dataclass(frozen=True)
class Tag:
    """Words on a dark label, underlined in the colour of their mark."""

    words: str
    colour: Colour


class Ink:
    """A picture being drawn on. Strokes go straight in; badges and tags wait until `finish`."""

    def __init__(self, rgb: Pixels, *, text: float = 1.0) -> None:
        self.image: Pixels = np.array(rgb, dtype=np.uint8)
        self.size: tuple[int, int] = (int(rgb.shape[0]), int(rgb.shape[1]))
        side = float(np.sqrt(self.size[0] * self.size[1]))
        self.stroke = max(1.5, side / 480)
        self.text = max(11, round(text * side / 34))
        self.ring = max(5.0, text**0.5 * side / 75)
        self.badge = max(9.0, text * side / 33)
        self.badges: list[tuple[Points, str]] = []
        self.tags: list[tuple[Points, Tag]] = []

    def line(self, points: Points, colour: Colour, *, width: float = 1.0, closed: bool = True) -> None:
        """A line with a halo; `width` counts in strokes."""
        core = max(1, round(self.stroke * width))
        halo = core + 2 * max(1, round(self.stroke * 0.7))
        for tint, thickness in ((DARK, halo), (colour, core)):
            _polyline(self.image, [points], tint, thickness, closed=closed)

    def dashed(self, points: Points, colour: Colour) -> None:
        """A closed line in dashes."""
        step = self.stroke * 7
        pieces = list(dashes(points, on=step, off=step * 0.8))
        core = max(1, round(self.stroke))
        for tint, thickness in ((DARK, core + 2 * max(1, round(self.stroke * 0.7))), (colour, core)):
            _polyline(self.image, pieces, tint, thickness, closed=False)

    def dotted(self, points: Points, colour: Colour) -> None:
        """A closed line in dots."""
        for start in dashes(points, on=1.0, off=self.stroke * 5):
            _disc(self.image, start[0], self.stroke * 1.1, DARK)
            _disc(self.image, start[0], self.stroke * 0.6, colour)

    def leader(self, start: Points, end: Points, *, stop_short: float, colour: Colour = LIGHT) -> None:
        """A thin line that ends `stop_short` px before `end`."""
        way = np.asarray(end - start, dtype=np.float64)
        length = float(np.hypot(*way))
        if length > stop_short:
            stop = start + way * (1 - stop_short / length)
            self.line(np.stack([start, stop]), colour, width=0.6, closed=False)

    def circle(self, centre: Points, radius: float) -> None:
        """An open ring: the spot inside stays visible."""
        core = max(1, round(self.stroke))
        for tint, thickness in ((DARK, core + 2 * max(1, round(self.stroke * 0.7))), (LIGHT, core)):
            cv2.circle(self.image, _fixed(centre), round(radius * 2**SHIFT), tint, thickness, cv2.LINE_AA, SHIFT)

    def tag_size(self, tag: Tag) -> tuple[float, float]:
        """Width and height of a tag, px."""
        left, _, right, _ = font(self.text).getbbox(tag.words)
        return float(right - left) + self.text * 0.9, self.text * 1.6

    def finish(self) -> Pixels:
        """The picture with its badges and tags."""
        for at, _ in self.badges:
            _disc(self.image, at, self.badge, LIGHT)
            _disc(self.image, at, self.badge - max(1.5, self.stroke * 0.8), DARK)
        image = Image.fromarray(self.image)
        pen = ImageDraw.Draw(image)
        for at, words in self.badges:
            size = round(self.badge * (1.25 if len(words) < 3 else 0.95))
            pen.text(_pair(at), words, font=font(size), fill=LIGHT, anchor="mm", stroke_width=0.4, stroke_fill=LIGHT)
        for at, tag in self.tags:
            self._tag(pen, at, tag)
        return np.array(image, dtype=np.uint8)

    def _tag(self, pen: ImageDraw.ImageDraw, at: Points, tag: Tag) -> None:
        width, height = self.tag_size(tag)
        x, y = _pair(at)
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        pen.rounded_rectangle(box, radius=self.text * 0.25, fill=DARK)
        under = max(2.0, self.text * 0.14)
        left, right = box[0] + self.text * 0.3, box[2] - self.text * 0.3
        pen.rectangle((left, box[3] - under * 2, right, box[3] - under), fill=tag.colour)
        pen.text((x, y - under * 0.6), tag.words, font=font(self.text), fill=LIGHT, anchor="mm")

    def bar_size(self, bar: tuple[str, float]) -> tuple[float, float]:
        """Width and height of the box of a scale bar, px."""
        words, length = bar
        return max(length, font(self.text).getlength(words)) + self.text * 1.4, self.text * 2.5

    def bar_box(self, at: Points, bar: tuple[str, float]) -> None:
        """A scale bar on a light box, centred at `at`."""
        width, height = self.bar_size(bar)
        x, y = _pair(at)
        image = Image.fromarray(self.image)
        pen = ImageDraw.Draw(image)
        pen.rectangle((x - width / 2, y - height / 2, x + width / 2, y + height / 2), fill=PAPER)
        _bar(pen, bar, x + bar[1] / 2, y + height / 2 - self.text * 0.7, self.text)
        self.image = np.array(image, dtype=np.uint8)

    def strip(self, entries: list[tuple[str, Colour, str]], bar: tuple[str, float] | None) -> Pixels:
        """The legend: as many rows as its entries need, the scale bar at the right end of the first."""
        width, row, size = self.size[1], round(self.text * 1.9), self.text
        bar_width = bar[1] + size * 1.6 if bar else 0.0
        rows: list[list[tuple[float, tuple[str, Colour, str]]]] = [[]]
        x = size * 0.8
        for entry in entries:
            need = font(size).getlength(entry[0]) + size * 3.6
            limit = width - (bar_width if len(rows) == 1 else 0.0)
            if x + need > limit and rows[-1]:
                rows.append([])
                x = size * 0.8
            rows[-1].append((x, entry))
            x += need
        height = row * len(rows) + round(size * (1.3 if bar else 0.5))
        image = Image.fromarray(np.full((height, width, 3), PAPER, dtype=np.uint8))
        pen = ImageDraw.Draw(image)
        swatches = []
        for r, entries_here in enumerate(rows):
            y = size * 1.2 + r * row
            for x, (words, colour, style) in entries_here:
                swatches.append((x, y, colour, style))
                pen.text((x + size * 2.1, y), words, font=font(size), fill=DARK, anchor="lm")
        if bar:
            _bar(pen, bar, width - size * 0.8, size * 1.85, size)
        out = np.array(image, dtype=np.uint8)
        for x, y, colour, style in swatches:
            _swatch(out, x, y, colour, style, size)
        return out


def edges_outside(outline: Points, by: float) -> list[Points]:
    """The closed lines of an outline moved `by` px off what it encloses: two when it is a ring joined by a seam."""
    again = np.flatnonzero((outline[3:-3] == outline[0]).all(axis=1)) + 3
    if not len(again):
        return [outside(outline, by)]
    seam = int(again[0])
    inner, outer = outline[:seam], outline[seam + 1 : -1]
    return [outside(inner, -by), outside(outer, by)]


def outside(outline: Points, by: float) -> Points:
    """A closed outline (N, 2) moved `by` px to its outside, evenly resampled."""
    ring = np.vstack([outline, outline[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    count = int(np.clip(length[-1] / max(by, 1.0), 16, 2000))
    s = np.arange(count) * (length[-1] / count)
    even = np.stack([np.interp(s, length, ring[:, 0]), np.interp(s, length, ring[:, 1])], axis=1)
    along = np.roll(even, -1, axis=0) - np.roll(even, 1, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    following = np.roll(even, -1, axis=0)
    turn = np.sign(np.sum(even[:, 0] * following[:, 1] - even[:, 1] * following[:, 0]))
    return np.asarray(even + by * turn * np.stack([along[:, 1], -along[:, 0]], axis=1))


def dashes(points: Points, *, on: float, off: float) -> list[Points]:
    """Pieces of `on` px with `off` px between them along a closed outline (N, 2)."""
    ring = np.vstack([points, points[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    if length[-1] <= 0:
        return []
    count = max(1, round(length[-1] / (on + off)))
    pieces = []
    for start in np.arange(count) * (length[-1] / count):
        stop = min(start + on, length[-1])
        inner = length[(length > start) & (length < stop)]
        s = np.concatenate([[start], inner, [stop]])
        pieces.append(np.stack([np.interp(s, length, ring[:, 0]), np.interp(s, length, ring[:, 1])], axis=1))
    return pieces


@lru_cache(maxsize=32)
def font(size: int) -> Font:
    """Pillow's own scalable font."""
    return ImageFont.load_default(size)


def _bar(pen: ImageDraw.ImageDraw, bar: tuple[str, float], right: float, y: float, size: int) -> None:
    words, length = bar
    pen.rectangle((right - length, y, right, y + max(2, size * 0.18)), fill=DARK)
    for x in (right - length, right):
        pen.rectangle((x - max(1, size * 0.06), y - size * 0.25, x + max(1, size * 0.06), y + size * 0.43), fill=DARK)
    pen.text((right - length / 2, y - size * 0.38), words, font=font(size), fill=DARK, anchor="ms")


def _swatch(image: Pixels, x: float, y: float, colour: Colour, style: str, size: int) -> None:
    start, end = np.array([x, y]), np.array([x + size * 1.6, y])
    thick = max(2, round(size / 8))
    if style == "ring":
        for tint, extra in ((DARK, 2), (colour, 0)):
            centre = (start + end) / 2
            cv2.circle(image, _fixed(centre), round(size * 0.45 * 2**SHIFT), tint, thick + extra, cv2.LINE_AA, SHIFT)
    elif style == "dot":
        for t in np.linspace(0, 1, 5):
            _disc(image, start + t * (end - start), thick * 0.7, DARK)
    else:
        way = end - start
        pieces = [np.stack([start, end])]
        if style == "dash":
            pieces = [np.stack([start + a * way, start + b * way]) for a, b in ((0.0, 0.25), (0.38, 0.62), (0.75, 1.0))]
        _polyline(image, pieces, DARK, thick + 2 * max(1, thick // 2), closed=False)
        _polyline(image, pieces, colour, thick, closed=False)


def _polyline(image: Pixels, lines: list[Points], colour: Colour, thickness: int, *, closed: bool) -> None:
    fixed = [np.round(np.asarray(p) * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2) for p in lines]
    cv2.polylines(image, fixed, closed, colour, thickness, cv2.LINE_AA, SHIFT)


def _disc(image: Pixels, centre: Points, radius: float, colour: Colour) -> None:
    cv2.circle(image, _fixed(centre), round(radius * 2**SHIFT), colour, -1, cv2.LINE_AA, SHIFT)


def _fixed(point: Points) -> tuple[int, int]:
    return round(float(point[0]) * 2**SHIFT), round(float(point[1]) * 2**SHIFT)


def _pair(point: Points) -> tuple[float, float]:
    return float(point[0]), float(point[1])
