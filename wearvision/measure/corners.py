"""Corners of a board in full size, from its rough place."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.board import BoardSpec
from wearvision.measure.squares import square_corners

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

WINDOW_MAX_PX = 12
"""Half side of the window a corner is refined in: more gains nothing and lets the lens bend the lines."""
LEAST_STEP = 10.0
"""Least step in grey levels between the dark and the bright quadrants round a corner that counts."""
BEND_PX, BEND_SHARE = 1.5, 0.03
"""Corners further than this, and than this share of a square, from one homography are mistaken ones."""
SIDE_SHARE = 0.5
"""Share of the plain strip beside a marker's side that its place is read from: more, and the blurred cells
next to it count in."""


def apply(homography: Array, points: Array) -> Array:
    """Points (N, 2) through a homography."""
    out = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(out[:, :2] / out[:, 2:])


def dark_quadrants(spec: BoardSpec) -> NDArray[np.bool_]:
    """Which of the four quadrants (up-left, up-right, down-left, down-right) is dark at each inner corner."""
    j, i = np.divmod(np.arange((spec.squares_x - 1) * (spec.squares_y - 1)), spec.squares_x - 1)
    even = (i + j) % 2 == 0
    return np.stack([even, ~even, ~even, even], axis=1)


def dictionary_of(name: str) -> cv2.aruco.Dictionary:
    """A predefined ArUco dictionary by name.

    Raises
    ------
    BadInput
        For a name OpenCV does not have.
    """
    code = getattr(cv2.aruco, name, None)
    if not (name.startswith("DICT_") and isinstance(code, int)):
        raise BadInput("unknown ArUco dictionary", got=name, do="DICT_5X5_100 is the one of our cards")
    return cv2.aruco.getPredefinedDictionary(code)


def with_black(dictionary: cv2.aruco.Dictionary) -> cv2.aruco.Dictionary:
    """The dictionary with a plain black square as its first marker.

    Half the squares of a board are black; found at once, they are not held against every marker in turn.
    """
    black = np.zeros_like(dictionary.bytesList[:1])
    markers = np.concatenate([black, dictionary.bytesList])
    return cv2.aruco.Dictionary(markers, dictionary.markerSize, dictionary.maxCorrectionBits)


def cell_mm(spec: BoardSpec) -> float:
    """Side of one cell of a marker, its black border being one cell wide."""
    return spec.marker_mm / (dictionary_of(spec.dictionary).markerSize + 2)


def marker_corners(gray: Gray, h: Array, spec: BoardSpec) -> tuple[NDArray[np.int64], Array]:
    """Numbers and refined places of marker corners; all four of a marker or none."""
    free_mm = SIDE_SHARE * min((spec.square_mm - spec.marker_mm) / 2, cell_mm(spec))
    places, near = _squares(gray, h, spec.marker_corners_mm(), free_mm)
    good = np.flatnonzero(near.all(axis=1))
    return (4 * good[:, None] + np.arange(4)).ravel(), places[good].reshape(-1, 2)


def rim_corners(gray: Gray, h: Array, spec: BoardSpec) -> tuple[NDArray[np.int64], Array]:
    """Numbers and refined places of the corners on the outline of the black squares, in the order of
    `BoardSpec.black_squares_mm`, four each."""
    squares = spec.black_squares_mm()
    places, near = _squares(gray, h, squares, SIDE_SHARE * (spec.square_mm - spec.marker_mm) / 2)
    good = np.flatnonzero((near & spec.on_rim(squares)).ravel())
    return good, places.reshape(-1, 2)[good]


def _squares(gray: Gray, h: Array, squares_mm: Array, free_mm: float) -> tuple[Array, NDArray[np.bool_]]:
    """Refined corners (M, 4, 2) px of squares with `free_mm` round their sides, and which came out where expected."""
    quads = apply(h, squares_mm.reshape(-1, 2)).reshape(-1, 4, 2)
    sides = np.linalg.norm(quads - np.roll(quads, 1, axis=1), axis=2).min(axis=1)
    side_mm = float(np.linalg.norm(squares_mm[0, 1] - squares_mm[0, 0]))
    places = square_corners(gray, quads, free_mm / side_mm * sides)
    moved = np.abs(places - quads).max(axis=2)
    return places, moved <= np.maximum(0.1 * sides, 2.0)[:, None]


def refine(gray: Gray, h: Array, mm: Array, dark: NDArray[np.bool_], free_mm: float) -> tuple[NDArray[np.int64], Array]:
    """Numbers and refined places of the corners that look as drawn; `free_mm` round each is plain."""
    start = apply(h, mm)
    step = free_mm * np.array([[-1.0, -1], [1, -1], [-1, 1], [1, 1]])
    quad = apply(h, (mm[:, None] + step).reshape(-1, 2)).reshape(-1, 4, 2) - start[:, None]
    reach = np.abs(quad).max(axis=2).min(axis=1)
    window = np.clip(np.floor(0.9 * reach), 2, WINDOW_MAX_PX).astype(int)
    good = np.flatnonzero(in_photo(gray, start, window + 2.0))
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


def in_photo(gray: Gray, points: Array, margin: float | Array) -> NDArray[np.bool_]:
    """Which points (N, 2) lie in the photo, `margin` px from its border or more."""
    height, width = gray.shape
    x, y = points.T
    return np.asarray((x >= margin) & (y >= margin) & (x <= width - 1 - margin) & (y <= height - 1 - margin))


def sample(gray: Gray, points: Array) -> Array:
    """Grey levels at points (N, 2), nearest pixel; points outside the photo are nan."""
    inside = in_photo(gray, points, 0.0)
    at = np.rint(np.where(inside[:, None], points, 0.0)).astype(int)
    return np.where(inside, gray[at[:, 1], at[:, 0]].astype(np.float64), np.nan)


def agreeing(mm: Array, kept: NDArray[np.int64], px: Array, h: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Corners near one homography, and that homography; the lens may bend a board by some pixels.

    Where the corners say too little, fewer than four or all in one row, they stay and so does `h`.
    """
    if len(kept) < 4 or np.ptp(mm[kept], axis=0).min() == 0:
        return kept, px, h
    square = float(np.median(np.linalg.norm(apply(h, mm[kept] + [mm[0, 0], 0]) - apply(h, mm[kept]), axis=1)))
    fitted, mask = cv2.findHomography(mm[kept], px, cv2.RANSAC, max(BEND_PX, BEND_SHARE * square))
    if fitted is None:
        return kept[:0], px[:0], h
    good = np.asarray(mask).ravel().astype(bool)
    return kept[good], px[good], np.asarray(fitted, dtype=np.float64)
