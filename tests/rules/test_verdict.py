from __future__ import annotations

import copy
import json
import pickle
import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests import sheet_kit as kit
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson
from wearvision.quantity import Measured
from wearvision.rules.cautions import CAUTIONS, cautions_for
from wearvision.rules.outcome import WORDS, severest
from wearvision.rules.sheet import ConfirmedSheet, Entry, Log, missing, prefill, seconds_wanted
from wearvision.rules.verdict import Verdict
from wearvision.stated import PART_KINDS

ROOT = Path(__file__).parent.parent.parent


def judged(
    typed: dict[int, str] | None = None, sights: dict[tuple[str, str], str] | None = None, kind: str = "casing"
) -> Verdict:
    prefilled = prefill(kit.rubric(kind), "T-1", [])
    return Verdict(kit.confirm(prefilled, kit.whole_log(prefilled, typed=typed, sights=sights)))


@pytest.mark.parametrize("kind", PART_KINDS)
def test_a_sound_part_is_reused(kind: str) -> None:
    verdict = judged(kind=kind)
    assert (verdict.word, verdict.reasons, verdict.losses) == ("reuse", (), ())
    assert {"energy", "defer"} <= {c.id for c in verdict.cautions}


# Casing wear face, an eighth or less: 3.175 mm; noted above half of it; depth gauge u 0.0211 mm with seating.
@pytest.mark.parametrize(
    ("typed", "word"),
    [("1.58 mm", "reuse"), ("1.59 mm", "reuse with loss noted"), ("3.14 mm", "reuse with loss noted"),
     ("3.15 mm", "undecided"), ("1/8", "undecided"), ("3.20 mm", "undecided"), ("3.22 mm", "do not reuse")],
)  # fmt: skip
def test_the_word_follows_the_deepest_reading(typed: str, word: str) -> None:
    verdict = judged({2: typed})
    assert verdict.word == word
    face = verdict.outcomes[0]
    assert face.figure is not None
    assert face.figure.points == (2,)
    assert bool(verdict.losses) == (word in ("reuse with loss noted", "undecided"))
    assert bool(verdict.reasons) == (word != "reuse")


def test_under_an_eighth_is_not_an_eighth_or_less() -> None:
    """Box cover: an eighth fails; at vanishing uncertainty the two rules differ at the limit itself."""
    cover = kit.rubric("box-cover").criterion("wear-face").limit
    casing = kit.rubric("casing").criterion("wear-face").limit
    assert cover is not None
    assert casing is not None
    assert (cover.limit.inclusive, casing.limit.inclusive) == (False, True)


def test_an_undecided_criterion_that_cannot_change_the_word_does_not_hold_it_up() -> None:
    """Tongue: beyond 1/16 in is rework first, so with a failed check there the width no longer matters."""
    near = {4: "1.60 mm"}
    assert judged(near).word == "undecided"
    assert judged(near, {("tongue", "smooth"): "fail"}).word == "rework first"
    assert judged(near, {("gasket-land", "land"): "fail"}).word == "do not reuse"
    assert "settle" in " ".join(judged(near).reasons)


def test_every_reading_is_held_with_its_own_uncertainty() -> None:
    """A blunt gauge at a shallower place can leave open what the deepest reading would have passed."""
    prefilled = prefill(kit.rubric(), "T-1", [])
    log = kit.whole_log(prefilled, typed={1: "3.00 mm", 2: "2.9 mm"})
    assert Verdict(kit.confirm(prefilled, log)).word == "reuse with loss noted"
    blunt = kit.reading(2, "2.9 mm", instrument=kit.gauge(resolution_mm=1.0))
    log = Log(tuple(replace(e, what=blunt) if e.key == 2 else e for e in log.entries))
    verdict = Verdict(kit.confirm(prefilled, log))
    assert verdict.word == "undecided"
    assert verdict.outcomes[0].figure is not None
    assert verdict.outcomes[0].figure.points == (2,)


