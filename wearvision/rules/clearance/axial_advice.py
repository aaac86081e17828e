"""What follows from an axial stack, in sentences for the person at the bench."""

from __future__ import annotations

from collections.abc import Iterator

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.window import Window


def axial_advice(stack: AxialStack) -> tuple[str, ...]:
    """The setting and why, the move, what the adjuster reaches, and warnings of touch."""
    if stack.worn is None or stack.standing is None:
        return tuple(_touch(stack))
    setting = _setting(stack.worn, stack.standing, stack.setting_axial_mm)
    return (setting, *_move(stack), *_touch(stack))


def _setting(worn: Window, standing: Window, setting: float | None) -> str:
    if setting is None:
        return f"No front setting keeps both axial gaps in range: {'; '.join(standing.why_not)}."
    if worn.word == "within":
        return f"Set the front gap to {setting:.3f} mm (axial, cold)."
    why = "; ".join(worn.why_not)
    if worn.word == "undecided":
        return (
            f"Undecided whether a setting keeps both axial gaps in range: {why}. Measure finer; until then"
            f" {setting:.3f} mm (axial, cold) is the best guess."
        )
    return (
        f"No setting keeps both axial gaps in range over the deepest wear: {why}. Rework the worn faces, or set"
        f" {setting:.3f} mm (axial, cold) at standing metal and accept the loss."
    )


def _move(stack: AxialStack) -> Iterator[str]:
    if stack.move_axial is not None:
        forward = stack.move_axial.value_mm >= 0
        way, opens = ("towards", "opens") if forward else ("away from", "closes")
        much = abs(stack.move_axial.value_mm)
        yield f"That moves the impeller {much:.3f} mm {way} the front face and {opens} the back gap by as much."
    if stack.adjuster is not None and stack.adjuster.word != "within":
        may = "may not reach" if stack.adjuster.word == "undecided" else "does not reach"
        yield f"The adjuster {may} that setting."


def _touch(stack: AxialStack) -> Iterator[str]:
    held = (
        ("front gap at this setting", stack.front_touch), ("back gap at this setting", stack.back_touch),
        ("front gap as found", stack.found_touch),
    )  # fmt: skip
    for gap, touch in held:
        if touch is not None and touch.word != "within":
            closes = "may close" if touch.word == "undecided" else "closes"
            yield f"WARNING: the {gap} (axial, cold) {closes} when hot: it would touch."
