"""``python -m wearvision.scenes``: draw scenes, draw the demo crate, score measured results."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable
from pathlib import Path

from wearvision.scenes.views import STAGES

FRAME_SEEDS = (9002, 9003, 9004, 9007, 9009, 9012, 9014, 9015, 9019, 9020, 9022, 9024)
"""Scenes of the small frames that the test suite keeps, two of them clean."""
FRAME_WIDTH_PX = 1840
SCORERS = {
    "wear-face": "score", "vane-edge": "score_vane_edge", "gasket-land": "score_gasket", "vane-front": "score_vanes",
    "vane-back": "score_vanes", "tongue": "score_tongue", "wear-face-spots": "score_spots",
    "line-light": "score_light", "rub": "score_rub",
}  # fmt: skip
"""Module that holds measurements of a view, or of one kind of wear on it, against the truth."""


def _draw(options: argparse.Namespace) -> int:
    _draw_all(options.view, range(options.seed, options.seed + options.count), options.width, options.out, options.spp)
    return 0


def _frames(options: argparse.Namespace) -> int:
    from wearvision.scenes.files import write_registry

    _draw_all("wear-face", FRAME_SEEDS, FRAME_WIDTH_PX, options.out, options.spp)
    write_registry(options.out)
    return 0


def _draw_all(view: str, seeds: Iterable[int], width_px: int | None, out: Path, samples: int) -> None:
    """Draw scenes that are not there yet, one line on stderr for each."""
    from wearvision.scenes.files import is_done, write_scene

    tracer = None
    for seed in seeds:
        stage = STAGES[view](seed, width_px)
        if is_done(out, stage.name):
            continue
        if tracer is None:
            from wearvision.scenes.render import load_tracer

            tracer = load_tracer()
        started = time.monotonic()
        write_scene(stage, out, samples, tracer)
        size = f"{stage.camera.width_px} x {stage.camera.height_px}"
        print(f"{stage.name}: {size}, {time.monotonic() - started:.1f} s", file=sys.stderr, flush=True)


def _crate(options: argparse.Namespace) -> int:
    from wearvision.scenes.crate import write_crate

    write_crate(options.out, options.spp)
    return 0


def _scales(options: argparse.Namespace) -> int:
    from wearvision.scenes.coverage import table
    from wearvision.scenes.scales import MODES, score_mode

    honest = True
    for loose, what in ((0.0, "cards exactly as high as stated"), (1.0, "heights as far off as is held possible")):
        scores = [score_mode(mode, options.seed, options.photos, loose=loose) for mode in MODES]
        print(f"{what}\n{table(scores)}")
        honest = honest and (not loose or all(s.honest for s in scores))
    return 0 if honest else 1


def _score(options: argparse.Namespace) -> int:
    import importlib
    import json

    from wearvision.app.measuring import measure_photo
    from wearvision.scenes.score import stated_of

    scorer = importlib.import_module(f"wearvision.scenes.{SCORERS[options.kind or _view_of(options.folder)]}")
    tally, known = scorer.Tally(), None
    if options.results:
        lines = options.results.read_text(encoding="utf-8").splitlines()
        results = [json.loads(line) for line in lines if line.strip()]
        known = {Path(str(r["photo"]["file"])).name: r for r in results}
    for photo, truth in scorer.truth_files(options.folder):
        if known is None:
            scorer.add_photo(tally, truth, measure_photo(photo, stated_of(truth)).public)
        elif photo.name in known:
            scorer.add_photo(tally, truth, known[photo.name])
    figures = scorer.summary(tally)
    print(scorer.table(figures), file=sys.stderr if options.json else sys.stdout)
    if options.json:
        print(json.dumps(figures))
    return 0


def _view_of(folder: Path) -> str:
    """View of a folder's first truth record; scenes of one view are scored at a time."""
    import json

    for path in sorted(folder.glob("*.json")):
        record = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(record, dict) and record.get("view") in SCORERS:
            return str(record.get("summary", {}).get("drawn_as", record["view"]))
    return "wear-face"


def _rules(options: argparse.Namespace) -> int:
    from wearvision.scenes.rule_score import false_rule, read_rule, table

    seeds = range(options.seed, options.seed + options.count)
    print(table([read_rule(seed) for seed in seeds], [false_rule(seed) for seed in seeds[: options.without]]))
    return 0


def _pits(options: argparse.Namespace) -> int:
    from wearvision.scenes.pit_fit import examples, fit, read_pits
    from wearvision.scenes.pit_score import score, table

    pits = read_pits(options.folder)
    if options.fit:
        print(fit(examples(pits)))
        return 0
    print(table(*score(pits, built_in=options.built_in)))
    return 0


