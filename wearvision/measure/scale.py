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
from wearvision.measure.edgewidth import edge_sigma
from wearvision.measure.squares import square_corners

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

LEVELS = (8, 4, 2, 1)
SMALLEST_LEVEL_PX = 240
"""Copies of the photo with a shorter long side than this are not searched."""
SMALLEST_MARKER_PX = 12
"""Least side of a marker on the searched copy: below, a 5 x 5 code has under two pixels a cell."""
AGREE_MARKERS = 3
AGREE_SHARE = 0.12
"""A marker agrees when its four corners lie within this share of its side from the common homography."""
THRESHOLD_PX = 13
"""Window of the adaptive threshold. One suffices, as every marker is seen at several scales."""
WINDOW_MAX_PX = 12
LEAST_STEP = 10.0
"""Least step in grey levels between the dark and the bright quadrants round a corner that counts."""
MARKER_SIGMA = 1.2
"""Scatter of refined marker corners relative to chessboard corners."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sighting:
    """One board found in a photo.

    Attributes
    ----------
    spec : BoardSpec
    corners_px, corners_mm : (N, 2) arrays
        Points of the board in the photo and on the drawing, N >= 4: chessboard corners, then marker corners.
    ids : (N,) int array
        Point numbers: inner corners 0.., then four per marker.
    sigma_rel : (N,) array
        Expected scatter relative to a chessboard corner.
    pull : (N, 2) array
        Unit vector in the photo along which blur and ink shift a marker corner, towards the marker middle;
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
        Median grey levels of black squares and of the white round the markers, 0 to 255.
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


