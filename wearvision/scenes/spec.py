"""What a drawn scene holds: plain frozen records, lengths in mm, angles in degrees.

World frame: the measured face is z = 0, the part's axis is x = y = 0, z points to the camera, and
seen from the camera x runs right and y runs *up* (right-handed). Truth files use this frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wearvision.cards.layout import cut_box_mm

PAPER_MM = 0.3
"""Thickness of the printed card."""


@dataclass(frozen=True, kw_only=True)
class Groove:
    """One wear groove: a capsule bent along a wandering circle.

    ``profile`` is ``v``, ``u`` or ``flat``; ``start_deg`` and ``arc_deg`` include the round ends.
    ``wander_mm`` and ``swell`` scale slow changes of radius and width; ``phases`` (two numbers, rad)
    fix their shape.
    """

    radius_mm: float
    width_mm: float
    depth_mm: float
    profile: str
    start_deg: float
    arc_deg: float
    wander_mm: float
    swell: float
    phases: tuple[float, float]
    rusty: float

    @property
    def closed(self) -> bool:
        """Whether the groove runs all the way round."""
        return self.arc_deg >= 360.0


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A drilled hole in the face: not wear."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    depth_mm: float


@dataclass(frozen=True, kw_only=True)
class Band:
    """A ring-shaped mark without depth: a polished rub (``rub``) or turned chatter (``chatter``)."""

    kind: str
    radius_mm: float
    width_mm: float
    strength: float


@dataclass(frozen=True, kw_only=True)
class Rim:
    """What surrounds the face: channel, step and bolts.

    ``step_mm`` is the height of the rim's top above the face (negative: lower).
    """

    outer_mm: float
    step_mm: float
    channel_mm: float
    channel_depth_mm: float
    chamfer_mm: float
    bolts: int
    bolt_mm: float
    bolt_turn_deg: float


@dataclass(frozen=True, kw_only=True)
class Finish:
    """Look of the metal. Shares are 0..1 of the face's area; ``seed`` fixes all the noise."""

    seed: int
    metallic: float
    roughness: float
    gray: float
    tint: tuple[float, float, float]
    mottle: float
    rust: float
    rust_cover: float
    stain: float
    oil: float
    scratches: int
    lathe_pitch_mm: float
    lathe_um: float
    lathe_rings: int
    paint: int
    bench: str
    bench_gray: float


@dataclass(frozen=True, kw_only=True)
class Part:
    """A ring-faced part. ``step_mm`` at ``step_radius_mm`` is a small turned register (0: none)."""

    kind: str
    inner_mm: float
    outer_mm: float
    bench_mm: float
    bore_chamfer_mm: float
    hub: bool
    step_radius_mm: float
    step_mm: float
    rim: Rim
    grooves: tuple[Groove, ...]
    holes: tuple[Hole, ...]
    bands: tuple[Band, ...]
    finish: Finish


@dataclass(frozen=True, kw_only=True)
class Card:
    """Where the card lies. ``square_mm`` 15 is the standard card; ``height_mm`` is what is stated.

    ``error_mm`` is what the statement misses; ``print_scale`` is printed over nominal length. ``serial``
    stands on the label at the right of the squares; without one there is no label. ``x_mm`` and ``y_mm``
    are the middle of the sheet.
    """

    name: str
    square_mm: float
    serial: str
    x_mm: float
    y_mm: float
    turn_deg: float
    height_mm: float
    error_mm: float
    print_scale: float
    support: str

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Sheet in nominal board mm: left, top, right, bottom (y down, origin at the first square's corner)."""
        if self.serial:
            return cut_box_mm(self.name)
        margin = self.square_mm / 3
        return -margin, -margin, 7 * self.square_mm + margin, 5 * self.square_mm + margin

    @property
    def width_mm(self) -> float:
        """Printed width of the sheet."""
        left, _, right, _ = self.box_mm
        return (right - left) * self.print_scale

    @property
    def length_mm(self) -> float:
        """Printed height of the sheet (its short side)."""
        _, top, _, bottom = self.box_mm
        return (bottom - top) * self.print_scale

    @property
    def printed_mm(self) -> float:
        """True height of the printed side above the face."""
        return self.height_mm + self.error_mm + PAPER_MM

    def to_world(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """World x, y of a point given from the sheet's middle, y up along the sheet."""
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return self.x_mm + x_mm * cos - y_mm * sin, self.y_mm + x_mm * sin + y_mm * cos

    def corners(self, grow_mm: float = 0.0) -> list[tuple[float, float]]:
        """Four corners of the sheet in the world's x, y, counter-clockwise from lower left."""
        half_x, half_y = self.width_mm / 2 + grow_mm, self.length_mm / 2 + grow_mm
        around = [(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)]
        return [self.to_world(x, y) for x, y in around]

    def board_corners(self) -> list[tuple[float, float]]:
        """World x, y of the 24 inner corners, in the board's order: row by row from the top left."""
        left, top, right, bottom = self.box_mm
        middle_x, middle_y = (left + right) / 2, (top + bottom) / 2
        steps = [(c * self.square_mm, r * self.square_mm) for r in range(1, 5) for c in range(1, 7)]
        scale = self.print_scale
        return [self.to_world((x - middle_x) * scale, (middle_y - y) * scale) for x, y in steps]


@dataclass(frozen=True, kw_only=True)
class Light:
    """Rectangular lamp aimed at the part. ``power`` is relative to the fill."""

    azimuth_deg: float
    elevation_deg: float
    distance_mm: float
    size_mm: float
    power: float
    warm: float


@dataclass(frozen=True, kw_only=True)
class Room:
    """Everything else that shines: sky-like fill, windows, and an optional bar that casts a shadow."""

    fill: float
    windows: int
    window_power: float
    window_azimuth_deg: float
    warm: float
    shadow_bar: bool
    bar_shift_mm: float


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A phone's pinhole with lens distortion; ``rotation`` maps world to camera (OpenCV axes)."""

    width_px: int
    height_px: int
    focal_px: float
    f35_mm: int
    cx_px: float
    cy_px: float
    k1: float
    k2: float
    position_mm: tuple[float, float, float]
    rotation: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    tilt_deg: float


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How the phone saw it: blur, noise, exposure, tone and compression."""

    defocus_px: float
    motion_px: float
    motion_deg: float
    noise: float
    exposure: float
    sharpen: float
    contrast: float
    vignette: float
    white: tuple[float, float, float]
    quality: int


@dataclass(frozen=True, kw_only=True)
class Scene:
    """One photo to be. ``view`` is always ``wear-face``; ``card`` may lie out of frame on purpose."""

    name: str
    seed: int
    view: str
    part: Part
    card: Card
    lights: tuple[Light, ...]
    room: Room
    camera: Camera
    shot: Shot
