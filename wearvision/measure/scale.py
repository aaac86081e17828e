"""Printed boards, located in pixels.

Markers are sought on ever larger copies of the photo until three of one board agree on one homography; from
then on every corner of the board is known to a few pixels, and only their small surroundings are looked at in
full size. Which size a card of ours has cannot be seen from its ids: it is stated, or read from its text.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.board import CARDS, BoardSpec, card
from wearvision.measure.chart import Copies
from wearvision.measure.corners import (
    agreeing,
    cell_mm,
    dark_quadrants,
    dictionary_of,
    in_photo,
    marker_corners,
    refine,
    rim_corners,
    sample,
    with_black,
)
from wearvision.measure.corners import apply as apply
from wearvision.measure.edgewidth import edge_sigma

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

LEVELS = (8, 4, 2, 1)
SMALLEST_LEVEL_PX = 240
"""Copies of the photo with a shorter long side than this are not searched."""
SMALLEST_MARKER_PX = 10
"""Least side of a marker on the searched copy: below, a 5 x 5 code has under 1.5 pixels a cell."""
AGREE_MARKERS = 3
AGREE_SHARE = 0.2
"""A marker agrees when its four corners lie within this share of its side from the common homography."""
THRESHOLD_PX = 13
"""Window of the adaptive threshold. One suffices, as every marker is seen at several scales."""
LEAST_POINTS = 4
MARKER_SIGMA, MARKER_CELL_SIGMAS = 1.2, 4.0
"""Scatter of refined marker corners relative to chessboard corners; growing with the square of blur once a
marker's cell is less than this many edge sigmas (both measured on drawn boards)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sighting:
    """One board found in a photo.

    Attributes
    ----------
    spec : BoardSpec
    corners_px, corners_mm : (N, 2) arrays
        Points of the board in the photo and on the drawing, N >= 4: chessboard corners, then marker corners,
        then those on the outline of the black squares.
    ids : (N,) int array
        Point numbers: inner corners 0.., then four per marker, then four per black square.
    sigma_rel : (N,) array
        Expected scatter relative to a chessboard corner.
    pull : (N, 2) array
        Unit vector in the photo along which blur and ink shift the corner of a black square, towards its middle;
        zero for chessboard corners, which nothing shifts. The amount is one unknown of the board.
    marker_count : int
        Markers that agreed when the board was found.
    inner_count : int
        Chessboard corners among the points.
    homography : (3, 3) array
        Drawn mm to pixels, lens left out: good to some pixels, for masks, not for measuring.
    edge_sigma_px : float
        Gaussian width of the card's own edges in the blurrier direction, px; nan when no edge is clear.
    black, white : float
        Grey levels of the black squares and of the white round the markers, 0 to 255.
    glare_share : float
        Share of the black squares' area in view that is brighter than half way to white.
    in_view_share : float
        Share of the board's inner corners that lie inside the photo.
    """

    spec: BoardSpec
    corners_px: Array
    corners_mm: Array
    ids: NDArray[np.int64]
    sigma_rel: Array
    pull: Array
    marker_count: int
    inner_count: int
    homography: Array
    edge_sigma_px: float
    black: float
    white: float
    glare_share: float
    in_view_share: float

    def __post_init__(self) -> None:
        for name in ("corners_px", "corners_mm", "ids", "sigma_rel", "pull", "homography"):
            array = np.array(getattr(self, name))
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def outline_px(self) -> Array:
        """Outline of the board with its white margin, (4, 2) px."""
        return apply(self.homography, self.spec.outline_mm())

    @property
    def square_px(self) -> float:
        """Mean side of a square, px: root of the area of the inner part per square."""
        width, height = self.spec.size_mm
        quad = apply(self.homography, np.array([[0, 0], [width, 0], [width, height], [0, height]]))
        area = float(cv2.contourArea(quad.astype(np.float32)))
        return float(np.sqrt(area / (self.spec.squares_x * self.spec.squares_y)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seed:
    spec: BoardSpec
    homography: Array
    marker_count: int


def default_specs(size: str = "standard") -> tuple[BoardSpec, ...]:
    """Our five cards in one size (`small`, `standard`, `large`)."""
    return tuple(card(number, size) for number in range(CARDS))


def find_boards(gray: Gray, specs: Sequence[BoardSpec], copies: Copies | None = None) -> list[Sighting]:
    """Boards seen in a photo, most chessboard corners first.

    Parameters
    ----------
    gray : (H, W) uint8 array
    specs : sequence of BoardSpec
        Boards that may lie in the photo; ids of one dictionary must not overlap.
    copies : Copies, optional
        Smaller copies of the photo, where it has some; those that are made here are kept there.

    Returns
    -------
    list of Sighting
        Empty when fewer than three markers of every board agree.

    Raises
    ------
    BadInput
        For an image that is not 8-bit gray, an unknown dictionary, or boards that share ids.
    """
    if gray.ndim != 2 or gray.dtype != np.uint8:
        raise BadInput("a gray 8-bit image is needed", got=(gray.shape, str(gray.dtype)))
    _refuse_shared_ids(specs)
    sightings = [s for seed in _seeds(copies or Copies(gray), specs) if (s := _sighting(gray, seed)) is not None]
    return sorted(sightings, key=lambda s: -s.inner_count)


def _refuse_shared_ids(specs: Sequence[BoardSpec]) -> None:
    taken: set[tuple[str, int]] = set()
    for spec in specs:
        ids = {(spec.dictionary, spec.first_id + k) for k in range(spec.marker_count)}
        if taken & ids:
            raise BadInput("two boards share marker ids", got=spec.name, do="state which one is in the photo")
        taken |= ids


def _seeds(copies: Copies, specs: Sequence[BoardSpec]) -> list[_Seed]:
    """Boards confirmed by three markers; one level more for boards of which a marker or two was seen."""
    found: dict[str, _Seed] = {}
    extra = False
    for image, factor in _levels(copies):
        pending = False
        for dictionary in sorted({s.dictionary for s in specs}):
            ids, quads = _markers(image, dictionary)
            quads = (quads + 0.5) * factor - 0.5
            for spec in specs:
                if spec.dictionary != dictionary or spec.name in found:
                    continue
                seed, seen = _agree(spec, ids, quads)
                if seed is not None:
                    found[spec.name] = seed
                pending |= seed is None and seen > 0
        if found and (extra or not pending):
            break
        extra = bool(found)
    return list(found.values())


def _levels(copies: Copies) -> Iterator[tuple[Gray, int]]:
    """Copies of the photo, smallest first, with the factor back to full size."""
    long = max(copies.shrunk(1).shape)
    for factor in LEVELS:
        if factor == 1 or long // (factor // 2) >= 2 * SMALLEST_LEVEL_PX:
            yield copies.shrunk(factor), factor


def _markers(image: Gray, dictionary: str) -> tuple[NDArray[np.int64], Array]:
    """Ids (M,) and corners (M, 4, 2) of the markers of one dictionary."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * SMALLEST_MARKER_PX / max(image.shape)
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = THRESHOLD_PX
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    detector = cv2.aruco.ArucoDetector(with_black(dictionary_of(dictionary)), parameters)
    quads, ids, _ = detector.detectMarkers(image)
    if ids is None or len(quads) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 4, 2))
    number = np.asarray(ids, dtype=np.int64).ravel() - 1
    return number[number >= 0], np.asarray(quads, dtype=np.float64).reshape(-1, 4, 2)[number >= 0]


def _agree(spec: BoardSpec, ids: NDArray[np.int64], quads: Array) -> tuple[_Seed | None, int]:
    """The board, if three of its markers agree on one homography, and how many of its ids were seen."""
    mine = (ids >= spec.first_id) & (ids < spec.first_id + spec.marker_count)
    seen = int(mine.sum())
    if seen < AGREE_MARKERS:
        return None, seen
    px = quads[mine]
    mm = spec.marker_corners_mm()[ids[mine] - spec.first_id]
    sides = np.linalg.norm(px - np.roll(px, 1, axis=1), axis=2).mean(axis=1)
    reach = AGREE_SHARE * float(np.median(sides))
    homography, _ = cv2.findHomography(mm.reshape(-1, 2), px.reshape(-1, 2), cv2.RANSAC, max(reach, 1.0))
    if homography is None:
        return None, seen
    h = np.asarray(homography, dtype=np.float64)
    off = np.linalg.norm(apply(h, mm.reshape(-1, 2)).reshape(-1, 4, 2) - px, axis=2).max(axis=1)
    good = off <= np.maximum(AGREE_SHARE * sides, 1.0)
    if len(set(ids[mine][good].tolist())) < AGREE_MARKERS:
        return None, seen
    return _Seed(spec=spec, homography=h, marker_count=int(good.sum())), seen


def _sighting(gray: Gray, seed: _Seed) -> Sighting | None:
    """All corners of a board in full size, from its rough place."""
    spec, h = seed.spec, seed.homography
    inner_mm = spec.inner_corners_mm()
    dark = dark_quadrants(spec)
    inner = np.zeros((0, 2))
    kept = np.zeros(0, dtype=np.int64)
    gap_mm = (spec.square_mm - spec.marker_mm) / 2
    for _ in range(2):
        kept, inner = refine(gray, h, inner_mm, dark, gap_mm)
        kept, inner, h = agreeing(inner_mm, kept, inner, h)
    squares = [spec.marker_corners_mm(), spec.black_squares_mm()]
    outer, outer_px = marker_corners(gray, h, spec)
    rim, rim_px = rim_corners(gray, h, spec)
    if len(kept) + len(outer) < LEAST_POINTS:
        return None
    outer_mm, rim_mm = (q.reshape(-1, 2)[k] for q, k in zip(squares, (outer, rim), strict=True))
    pull = np.vstack([_pull(h, q, k) for q, k in zip(squares, (outer, rim), strict=True)])
    black, white, glare = _tones(gray, spec, h)
    blur_px = edge_sigma(gray, spec, kept, inner, h)
    return Sighting(
        spec=spec, marker_count=seed.marker_count, inner_count=len(kept), homography=h,
        corners_px=np.vstack([inner, outer_px, rim_px]), corners_mm=np.vstack([inner_mm[kept], outer_mm, rim_mm]),
        ids=np.concatenate([kept, len(inner_mm) + outer, len(inner_mm) + 4 * spec.marker_count + rim]),
        sigma_rel=np.concatenate(
            [np.ones(len(kept)), _marker_sigma(spec, outer_px, blur_px), np.full(len(rim), MARKER_SIGMA)]
        ),
        pull=np.vstack([np.zeros((len(kept), 2)), pull]), edge_sigma_px=blur_px, black=black, white=white,
        glare_share=glare, in_view_share=float(in_photo(gray, apply(h, inner_mm), 0.0).mean()),
    )  # fmt: skip


def _pull(h: Array, squares_mm: Array, kept: NDArray[np.int64]) -> Array:
    """Unit vectors (N, 2) px from corners of squares (M, 4, 2) towards their middles."""
    corner = squares_mm.reshape(-1, 2)[kept]
    middle = squares_mm.mean(axis=1)[kept // 4]
    way = apply(h, 0.9 * corner + 0.1 * middle) - apply(h, corner)
    return np.asarray(way / np.linalg.norm(way, axis=1, keepdims=True))


def _marker_sigma(spec: BoardSpec, outer_px: Array, blur_px: float) -> Array:
    """Relative scatter of marker corners (4 M, 2), (4 M,)."""
    quads = outer_px.reshape(-1, 4, 2)
    sides = np.linalg.norm(quads - np.roll(quads, 1, axis=1), axis=2).min(axis=1, initial=np.inf)
    cell = sides * (cell_mm(spec) / spec.marker_mm)
    blurred = MARKER_CELL_SIGMAS * (0.0 if np.isnan(blur_px) else blur_px) / cell
    return np.asarray(MARKER_SIGMA * np.repeat(np.maximum(1.0, blurred**2), 4))


def _tones(gray: Gray, spec: BoardSpec, h: Array) -> tuple[float, float, float]:
    """Grey of the black squares (lower quartile: glare may cover half) and of the white rings (median), and
    the share of black that is washed out."""
    square, gap = spec.square_mm, (spec.square_mm - spec.marker_mm) / 2
    y, x = np.nonzero(np.add.outer(np.arange(spec.squares_y), np.arange(spec.squares_x)) % 2 == 0)
    grid = np.stack(np.meshgrid(*[np.linspace(0.15, 0.85, 6)] * 2), axis=-1).reshape(-1, 2)
    dark_mm = (np.stack([x, y], axis=1)[:, None] + grid).reshape(-1, 2) * square
    ring = spec.marker_corners_mm() + gap / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    dark, bright = sample(gray, apply(h, dark_mm)), sample(gray, apply(h, ring.reshape(-1, 2)))
    dark, bright = dark[np.isfinite(dark)], bright[np.isfinite(bright)]
    if not (len(dark) and len(bright)):
        return float("nan"), float("nan"), 0.0
    black, white = float(np.quantile(dark, 0.25)), float(np.median(bright))
    return black, white, float(np.mean(dark > (black + white) / 2))