def find_boards(gray: Gray, specs: Sequence[BoardSpec]) -> list[Sighting]:
    """Boards seen in a photo, most chessboard corners first.

    Parameters
    ----------
    gray : (H, W) uint8 array
    specs : sequence of BoardSpec
        Boards that may lie in the photo; ids of one dictionary must not overlap.

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
    sightings = [s for seed in _seeds(gray, specs) if (s := _sighting(gray, seed)) is not None]
    return sorted(sightings, key=lambda s: -s.inner_count)


def apply(homography: Array, points: Array) -> Array:
    """Points (N, 2) through a homography."""
    out = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(out[:, :2] / out[:, 2:])


def _refuse_shared_ids(specs: Sequence[BoardSpec]) -> None:
    taken: set[tuple[str, int]] = set()
    for spec in specs:
        ids = {(spec.dictionary, spec.first_id + k) for k in range(spec.marker_count)}
        if taken & ids:
            raise BadInput("two boards share marker ids", got=spec.name, do="state which one is in the photo")
        taken |= ids


def _seeds(gray: Gray, specs: Sequence[BoardSpec]) -> list[_Seed]:
    """Boards confirmed by three markers; one level more for boards of which a marker or two was seen."""
    found: dict[str, _Seed] = {}
    extra = False
    for image, factor in _levels(gray):
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


def _levels(gray: Gray) -> Iterator[tuple[Gray, int]]:
    """Copies of the photo, smallest first, with the factor back to full size."""
    copies = {1: gray}
    for factor in sorted(LEVELS)[1:]:
        last = copies[factor // 2]
        if max(last.shape) < 2 * SMALLEST_LEVEL_PX:
            break
        half = (last.shape[1] // 2, last.shape[0] // 2)
        even = last[: 2 * half[1], : 2 * half[0]]
        copies[factor] = np.asarray(cv2.resize(even, half, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    for factor in sorted(copies, reverse=True):
        yield copies[factor], factor


def _markers(image: Gray, dictionary: str) -> tuple[NDArray[np.int64], Array]:
    """Ids (M,) and corners (M, 4, 2) of the markers of one dictionary."""
    code = getattr(cv2.aruco, dictionary, None)
    if not isinstance(code, int):
        raise BadInput("unknown ArUco dictionary", got=dictionary, do="DICT_5X5_100 is the one of our cards")
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * SMALLEST_MARKER_PX / max(image.shape)
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = THRESHOLD_PX
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code), parameters)
    quads, ids, _ = detector.detectMarkers(image)
    if ids is None or len(quads) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 4, 2))
    return np.asarray(ids, dtype=np.int64).ravel(), np.asarray(quads, dtype=np.float64).reshape(-1, 4, 2)


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
    dark = _dark_quadrants(spec)
    inner = np.zeros((0, 2))
    kept = np.zeros(0, dtype=np.int64)
    gap_mm = (spec.square_mm - spec.marker_mm) / 2
    for _ in range(2):
        kept, inner = _refine(gray, h, inner_mm, dark, gap_mm)
        if len(kept) < 4:
            return None
        kept, inner, h = _fit(inner_mm, kept, inner, h)
        if len(kept) < 4:
            return None
    outer_mm = spec.marker_corners_mm().reshape(-1, 2)
    outer, outer_px = _marker_corners(gray, h, spec)
    middle = np.repeat(spec.marker_corners_mm().mean(axis=1), 4, axis=0)[outer]
    pull = apply(h, 0.9 * outer_mm[outer] + 0.1 * middle) - apply(h, outer_mm[outer])
    pull /= np.linalg.norm(pull, axis=1, keepdims=True)
    black, white, glare = _tones(gray, spec, h)
    return Sighting(
        spec=spec, marker_count=seed.marker_count, inner_count=len(kept), homography=h,
        corners_px=np.vstack([inner, outer_px]), corners_mm=np.vstack([inner_mm[kept], outer_mm[outer]]),
        ids=np.concatenate([kept, len(inner_mm) + outer]),
        sigma_rel=np.concatenate([np.ones(len(kept)), np.full(len(outer), MARKER_SIGMA)]),
        pull=np.vstack([np.zeros((len(kept), 2)), pull]), edge_sigma_px=edge_sigma(gray, spec, kept, inner, h),
        black=black, white=white, glare_share=glare,
        in_view_share=float(_inside(gray, apply(h, inner_mm), 0.0).mean()),
    )  # fmt: skip


def _dark_quadrants(spec: BoardSpec) -> NDArray[np.bool_]:
    """Which of the four quadrants (up-left, up-right, down-left, down-right) is dark at each inner corner."""
    j, i = np.divmod(np.arange((spec.squares_x - 1) * (spec.squares_y - 1)), spec.squares_x - 1)
    even = (i + j) % 2 == 0
    return np.stack([even, ~even, ~even, even], axis=1)


def _marker_corners(gray: Gray, h: Array, spec: BoardSpec) -> tuple[NDArray[np.int64], Array]:
    """Numbers and refined places of marker corners; all four of a marker or none."""
    free_mm = 0.9 * min((spec.square_mm - spec.marker_mm) / 2, spec.marker_mm / 7)
    mm = spec.marker_corners_mm()
    quads = apply(h, mm.reshape(-1, 2)).reshape(-1, 4, 2)
    sides = np.linalg.norm(quads - np.roll(quads, 1, axis=1), axis=2).min(axis=1)
    places = square_corners(gray, quads, free_mm / spec.marker_mm * sides)
    moved = np.abs(places - quads).max(axis=(1, 2))
    good = np.flatnonzero(moved <= np.maximum(0.1 * sides, 2.0))
    return (4 * good[:, None] + np.arange(4)).ravel(), places[good].reshape(-1, 2)


def _refine(
    gray: Gray, h: Array, mm: Array, dark: NDArray[np.bool_], free_mm: float
) -> tuple[NDArray[np.int64], Array]:
    """Numbers and refined places of the corners that look as drawn; `free_mm` round each is plain."""
    start = apply(h, mm)
    step = free_mm * np.array([[-1.0, -1], [1, -1], [-1, 1], [1, 1]])
    quad = apply(h, (mm[:, None] + step).reshape(-1, 2)).reshape(-1, 4, 2) - start[:, None]
    reach = np.abs(quad).max(axis=2).min(axis=1)
    window = np.clip(np.floor(0.9 * reach), 2, WINDOW_MAX_PX).astype(int)
    good = np.flatnonzero(_inside(gray, start, window + 2.0))
    places = start.copy()
    for size in np.unique(window[good]):
        some = good[window[good] == size]
        places[some] = _corner_sub_pix(gray, start[some], int(size))
    moved = np.abs(places - start).max(axis=1) <= window
    good = good[moved[good]]
    level = sample(gray, (places[good, None] + 0.6 * quad[good]).reshape(-1, 2)).reshape(-1, 4)
    darkest_bright = np.where(dark[good], np.inf, level).min(axis=1, initial=np.inf)
    step = darkest_bright - np.where(dark[good], level, -np.inf).max(axis=1, initial=-np.inf)
    seen = good[step >= LEAST_STEP]
    return seen, places[seen]


def _corner_sub_pix(gray: Gray, start: Array, window: int) -> Array:
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.005)
    points = np.ascontiguousarray(start.reshape(-1, 1, 2), dtype=np.float32)
    out = cv2.cornerSubPix(gray, points, (window, window), (-1, -1), stop)
    return np.asarray(out, dtype=np.float64).reshape(-1, 2)


def _inside(gray: Gray, points: Array, margin: float | Array) -> NDArray[np.bool_]:
    height, width = gray.shape
    x, y = points.T
    return np.asarray((x >= margin) & (y >= margin) & (x <= width - 1 - margin) & (y <= height - 1 - margin))


def sample(gray: Gray, points: Array) -> Array:
    """Grey levels at points (N, 2), nearest pixel; points outside the photo are nan."""
    inside = _inside(gray, points, 0.0)
    at = np.rint(np.where(inside[:, None], points, 0.0)).astype(int)
    return np.where(inside, gray[at[:, 1], at[:, 0]].astype(np.float64), np.nan)


def _fit(mm: Array, kept: NDArray[np.int64], px: Array, h: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Homography through the corners and those near it; the lens may bend a board by some pixels."""
    square = float(np.median(np.linalg.norm(apply(h, mm[kept] + [mm[0, 0], 0]) - apply(h, mm[kept]), axis=1)))
    reach = max(1.5, 0.03 * square)
    fitted, mask = cv2.findHomography(mm[kept], px, cv2.RANSAC, reach)
    if fitted is None:
        return kept[:0], px[:0], h
    good = np.asarray(mask).ravel().astype(bool)
    return kept[good], px[good], np.asarray(fitted, dtype=np.float64)


def _tones(gray: Gray, spec: BoardSpec, h: Array) -> tuple[float, float, float]:
    """Median grey of black squares and of white rings, and the share of black that is washed out."""
    square, gap = spec.square_mm, (spec.square_mm - spec.marker_mm) / 2
    y, x = np.nonzero(np.add.outer(np.arange(spec.squares_y), np.arange(spec.squares_x)) % 2 == 0)
    grid = np.stack(np.meshgrid(*[np.linspace(0.15, 0.85, 6)] * 2), axis=-1).reshape(-1, 2)
    dark_mm = (np.stack([x, y], axis=1)[:, None] + grid).reshape(-1, 2) * square
    ring = spec.marker_corners_mm() + gap / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    dark, bright = sample(gray, apply(h, dark_mm)), sample(gray, apply(h, ring.reshape(-1, 2)))
    dark, bright = dark[np.isfinite(dark)], bright[np.isfinite(bright)]
    if not (len(dark) and len(bright)):
        return float("nan"), float("nan"), 0.0
    black, white = float(np.median(dark)), float(np.median(bright))
    return black, white, float(np.mean(dark > (black + white) / 2))
