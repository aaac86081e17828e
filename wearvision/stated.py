"""What a person states about a photo: facts no picture can tell. From flags or `crate.toml`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

from wearvision.errors import BadInput

PartKind = Literal["casing", "impeller", "box-cover", "side-plate", "ring-pair"]
PART_KINDS: tuple[PartKind, ...] = get_args(PartKind)
View = Literal[
    "wear-face", "gasket-land", "tongue", "vane-front", "vane-back", "vane-edge", "bore", "line-light"
]
VIEWS: tuple[View, ...] = get_args(View)
CardSize = Literal["small", "standard", "large"]
RuleUnit = Literal["mm", "half-mm", "in8", "in16", "in32", "in64"]
RULE_UNITS: tuple[RuleUnit, ...] = get_args(RuleUnit)
RuleClass = Literal["I", "II", "III"]
KnownRing = Literal["rim", "bore"]
LightKind = Literal["laser", "shadow"]
ScaleSource = Literal["card", "rule", "diameter", "two-points", "stated"]
SCALE_SOURCES: tuple[ScaleSource, ...] = get_args(ScaleSource)
SCALE_WORDS: Mapping[str, str] = {
    "card": "the card", "board": "the board", "rule": "the rule", "diameter": "the known diameter",
    "two-points": "the two points", "stated": "the stated scale",
}  # fmt: skip
NOMINALS: Mapping[str, str] = {
    "face_inner_diameter_mm": "inner diameter of the wear face",
    "face_outer_diameter_mm": "outer diameter of the wear face",
    "vane_count": "number of vanes",
    "vane_height_mm": "height of a new vane",
    "vane_thickness_mm": "thickness of a new vane",
    "disc_diameter_mm": "outer diameter of the impeller",
    "land_width_mm": "width of a sound gasket land",
    "land_inner_diameter_mm": "inner diameter of the gasket land",
    "land_outer_diameter_mm": "outer diameter of the gasket land",
    "lip_length_mm": "length of the volute lip",
    "light_elevation_deg": "elevation of the light plane above the face",
    "light_step_mm": "height of a flat step on the face that the light crosses",
}


@dataclass(frozen=True, kw_only=True)
class Stated:
    """Facts stated for one photo.

    Attributes
    ----------
    part_kind, view : str or None
        `None` when nobody said; a card's label or the folder may tell.
    card_size : str or None
        `small`, `standard` or `large`; `None` when nobody said: the card's label tells, else `standard`.
    card_height_mm : float
        Height of the card's support above the measured plane, mm; negative when below.
    check_bar_mm : float, (across, down) or None
        Caliper length of the card's 100 mm check bar, or of both bars; `None` when nobody measured it.
    mm_per_px : float or None
        A stated scale, last resort, used when no card is found.
    rule : str or None
        Finest graduation of a steel rule in the frame; `None` when nobody said: its marks then tell, or not.
    rule_class : str
        Accuracy class of that rule: `I`, `II` or `III`.
    known_diameter_mm : float or None
        Caliper diameter of a turned circle in view; a scale where there is no card.
    known_circle : str
        Which circle that is: `rim` (outer edge of the face) or `bore` (its inner edge).
    two_points : (x1, y1, x2, y2, mm) or None
        Two places in the photo, px, and the distance between them: a scale without tilt.
    light_kind : str or None
        What a `line-light` photo shows: `laser`, a line of light, or `shadow`, a straightedge's; `None` is a line.
    scale_from : str or None
        The scale to use; `None` takes the best there is: card, rule, diameter, two points, stated.
    nominal : mapping of str to float
        Drawing sizes under the names of `NOMINALS`.
    """

    part_kind: PartKind | None = None
    view: View | None = None
    card_size: CardSize | None = None
    card_height_mm: float = 0.0
    check_bar_mm: float | tuple[float, float] | None = None
    mm_per_px: float | None = None
    rule: RuleUnit | None = None
    rule_class: RuleClass = "II"
    known_diameter_mm: float | None = None
    known_circle: KnownRing = "rim"
    two_points: tuple[float, float, float, float, float] | None = None
    light_kind: LightKind | None = None
    scale_from: ScaleSource | None = None
    nominal: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _one_of("part kind", self.part_kind, PART_KINDS)
        _one_of("view", self.view, VIEWS)
        _one_of("card size", self.card_size, get_args(CardSize))
        _within("card height, mm", self.card_height_mm, -200.0, 200.0)
        if self.check_bar_mm is not None:
            object.__setattr__(self, "check_bar_mm", check_bar(self.check_bar_mm))
        if self.mm_per_px is not None:
            _within("stated scale, mm per pixel", self.mm_per_px, 1e-4, 10.0)
        _one_of("graduation of the rule", self.rule, RULE_UNITS)
        _one_of("accuracy class of the rule", self.rule_class, get_args(RuleClass))
        self._check_known()
        for name, value in self.nominal.items():
            if name not in NOMINALS:
                raise BadInput("unknown drawing size", got=name, do=f"use one of {', '.join(NOMINALS)}")
            _within(NOMINALS[name], value, 0.0, 1e5)

    def _check_known(self) -> None:
        _one_of("circle", self.known_circle, get_args(KnownRing))
        _one_of("kind of light", self.light_kind, get_args(LightKind))
        _one_of("source of the scale", self.scale_from, SCALE_SOURCES)
        if self.known_diameter_mm is not None:
            _within("known diameter, mm", self.known_diameter_mm, 5.0, 5000.0)
        if self.two_points is not None:
            object.__setattr__(self, "two_points", two_points(self.two_points))


def two_points(values: Sequence[float]) -> tuple[float, float, float, float, float]:
    """Two places and their distance, checked.

    Raises
    ------
    BadInput
        When there are not five numbers, or one is out of range.
    """
    if len(values) != 5:
        raise BadInput("two points are five numbers", got=len(values), do="state x1,y1,x2,y2,mm")
    x1, y1, x2, y2, length = (float(v) for v in values)
    for value in (x1, y1, x2, y2):
        _within("place of a point, px", value, -0.5, 1e5)
    _within("distance of the two points, mm", length, 1.0, 1e4)
    return x1, y1, x2, y2, length


def check_bar(value: float | Sequence[float]) -> float | tuple[float, float]:
    """Measured length of the 100 mm check bar, or its lengths across and down, checked.

    Raises
    ------
    BadInput
        For a length that no print can have, or for more than two.
    """
    lengths = (value,) if isinstance(value, (int, float)) else tuple(value)
    if len(lengths) not in (1, 2):
        raise BadInput("the check bars have one length or two", got=len(lengths), do="state across, then down")
    for length in lengths:
        _within("measured length of the 100 mm check bar, mm", length, 90.0, 110.0)
    return lengths[0] if len(lengths) == 1 else (lengths[0], lengths[1])


def _one_of(what: str, got: str | None, allowed: tuple[str, ...]) -> None:
    if got is not None and got not in allowed:
        raise BadInput(f"unknown {what}", got=got, do=f"use one of {', '.join(allowed)}")


def _within(what: str, value: float, low: float, high: float) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise BadInput(f"{what}: outside {low:g} to {high:g}", got=value, do="check the figure and its unit")
