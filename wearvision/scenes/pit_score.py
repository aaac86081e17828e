"""Hold outlines snapped from rough boxes and taps against masks by the photos' authors.

Figures are intersection over union. `exact` is the mask's own bounding box; `jittered` moves each side by up to 15 %
of the box's size, `loose` does so after drawing it 15 % larger on every side. A taps figure has three points drawn
from the inner part of the mask. Each photo is judged by a model fitted to the others unless the built-in is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.believe import MODEL, Model
from wearvision.measure.snap import Snapped, ellipse_in, grown, snap
from wearvision.measure.spot import Box
from wearvision.scenes.pit_fit import Array, Image, Mask, Pit, examples, fit, jittered

JITTER, LOOSE, REPEATS = 0.15, 0.15, 5
SOUND = 15
"""Boxes on the sound metal of each photo."""
AROUND = 0.5
"""Plain grab-cut sees the box and this share of its sides around it."""
BOXES = ("exact", "jittered", "loose")
FINE = 8


@dataclass(frozen=True, kw_only=True)
class Row:
    """Figures of one pit.

    Attributes
    ----------
    photo : str
    ellipse, grab_cut, snapped : mapping of str to float
        Mean IoU by kind of box; where nothing was recognized, `snapped` is the ellipse, as it is handed out.
    taps : float
        IoU from three taps; 0 where none was given.
    believed : float
        Share of the boxes whose outline was snapped; the others are the ellipse.
    told : sequence of (error, u95)
        Area of the outlines believed: log of told over true, and 1.96 u as a share of it.
    """

    photo: str
    ellipse: Mapping[str, float]
    grab_cut: Mapping[str, float]
    snapped: Mapping[str, float]
    taps: float
    believed: float
    told: Sequence[tuple[float, float]]


def rough_boxes(pit: Pit) -> dict[str, list[Box]]:
    """Boxes to judge by, always the same ones for the same pit; none was fitted to."""
    dice = np.random.default_rng(9000 + pit.number)
    loose = grown(pit.box_px, LOOSE)
    return {
        "exact": [pit.box_px],
        "jittered": [jittered(pit.box_px, JITTER, dice) for _ in range(REPEATS)],
        "loose": [jittered(loose, JITTER, dice) for _ in range(REPEATS)],
    }


def filled(outline_px: Array, shape: tuple[int, ...]) -> Mask:
    """Pixels that lie by half or more in an outline, told at `FINE` points each way."""
    mask = np.zeros(shape[:2], dtype=bool)
    low = np.maximum(np.floor(outline_px.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(outline_px.max(axis=0)).astype(int) + 2, shape[1::-1])
    if (low >= high).any():
        return mask
    wide, tall = (int(v) for v in high - low)
    canvas = np.zeros((tall * FINE, wide * FINE), dtype=np.uint8)
    cv2.fillPoly(canvas, [np.round(((outline_px - low + 0.5) * FINE - 0.5) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    share = canvas.reshape(tall, FINE, wide, FINE).mean(axis=(1, 3))
    mask[low[1] : high[1], low[0] : high[0]] = share >= 0.5
    return mask


def iou(one: Mask, other: Mask) -> float:
    """Intersection over union."""
    return int((one & other).sum()) / max(1, int((one | other).sum()))


def grab_cut(gray: Image, box: Box) -> Mask:
    """Stock grab-cut from a box, on the picture around it."""
    x0, y0, x1, y1 = grown(box, AROUND)
    left, top = max(0, int(x0)), max(0, int(y0))
    part = gray[top : int(y1) + 2, left : int(x1) + 2]
    label = np.zeros(part.shape, dtype=np.uint8)
    x, y = max(0, round(box[0] + 0.5) - left), max(0, round(box[1] + 0.5) - top)
    wide, high = round(box[2] - box[0]), round(box[3] - box[1])
    cv2.setRNGSeed(0)
    models = np.zeros((2, 1, 65))
    cv2.grabCut(
        cv2.cvtColor(part, cv2.COLOR_GRAY2BGR), label, (x, y, wide, high), models[0], models[1], 5,
        cv2.GC_INIT_WITH_RECT,
    )  # fmt: skip
    mask = np.zeros(gray.shape, dtype=bool)
    mask[top : top + part.shape[0], left : left + part.shape[1]] = (label & 1) == 1
    return mask


def taps_in(pit: Pit, count: int = 3) -> Array:
    """Points a person might tap: farther from the rim than 0.4 of the farthest."""
    depth = cv2.distanceTransform(np.pad(pit.mask.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    inner = np.argwhere(depth >= 0.4 * depth.max())
    chosen = np.random.default_rng(70 + pit.number).choice(len(inner), count, replace=False)
    return np.asarray(inner[chosen][:, ::-1], dtype=np.float64)


def on_sound_metal(pits: Sequence[Pit], model: Model) -> list[bool]:
    """Whether boxes of the size of one photo's pits, on its sound metal, give an outline: they should not."""
    dice = np.random.default_rng(300 + pits[0].number)
    gray, worn = pits[0].gray, np.any([p.mask for p in pits], axis=0)
    told: list[bool] = []
    for _ in range(40 * SOUND):
        x0, y0, x1, y1 = pits[int(dice.integers(len(pits)))].box_px
        wide, high = 1.2 * (x1 - x0), 1.2 * (y1 - y0)
        x, y = (float(dice.uniform(0, size - side)) for size, side in ((gray.shape[1], wide), (gray.shape[0], high)))
        box = (x, y, x + wide, y + high)
        left, top, right, low = (max(0, round(v)) for v in grown(box, 0.3))
        if not worn[top : low + 1, left : right + 1].any():
            got = snap(gray, box_px=np.array(box), model=model)
            told.append(isinstance(got, Snapped) and got.snapped)
        if len(told) == SOUND:
            break
    return told


