"""Photos from the command line, one after another: result, words, and an overlay when asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wearvision.app.bench import kept_in
from wearvision.app.files import read_text, write_whole
from wearvision.app.marking import read_marks, require_scale
from wearvision.app.measuring import PhotoResult, measure_photo
from wearvision.app.pictures import SHEET_PX, Drawing, draw_land, draw_photo
from wearvision.errors import BadInput, UsageError, WearvisionError
from wearvision.finding import DETAILS
from wearvision.finding_record import finding_from_record
from wearvision.measure.board import BoardSpec, board_from_toml
from wearvision.measure.compiled import while_compiling
from wearvision.pages.page import SIGNED, plain, say, some
from wearvision.quantity import quantity_from_json
from wearvision.stated import (
    NOMINALS,
    SCALE_WORDS,
    CardSize,
    KnownRing,
    LightKind,
    PartKind,
    RuleClass,
    RuleUnit,
    ScaleSource,
    Stated,
    View,
    check_bar,
    two_points,
)


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Stated facts as the command line gives them."""

    kind: PartKind | None = None
    view: View | None = None
    card_size: CardSize | None = None
    card_height_mm: float = 0.0
    check_bar_mm: float | Sequence[float] | None = None
    mm_per_px: float | None = None
    rule: RuleUnit | None = None
    rule_class: RuleClass = "II"
    known_diameter_mm: float | None = None
    known_circle: KnownRing = "rim"
    two_points: str | None = None
    light_kind: LightKind | None = None
    scale_from: ScaleSource | None = None
    inner_mm: float | None = None
    outer_mm: float | None = None
    sizes: Sequence[str] = ()

    def stated(self) -> Stated:
        """As the measuring half wants them, checked."""
        sizes = {"face_inner_diameter_mm": self.inner_mm, "face_outer_diameter_mm": self.outer_mm}
        bar = None if self.check_bar_mm is None else check_bar(self.check_bar_mm)
        return Stated(
            part_kind=self.kind, view=self.view, card_size=self.card_size, mm_per_px=self.mm_per_px,
            card_height_mm=self.card_height_mm, check_bar_mm=bar,
            rule=self.rule, rule_class=self.rule_class, scale_from=self.scale_from, light_kind=self.light_kind,
            known_diameter_mm=self.known_diameter_mm, known_circle=self.known_circle,
            two_points=None if self.two_points is None else _numbers(self.two_points),
            nominal={k: v for k, v in sizes.items() if v is not None} | dict(_size(text) for text in self.sizes),
        )  # fmt: skip


def _size(text: str) -> tuple[str, float]:
    """`name=mm` of a drawing size."""
    name, _, value = text.partition("=")
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if name.strip() not in NOMINALS or not math.isfinite(number):
        raise UsageError("not a drawing size", got=text, do=f"give NAME=MM with a name of {', '.join(NOMINALS)}")
    return name.strip(), number


