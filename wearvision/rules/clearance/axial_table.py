"""The axial stack as lines of a table and as JSON."""

from __future__ import annotations

from collections.abc import Iterator

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.axial_advice import axial_advice
from wearvision.rules.clearance.hold import OPEN
from wearvision.rules.clearance.line import Line, lines_json
from wearvision.rules.clearance.thermal import MAKERS_TABLE
from wearvision.rules.clearance.wear import Face, share_said, unread
from wearvision.rules.clearance.window import Window
from wearvision.rules.decision import Decision
from wearvision.rules.gauged import NOTHING, Gauged

PRACTICE = "common practice, no source, unless stated in the pump file"


def axial_lines(stack: AxialStack) -> tuple[Line, ...]:
    """The table of a stack: as found, wear, window, setting, hot."""
    return (*_found(stack), *_wear(stack), *_windows(stack), *_set(stack), *_hot(stack))


def axial_json(stack: AxialStack) -> dict[str, object]:
    """Everything derived, by name."""
    side = stack.facts.running_side
    return {
        "word": stack.word, "running_side": side,
        "setting_axial_mm": stack.setting_axial_mm, "lines": lines_json(axial_lines(stack)),
        "advice": list(axial_advice(stack)), "missing": list(stack.missing), "questions": list(stack.questions),
        "unread_faces": [*unread(stack.wear.front_faces(side)), *unread(stack.wear.back_faces(side))],
    }  # fmt: skip


def _found(stack: AxialStack) -> Iterator[Line]:
    facts = stack.facts
    front, back = stack.front_gap_axial, stack.back_gap_axial
    yield Line(key="front_gap_axial", label="Front gap, axial, as found", figure=front, note=_how(front),
               limit=_range(facts.front_low_axial_mm, facts.front_high_axial_mm))  # fmt: skip
    yield Line(key="back_gap_axial", label="Back gap, axial, as found", figure=back, note=_how(back),
               limit=_range(facts.back_low_axial_mm, facts.back_high_axial_mm))  # fmt: skip
    yield Line(key="total_gap_axial", label="Total travel, axial", figure=stack.total_gap_axial,
               limit=_range(facts.total_low_axial_mm, facts.total_high_axial_mm), decision=stack.total,
               note=PRACTICE)  # fmt: skip


def _wear(stack: AxialStack) -> Iterator[Line]:
    side = stack.facts.running_side
    front, back = stack.wear.front_faces(side), stack.wear.back_faces(side)
    yield Line(key="front_wear_axial", label="Wear at the front gap, axial, deepest", note=_faces(front),
               figure=_read(stack.front_wear_axial))  # fmt: skip
    yield Line(key="front_wear_averaged_axial", label="Wear averaged over the face, axial",
               figure=_read(stack.front_wear_averaged_axial), note=_shares(front))  # fmt: skip
    yield Line(key="back_wear_axial", label="Wear at the back gap, axial, deepest", note=_faces(back),
               figure=_read(stack.back_wear_axial))  # fmt: skip


def _faces(faces: tuple[Face, Face]) -> str:
    """Which readings count, and which faces were not read."""
    read = [(f.name, f.deepest_axial) for f in faces if f.deepest_axial is not None]
    said = [f"{name} {depth.value_mm:.2f} mm ({depth.how})" for name, depth in read]
    not_read = unread(faces)
    return "; ".join([*said, *([f"{', '.join(not_read)} not read, taken as unworn"] if not_read else [])])


def _shares(faces: tuple[Face, Face]) -> str:
    """How much of each face that was read is worn."""
    read = [f for f in faces if f.deepest_axial is not None]
    return "; ".join(f"{f.name}: {share_said(f)}" for f in read)


def _windows(stack: AxialStack) -> Iterator[Line]:
    if stack.standing is not None:
        yield from _edges("standing", "standing metal", stack.standing)
    if stack.worn is not None and (_read(stack.front_wear_axial) or _read(stack.back_wear_axial)):
        yield from _edges("worn", "deepest wear", stack.worn)


def _edges(key: str, at: str, found: Window) -> Iterator[Line]:
    said = {"within": "a setting exists", "beyond": "no setting exists", "undecided": "undecided"}[found.word]
    decision = min((r.decision for r in found.rooms), key=_badness)
    why = f"{said}: {'; '.join(found.why_not)}" if found.why_not else ""
    yield Line(key=f"setting_low_{key}_axial", label=f"Least setting, axial, {at}",
               figure=found.low_axial)  # fmt: skip
    yield Line(key=f"setting_high_{key}_axial", label=f"Largest setting, axial, {at}",
               figure=found.high_axial, limit="not below the least", decision=decision, note=why)  # fmt: skip


def _read(wear: Gauged) -> Gauged | None:
    return None if wear is NOTHING else wear


def _badness(decision: Decision) -> int:
    return ("beyond", "undecided", "within").index(decision.word)


def _set(stack: AxialStack) -> Iterator[Line]:
    if stack.setting_axial_mm is None:
        return
    left = stack.facts.adjuster_left_axial_mm
    raised = stack.heat.raise_axial
    hot = raised is not None and raised.value_mm > 0
    note = f"raised by {raised.value_mm:.3f} mm for heat; {MAKERS_TABLE}" if raised is not None and hot else ""
    yield Line(key="setting_axial", label="Setting proposed, axial, cold", note=note,
               figure=Gauged(value_mm=stack.setting_axial_mm, u_mm=0.0 if raised is None else raised.u_mm))  # fmt: skip
    yield Line(key="move_axial", label="Move to the front face, axial", figure=stack.move_axial,
               limit="" if left is None else f"{left:.3f} mm left in the adjuster", decision=stack.adjuster,
               note="opens the back gap by the same amount")  # fmt: skip
    if left is not None and stack.move_axial is not None:
        after = Gauged(value_mm=left - stack.move_axial.value_mm, u_mm=stack.move_axial.u_mm)
        yield Line(key="adjuster_left_after_axial", label="Adjuster travel left after it, axial", figure=after)
    yield Line(key="back_gap_after_axial", label="Back gap after setting, axial", figure=stack.back_after_axial,
               note="total less setting")  # fmt: skip


def _hot(stack: AxialStack) -> Iterator[Line]:
    change = stack.heat.worst_axial
    if change is None:
        return
    yield Line(key="front_change_hot_axial", label="Change of the front gap by heat, axial", figure=change,
               note="negative closes; worst of the stated states")  # fmt: skip
    yield Line(key="front_gap_hot_axial", label="Front gap when hot, axial", figure=stack.hot_front_axial,
               limit=OPEN.text, decision=stack.front_touch, note=MAKERS_TABLE)  # fmt: skip
    yield Line(key="front_gap_hot_found_axial", label="Front gap as found, axial, when hot",
               figure=stack.hot_found_axial, limit=OPEN.text, decision=stack.found_touch)  # fmt: skip
    yield Line(key="back_gap_hot_axial", label="Back gap when hot, axial", figure=stack.hot_back_axial,
               limit=OPEN.text, decision=stack.back_touch, note="the total is taken as unchanged by heat")  # fmt: skip


def _range(low_mm: float, high_mm: float) -> str:
    return f"{low_mm:.3f} to {high_mm:.3f} mm"


def _how(figure: Gauged | None) -> str:
    return "" if figure is None else figure.how