@pytest.mark.parametrize(
    ("outer", "inner", "word"),
    [("165.71 mm", "165.10 mm", "reuse"), ("165.71 mm", "164.80 mm", "reuse with loss noted"),
     ("165.71 mm", "164.60 mm", "rework first"), ("165.71 mm", "165.40 mm", "rework first")],
)  # fmt: skip
def test_a_ring_pair_is_held_by_the_difference_of_diameters(outer: str, inner: str, word: str) -> None:
    """0.020 to 0.040 in, diametral: 0.508 to 1.016 mm. Bore 165.71, ring 164.80: clearance 0.91 mm."""
    verdict = judged({1: outer, 2: inner, 3: outer, 4: inner}, kind="ring-pair")
    assert verdict.word == word
    figure = verdict.outcomes[0].figure
    assert figure is not None
    assert figure.value_mm == pytest.approx(float(outer[:6]) - float(inner[:6]))
    assert figure.u_mm == pytest.approx(2**0.5 * (0.01**2 / 12 + (0.02**2 + 0.01**2) / 3) ** 0.5)


def test_ovality_takes_the_worst_pair_of_diameters() -> None:
    verdict = judged({1: "165.71 mm", 2: "164.80 mm", 3: "165.75 mm", 4: "164.70 mm"}, kind="ring-pair")
    assert verdict.outcomes[0].figure is not None
    assert verdict.outcomes[0].figure.points == (3, 4)
    assert verdict.outcomes[0].figure.value_mm == pytest.approx(1.05)


def test_a_crack_suspected_from_a_photo_needs_the_test_even_when_the_eye_sees_none() -> None:
    prefilled = prefill(kit.rubric(), "T-1", [(kit.SHA, kit.finding("C1", "crack"))], photos={kit.SHA: "tongue"})
    log = kit.whole_log(prefilled)
    assert Verdict(kit.confirm(prefilled, log)).word == "reuse"
    without = Log(tuple(e for e in log.entries if e.key != ("cracks", "penetrant")))
    with pytest.raises(NeedsPerson, match="cracks/penetrant"):
        kit.confirm(prefilled, without)
    failed = kit.whole_log(prefilled, sights={("cracks", "penetrant"): "fail"})
    verdict = Verdict(kit.confirm(prefilled, failed))
    assert verdict.word == "do not reuse"
    assert "linear indication" in verdict.reasons[0]


def test_any_bent_vane_ends_reuse() -> None:
    assert judged(sights={("bent-vanes", "straight"): "fail"}, kind="impeller").word == "do not reuse"
    assert judged(sights={("back-vane-edges", "edges"): "fail"}, kind="impeller").word == "do not reuse"
    assert judged(sights={("sleeve-seat", "seat"): "fail"}, kind="impeller").word == "rework first"


def test_an_amendment_decides_and_the_first_stays() -> None:
    prefilled = prefill(kit.rubric(), "T-1", [])
    log = kit.whole_log(prefilled, typed={1: "4.00 mm"})
    assert Verdict(kit.confirm(prefilled, log)).word == "do not reuse"
    log = log.amend(kit.reading(1, "0.40 mm"), "decimal point slipped")
    verdict = Verdict(kit.confirm(prefilled, log))
    assert verdict.word == "reuse"
    first = verdict.sheet.log.first(1)
    assert first is not None
    assert first.typed == "4.00 mm"


def test_of_two_blind_readings_the_deeper_decides_unless_a_reason_is_given() -> None:
    prefilled = prefill(kit.rubric(), "T-1", [(kit.SHA, kit.finding(sealed_mm=0.5))], photos={kit.SHA: "wear-face"})
    log = kit.whole_log(prefilled, typed={1: "4.00 mm"})
    assert seconds_wanted(prefilled, log) == (1,)
    again = kit.reading(1, "0.52 mm")
    assert Verdict(kit.confirm(prefilled, log.second(again))).word == "do not reuse"
    assert Verdict(kit.confirm(prefilled, log.second(again, "gauge stood on a bolt head"))).word == "reuse"