def _numbers(text: str) -> tuple[float, float, float, float, float]:
    """`x1,y1,x2,y2,mm` as numbers."""
    try:
        return two_points([float(part) for part in text.split(",")])
    except ValueError:
        raise UsageError("two points are five numbers", got=text, do="give x1,y1,x2,y2,mm") from None


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One photo: the public result and its words, or the error that set it aside."""

    public: dict[str, Any] = field(default_factory=dict)
    words: str = ""
    error: WearvisionError | None = None


def measure_files(
    paths: Sequence[Path],
    facts: Facts,
    *,
    boards: Sequence[Path] = (),
    marks: Path | None = None,
    overlay: Path | None = None,
    rubric: Path | None = None,
    data: Path | None = None,
    on_preparing: Callable[[], None] = lambda: None,
) -> Iterator[Measurement]:
    """Measure photos one after another; a bad file costs its own result only.

    What the bench keeps of cards and cameras in the folder `data`, if there is one, is used. `on_preparing` is told,
    again and again, while the measuring code is compiled, which is kept for later runs.
    """
    stated = facts.stated()
    bench = kept_in(data)
    acts = read_marks(marks) if marks is not None else []
    if acts and len(paths) != 1:
        raise UsageError("marks belong to one photo", got=len(paths), do="give one photo with --mark")
    specs = [_board(path) for path in boards]
    for path in paths:
        try:
            with while_compiling(on_preparing):
                result = measure_photo(path, stated, marks=acts, boards=specs, rubric=rubric, bench=bench)
            if acts:
                require_scale(result)
            if overlay is not None:
                twin = [p.stem for p in paths].count(path.stem) > 1
                name = f"{path.stem}-{result.public['photo']['sha256'][:8]}" if twin else path.stem
                write_overlay(path, result, overlay / f"{name}-overlay.jpg")
            yield Measurement(public=result.public, words=words(result.public))
        except WearvisionError as error:
            yield Measurement(error=error)


def _board(path: Path) -> BoardSpec:
    text = read_text(path, "the board", do="save the file as UTF-8")
    try:
        return board_from_toml(text)
    except BadInput as error:
        raise BadInput(f"{path.name}: {error.what}", got=error.got, do=error.do) from None


def write_overlay(path: Path, result: PhotoResult, target: Path) -> None:
    """Draw what was found over a photo, as a JPEG; of a gasket land also the width left against the angle."""
    drawing = Drawing(
        path=path, name=path.name, width_px=result.public["photo"]["width_px"],
        survey={**result.public, "drawing": result.drawing},
        findings=tuple(finding_from_record(r) for r in result.records),
    )  # fmt: skip
    write_whole(target, draw_photo(drawing, SHEET_PX).jpeg)
    strip = draw_land(drawing)
    if strip is not None:
        write_whole(target.with_name(target.name.replace("-overlay", "-land")), strip.jpeg)


def words(public: dict[str, Any]) -> str:
    """A result in a few lines for the terminal."""
    scale = public["scale"]
    lines = [f"{public['photo']['file']}: {public['part_kind'] or 'part'}, {public['view']}"]
    if scale["source"] is None:
        lines.append(f"  no scale: {scale['unmeasured']}")
    else:
        lines.append(
            f"  scale {say(quantity_from_json(scale['mm_per_px']))} per pixel from {SCALE_WORDS[scale['source']]},"
            f" tilt {scale['tilt_deg']:.0f}\u00b0"
        )
    if "rule" in scale:
        told = scale["rule"]
        lines.append(
            f"  rule graduated in {told['graduation']}, {told['marks']} marks:"
            f" {say(quantity_from_json(told['along_mm_per_px']))} per pixel along it"
        )
    lines += [f"  flag: {flag}" for flag in scale.get("flags", ())]
    lines += [f"  retake: {r['say']}" for r in public["retake"]]
    if not public["usable"] and public["findings"]:
        lines.append(f"  {some(len(public['findings']), 'mark')} found; none counts until the photo is taken again")
    elif public["usable"]:
        lines += [_finding_words(f) for f in public["findings"]]
    lines += [f"  not assessed: {n['what']}: {n['why']}" for n in public["not_assessed"] if public["usable"]]
    return "\n".join(lines)


def _finding_words(finding: dict[str, Any]) -> str:
    """One finding with its figures and doubts on a line."""
    told = {name: quantity_from_json(q) for name, q in finding["quantities"].items()}
    figures = ", ".join(f"{plain(name)} {say(q, signed=name in SIGNED)}" for name, q in told.items())
    doubts = f" [{', '.join(finding['flags'])}]" if finding["flags"] else ""
    struck = f" (struck: {finding['struck']})" if finding.get("struck") else ""
    which = "".join(f", {finding[name]}" for name in DETAILS if isinstance(finding.get(name), str))
    return f"  {finding['kind']} {finding['id']}{which}: {figures}{doubts}{struck}"
