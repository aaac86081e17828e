"""Printed scale references: which squares, which markers, how large.

A board is a ChArUco grid. Board coordinates: mm, origin at the outer corner of the top-left square, x right,
y down; the board is flat. Inner corners are numbered row by row.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput

IDS_PER_CARD = 17
CARDS = 5
MARGIN_RATIO = 1 / 3
"""White margin round the squares, as a share of a square (5 mm on the standard card)."""
CARD_SQUARE_MM = {"small": 10.0, "standard": 15.0, "large": 25.0}


@dataclass(frozen=True, kw_only=True)
class BoardSpec:
    """One ChArUco board.

    Attributes
    ----------
    name : str
        `card 0 standard`, or the name in the TOML file.
    dictionary : str
        A predefined ArUco dictionary, `DICT_5X5_100`.
    squares_x, squares_y : int
        Squares across and down, 2 or more each.
    square_mm, marker_mm : float
        Drawn sizes, marker smaller than square.
    first_id : int
        Ids run from here, one per marker, row by row.
    card : int or None
        Card number 0 to 4 when it is one of our own cards.
    """

    name: str
    dictionary: str
    squares_x: int
    squares_y: int
    square_mm: float
    marker_mm: float
    first_id: int = 0
    card: int | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.square_mm):
            raise BadInput("square_mm: not a finite length", got=self.square_mm)
        if self.first_id < 0:
            raise BadInput("first_id: below zero", got=self.first_id)
        if self.squares_x < 2 or self.squares_y < 2:
            raise BadInput("a board needs two squares or more each way", got=(self.squares_x, self.squares_y))
        if not 0 < self.marker_mm < self.square_mm:
            raise BadInput("a marker must be smaller than its square", got=(self.marker_mm, self.square_mm))

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the squares, without margin."""
        return self.squares_x * self.square_mm, self.squares_y * self.square_mm

    @property
    def size_name(self) -> str:
        """`small`, `standard` or `large` for a card of ours, `standard` for any other board."""
        return next((name for name, mm in CARD_SQUARE_MM.items() if mm == self.square_mm), "standard")

    @property
    def marker_count(self) -> int:
        """Markers on the board: the white squares."""
        return self.squares_x * self.squares_y // 2

    def marker_corners_mm(self) -> NDArray[np.float64]:
        """Corners of the markers, (marker_count, 4, 2), row by row; each top-left first, then clockwise."""
        y, x = np.nonzero(np.add.outer(np.arange(self.squares_y), np.arange(self.squares_x)) % 2)
        gap, near = (self.square_mm - self.marker_mm) / 2, self.square_mm
        corner = np.stack([x, y], axis=1)[:, None] * near + gap
        return np.asarray(corner + self.marker_mm * np.array([[0, 0], [1, 0], [1, 1], [0, 1]]))

    def black_squares_mm(self) -> NDArray[np.float64]:
        """Corners of the black squares, (S, 4, 2), row by row; each top-left first, then clockwise."""
        y, x = np.nonzero(np.add.outer(np.arange(self.squares_y), np.arange(self.squares_x)) % 2 == 0)
        corner = np.stack([x, y], axis=1)[:, None] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
        return np.asarray(corner * self.square_mm)

    def on_rim(self, mm: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which points (..., 2) of the board lie on the outline of its squares."""
        near = 1e-6 * self.square_mm
        return np.asarray(((mm < near) | (mm > np.array(self.size_mm) - near)).any(axis=-1))

    def outline_mm(self) -> NDArray[np.float64]:
        """Outline of the board with its white margin, (4, 2), top-left first, then clockwise."""
        margin, (width, height) = MARGIN_RATIO * self.square_mm, self.size_mm
        low, right, down = -margin, width + margin, height + margin
        return np.array([[low, low], [right, low], [right, down], [low, down]])

    def inner_corners_mm(self) -> NDArray[np.float64]:
        """Inner corners, (N, 2), row by row."""
        xs = np.arange(1, self.squares_x) * self.square_mm
        ys = np.arange(1, self.squares_y) * self.square_mm
        gx, gy = np.meshgrid(xs, ys)
        return np.stack([gx.ravel(), gy.ravel()], axis=1)


def card(number: int, size: str = "standard") -> BoardSpec:
    """Our own card: 7 x 5 squares, `DICT_5X5_100`, marker/square 0.7, ids 17k to 17k+16.

    Raises
    ------
    BadInput
        For a number outside 0 to 4 or an unknown size.
    """
    if not 0 <= number < CARDS:
        raise BadInput("no such card", got=number, do="cards are numbered 0 to 4")
    if size not in CARD_SQUARE_MM:
        raise BadInput("no such card size", got=size, do=f"use one of {', '.join(CARD_SQUARE_MM)}")
    square = CARD_SQUARE_MM[size]
    return BoardSpec(
        name=f"card {number} {size}", dictionary="DICT_5X5_100", squares_x=7, squares_y=5, square_mm=square,
        marker_mm=0.7 * square, first_id=IDS_PER_CARD * number, card=number,
    )  # fmt: skip


def board_from_toml(text: str) -> BoardSpec:
    """A board from its TOML text: one key per field of `BoardSpec`, at top level or under `[board]`.

    `name`, `first_id` and `card` may be left out; the rest are asked for by name.

    Raises
    ------
    BadInput
        For text that is not TOML, an unknown or missing key, a wrong kind of value, or sizes that do not fit.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BadInput(f"the board file is not TOML: {err}", do="check quotes and equal signs") from err
    table = data.get("board", data)
    if not isinstance(table, dict):
        raise BadInput("board: not a table", got=table, do="start it with [board]")
    kinds = {f.name: str(f.type) for f in fields(BoardSpec)}
    for key, value in table.items():
        _check_kind(key, value, kinds)
    needed = [k for k in kinds if k not in ("name", "first_id", "card")]
    missing = [k for k in needed if k not in table]
    if missing:
        raise BadInput(f"the board file lacks {', '.join(missing)}", do="add a line for each")
    if not str(table["dictionary"]).startswith("DICT_"):
        raise BadInput("dictionary: not an ArUco dictionary", got=table["dictionary"], do="say DICT_5X5_100")
    return BoardSpec(**{"name": "board", **table})


def _check_kind(key: str, value: object, kinds: dict[str, str]) -> None:
    if key not in kinds:
        raise BadInput("unknown key in the board file", got=key, do=f"use {', '.join(kinds)}")
    wanted: tuple[type, ...] = (str,)
    if kinds[key].startswith("int"):
        wanted = (int,)
    elif kinds[key] == "float":
        wanted = (int, float)
    if not isinstance(value, wanted) or isinstance(value, bool):
        raise BadInput(f"{key}: a {kinds[key]} is needed", got=value, do="numbers stand without quotes")