def test_doubts_and_follow_up_are_on_the_record() -> None:
    findings = [kit.finding("G1", flags=("faint",)), kit.finding("G2").strike("pencil"), kit.finding("V1", "vane")]
    prefilled = prefill(kit.rubric(), "T-1", [(kit.SHA, f) for f in findings], photos={kit.SHA: "wear-face"})
    verdict = Verdict(kit.confirm(prefilled))
    said = " ".join(verdict.doubts)
    for part in ("Weak evidence", "struck from the record: pencil", "vane V1", "belongs to no criterion"):
        assert part in said
    assert verdict.follow_up == (
        "At assembly: Total clearance casing to cover, 0.060 in to 0.085 in (1.524 mm to 2.159 mm)."
        " Total travel of the impeller from casing to cover, dry and cold.",
    )
    (front,) = judged(kind="impeller").follow_up
    assert "0.006 in to 0.010 in" in front
    assert "set 0.008 in" in front
    assert "200 F" in front
    assert "maker's table" in front
    assembly = prefill(kit.rubric(), "T-1", [], stage="assembly")
    assert Verdict(kit.confirm(assembly)).follow_up == ()


def test_a_verdict_is_made_of_a_confirmed_sheet_and_nothing_else() -> None:
    prefilled = prefill(kit.rubric(), "T-1", [])
    for wrong in (prefilled, None, "reuse", Measured(value=1.0, u=0.1, unit="mm")):
        with pytest.raises(BadInput, match="confirmed sheet only"):
            Verdict(wrong)  # type: ignore[arg-type]  # wrong on purpose
    with pytest.raises(TypeError):
        Verdict(kit.confirm(prefilled), word="reuse")  # type: ignore[call-arg]  # wrong on purpose


def test_a_verdict_cannot_be_set_by_hand() -> None:
    verdict = judged()
    for name in ("word", "reasons", "sheet", "cautions"):
        with pytest.raises((FrozenInstanceError, AttributeError)):
            setattr(verdict, name, "do not reuse")
    with pytest.raises(TypeError):
        replace(verdict, word="reuse")  # type: ignore[call-arg]  # wrong on purpose
    with pytest.raises(BadInput):
        replace(verdict, sheet=verdict.sheet.prefilled)  # type: ignore[arg-type]  # wrong on purpose


def forged() -> ConfirmedSheet:
    """A sheet made past its constructor, with nothing read."""
    sheet = object.__new__(ConfirmedSheet)
    for name, value in {
        "prefilled": prefill(kit.rubric(), "T-1", []), "log": Log(), "confirmed_by": "X", "confirmed_at": kit.AT,
    }.items():  # fmt: skip
        object.__setattr__(sheet, name, value)
    return sheet


def test_a_sheet_made_past_its_constructor_gives_no_verdict() -> None:
    with pytest.raises(NeedsPerson):
        Verdict(forged())
    verdict = object.__new__(Verdict)
    for name in ("word", "reasons", "outcomes", "losses", "doubts", "follow_up", "cautions", "decision_rule"):
        with pytest.raises(BadInput):
            getattr(verdict, name)
    object.__setattr__(verdict, "sheet", forged())
    for name in ("word", "reasons", "outcomes", "losses", "doubts", "follow_up", "cautions", "decision_rule"):
        with pytest.raises(NeedsPerson):
            getattr(verdict, name)
    for road in (copy.copy, copy.deepcopy, pickle.dumps, Verdict.to_json):
        with pytest.raises(NeedsPerson):
            pickle.loads(road(verdict)) if road is pickle.dumps else road(verdict)  # type: ignore[arg-type,operator]  # each its own form

    class Lenient(ConfirmedSheet):  # type: ignore[misc]  # final; wrong on purpose
        def require_whole(self) -> None:
            pass

    loose = Lenient(prefilled=prefill(kit.rubric(), "T-1", []), log=Log(), confirmed_by="X", confirmed_at=kit.AT)
    with pytest.raises(BadInput):
        Verdict(loose)


def test_a_stored_verdict_is_derived_again_and_compared() -> None:
    verdict = judged({1: "2.50 mm"})
    stored = json.loads(json.dumps(verdict.to_json()))
    assert Verdict.from_json(stored, verdict.sheet).word == "reuse with loss noted"
    assert pickle.loads(pickle.dumps(verdict)).to_json() == verdict.to_json()
    for name, value in (("word", "reuse"), ("losses", []), ("criteria", []), ("grade", "A")):
        with pytest.raises(BrokenRecord, match=name):
            Verdict.from_json(stored | {name: value}, verdict.sheet)
    with pytest.raises(BrokenRecord, match="sheet_digest"):
        Verdict.from_json(stored, judged({1: "2.51 mm"}).sheet)