def _faults(options: argparse.Namespace) -> int:
    from wearvision.scenes.faults import FAULTS, judge, table

    outcomes = [judge(options.seed + k, fault) for fault in FAULTS for k in range(options.count)]
    print(table(outcomes))
    return 0 if all(o.well for o in outcomes) else 1


def _diameter(options: argparse.Namespace) -> int:
    from wearvision.scenes.diameter import score_photo, table
    from wearvision.scenes.score import truth_files

    answers = []
    for number, (photo, truth) in enumerate(truth_files(options.folder)):
        answer = score_photo(
            photo, truth, which=options.circle, alone=options.alone, bent=options.bent, seed=number
        )
        answers.append(answer)
        if not answer.refused:
            worst, width = abs(answer.error).max(), answer.u95.max()
            print(f"{answer.name}: tilt {answer.tilt_deg:.0f}, worst {100 * worst:.2f} %, U95 to {100 * width:.2f} %")
    print(table(answers))
    return 0


def main(arguments: list[str] | None = None) -> int:
    """Run one of the commands; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m wearvision.scenes", description=__doc__)
    commands = parser.add_subparsers(required=True)
    draw = commands.add_parser("draw", help="draw photos of one view with their truth")
    draw.add_argument("--view", choices=tuple(STAGES), default="wear-face")
    draw.add_argument("--seed", type=int, required=True, help="number of the first scene")
    draw.add_argument("--count", type=int, required=True)
    draw.add_argument("--out", type=Path, required=True)
    draw.add_argument("--width", type=int, default=None, help="picture width in px (default: the view's own)")
    draw.add_argument("--spp", type=int, default=9, help="light paths per pixel")
    draw.set_defaults(run=_draw)
    frames = commands.add_parser("frames", help="draw the small frames of the test suite, with their registry")
    frames.add_argument("--out", type=Path, required=True)
    frames.add_argument("--spp", type=int, default=9)
    frames.set_defaults(run=_frames)
    crate = commands.add_parser("crate", help="draw the demo crate (skips photos that are there)")
    crate.add_argument("--out", type=Path, required=True)
    crate.add_argument("--spp", type=int, default=4)
    crate.set_defaults(run=_crate)
    score = commands.add_parser("score", help="hold measurements against the truth beside the photos")
    score.add_argument("folder", type=Path)
    score.add_argument("--results", type=Path, help="JSON Lines of `measure`; without it the photos are measured")
    score.add_argument("--kind", choices=tuple(SCORERS), help="score this view or kind of wear; else the first photo's")
    score.add_argument("--json", action="store_true", help="figures as JSON on stdout, table on stderr")
    score.set_defaults(run=_score)
    rules = commands.add_parser("rules", help="draw photos of steel rules, read them and score the readings")
    rules.add_argument("--seed", type=int, required=True, help="number of the first photo")
    rules.add_argument("--count", type=int, required=True)
    rules.add_argument("--without", type=int, default=66, help="photos without a rule looked at as well, at most count")
    rules.set_defaults(run=_rules)
    scales = commands.add_parser("scales", help="lengths and their intervals by what the scale came from")
    scales.add_argument("--seed", type=int, required=True)
    scales.add_argument("--photos", type=int, default=200, help="photos of each mode")
    scales.set_defaults(run=_scales)
    pits = commands.add_parser("pits", help="outlines snapped from rough boxes against masks by the photos' authors")
    pits.add_argument("folder", type=Path, help="photos NAME.png, each with its NAME_mask.png")
    judge = pits.add_mutually_exclusive_group()
    judge.add_argument("--built-in", action="store_true", help="judge the built-in model, for photos it never saw")
    judge.add_argument("--fit", action="store_true", help="print a model fitted to all of the photos")
    pits.set_defaults(run=_pits)
    diameter = commands.add_parser("diameter", help="lengths and their intervals with a known diameter as the scale")
    diameter.add_argument("folder", type=Path, help="photos with their truth")
    diameter.add_argument("--circle", choices=("rim", "bore"), default="rim", help="which one the caliper measured")
    diameter.add_argument("--alone", action="store_true", help="the other diameter is not stated")
    diameter.add_argument("--bent", action="store_true", help="leave the lens's distortion in the photo")
    diameter.set_defaults(run=_diameter)
    faults = commands.add_parser("faults", help="faults drawn on purpose: caught, or carried in the interval")
    faults.add_argument("--seed", type=int, required=True, help="number of the first photo")
    faults.add_argument("--count", type=int, required=True, help="photos of each fault, and without one")
    faults.set_defaults(run=_faults)
    options = parser.parse_args(arguments)
    return int(options.run(options))


if __name__ == "__main__":
    sys.exit(main())