def score_pit(pit: Pit, model: Model) -> Row:
    """One pit by every kind of box, and by taps."""
    boxes = rough_boxes(pit)
    got = {kind: [snap(pit.gray, box_px=np.array(b), model=model) for b in many] for kind, many in boxes.items()}
    outlines = {kind: [s for s in many if isinstance(s, Snapped)] for kind, many in got.items()}
    shape, area = pit.gray.shape, float(pit.mask.sum())

    def mean(one: Callable[[Box], Mask]) -> dict[str, float]:
        return {kind: float(np.mean([iou(one(b), pit.mask) for b in many])) for kind, many in boxes.items()}

    tapped = snap(pit.gray, taps_px=taps_in(pit), model=model)
    every = [s for many in outlines.values() for s in many]
    return Row(
        photo=pit.photo, ellipse=mean(lambda b: filled(ellipse_in(b), shape)),
        grab_cut=mean(lambda b: grab_cut(pit.gray, b)),
        snapped={
            kind: float(np.mean([iou(filled(s.outline_px, shape), pit.mask) for s in many]))
            for kind, many in outlines.items()
        },
        taps=iou(filled(tapped.outline_px, shape), pit.mask) if isinstance(tapped, Snapped) else 0.0,
        believed=float(np.mean([s.snapped for s in every])),
        told=[(float(np.log(s.area_px / area)), 1.96 * s.area_u_px / s.area_px) for s in every if s.snapped],
    )  # fmt: skip


def score(pits: Sequence[Pit], *, built_in: bool = False) -> tuple[list[Row], list[bool]]:
    """All pits and boxes on sound metal, each photo by a model fitted to the others, or by the built-in one."""
    names = list(dict.fromkeys(p.photo for p in pits))
    seen = [] if built_in else examples(pits)
    models = {name: MODEL if built_in else fit([e for e in seen if e.photo != name]) for name in names}
    sound = [told for name in names for told in on_sound_metal([p for p in pits if p.photo == name], models[name])]
    return [score_pit(pit, models[pit.photo]) for pit in pits], sound


def table(rows: Sequence[Row], sound: Sequence[bool]) -> str:
    """One line per photo (mean over its pits), then the means over photos and over pits."""
    head = f"{'photo':36s} pits   ellipse           grab-cut          snapped           taps  believed"
    kinds = " ".join(f"{kind[:5]:>5s}" for kind in BOXES)
    lines = [head, f"{'':41s}{kinds} {kinds} {kinds}"]
    photos = {name: [r for r in rows if r.photo == name] for name in dict.fromkeys(r.photo for r in rows)}
    lines += [f"{name[:36]:36s} {len(many):4d} {_line(_means(many))}" for name, many in photos.items()]
    by_photo = np.mean([_means(many) for many in photos.values()], axis=0)
    lines.append(f"{'mean over photos':36s} {len(photos):4d} {_line(by_photo)}")
    lines.append(f"{'mean over pits':36s} {len(rows):4d} {_line(_means(rows))}")
    told = np.array([pair for r in rows for pair in r.told]).reshape(-1, 2)
    held = float(np.mean(abs(np.expm1(-told[:, 0])) <= told[:, 1]))
    lines.append(
        f"area of the outlines believed: median error {100 * np.median(abs(np.expm1(told[:, 0]))):.0f} %, bias "
        f"{100 * np.expm1(np.median(told[:, 0])):+.0f} %, 95 % intervals hold {100 * held:.0f} % of {len(told)}"
    )
    if sound:
        lines.append(f"boxes on sound metal that give an outline all the same: {sum(sound)} of {len(sound)}")
    return "\n".join(lines)


def _means(rows: Sequence[Row]) -> Array:
    figures = [
        [*(part[kind] for part in (r.ellipse, r.grab_cut, r.snapped) for kind in BOXES), r.taps, r.believed]
        for r in rows
    ]
    return np.asarray(np.mean(figures, axis=0))


def _line(figures: Array) -> str:
    return " ".join(f"{v:5.2f}" for v in figures)