def test_severity_is_a_ladder() -> None:
    for mild, severe in pairwise(WORDS[:4]):
        assert severest([severe, mild, mild]) == severe
    assert severest([]) == "reuse"


def test_cautions_carry_their_mark_and_show_where_they_belong() -> None:
    assert all(c.line.endswith(".") and c.mark for c in CAUTIONS)
    assert "laser" not in {c.id for c in cautions_for("casing", {"wear-face"})}
    assert "laser" in {c.id for c in cautions_for("casing", {"line-light"})}
    assert "gasket" in {c.id for c in cautions_for("box-cover", ())}
    assert "gasket" not in {c.id for c in cautions_for("impeller", ())}


SNIPPET = """
from wearvision.quantity import Measured
from wearvision.rules.reading import GaugeReading, Instrument
from wearvision.rules.sheet import ConfirmedSheet, Entry, Log, PrefilledSheet
from wearvision.rules.verdict import Verdict

def good(sheet: ConfirmedSheet, reading: GaugeReading) -> None:
    Verdict(sheet)
    Log().commit(reading)

def bad(sheet: PrefilledSheet, estimate: Measured, gauge: Instrument, verdict: Verdict) -> None:
    Verdict(sheet)
    Log().commit(estimate)
    Entry(kind="first", what=estimate)
    GaugeReading(point=1, typed=estimate, instrument=gauge, reader="A", at="2026-03-02T09:30:00")
    verdict.word = "reuse"
    ConfirmedSheet(prefilled=sheet, log=[estimate], confirmed_by="A", confirmed_at="2026-03-02T09:30:00")
"""


def test_mypy_refuses_a_photo_where_a_person_is_wanted(tmp_path: Path) -> None:
    pytest.importorskip("mypy", reason="mypy belongs to the dev extra, not to the test extra")
    (tmp_path / "trial.py").write_text(SNIPPET, encoding="utf-8")
    cache = ROOT / ".mypy_cache"
    said = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--config-file", str(ROOT / "pyproject.toml"),
         "--cache-dir", str(cache), str(tmp_path / "trial.py")],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    ).stdout  # fmt: skip
    wrong = {int(line.split(":")[1]) for line in said.splitlines() if ": error:" in line}
    assert wrong == set(range(12, 18)), said


QUICK = settings(max_examples=60, suppress_health_check=list(HealthCheck))


@QUICK
@given(st.data())
def test_no_sequence_of_calls_yields_a_verdict_with_anything_missing(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(PART_KINDS))
    findings = data.draw(st.lists(st.sampled_from(["groove", "pit", "crack", "washout"]), max_size=3))
    prefilled = prefill(
        kit.rubric(kind),
        "T-1",
        [(kit.SHA, kit.finding(f"F{i}", k, sealed_mm=0.5, at=200.0 * i)) for i, k in enumerate(findings)],
    )
    possible = kit.whole_log(prefilled).entries
    log = Log()
    for _ in range(data.draw(st.integers(0, 2 * len(possible)))):
        entry = data.draw(st.sampled_from(possible))
        move = data.draw(st.sampled_from(["commit", "commit", "amend", "second"]))
        try:
            log = moved(log, entry, move)
        except BadInput:
            continue
    verdict: Any = None
    try:
        verdict = Verdict(kit.confirm(prefilled, log))
    except NeedsPerson:
        assert missing(prefilled, log)
    if verdict is not None:
        assert all(log.first(p.number) is not None for p in prefilled.points)
        assert not missing(prefilled, log)


def moved(log: Log, entry: Entry, move: str) -> Log:
    if move == "amend":
        return log.amend(entry.what, "corrected")
    if move == "second":
        return Log((*log.entries, replace(entry, kind="second")))
    return log.commit(entry.what)


@QUICK
@given(st.integers(0, 500), st.integers(0, 500), st.sampled_from([1, 2, 3]))
def test_a_deeper_reading_never_softens_the_word(a: int, b: int, point: int) -> None:
    order = ["reuse", "reuse with loss noted", "undecided", "do not reuse"]
    low, high = (judged({point: f"{v / 100:.2f} mm"}).word for v in sorted((a, b)))
    assert order.index(low) <= order.index(high)
