"""From a confirmed sheet to gauged lengths: deepest, mark by mark, diameters with their places. By hand."""

from __future__ import annotations

import pytest

from tests import sheet_kit
from wearvision.finding import Finding
from wearvision.quantity import Measured
from wearvision.rules.clearance.from_sheet import REST, deepest, diameters, patches
from wearvision.rules.points import Role
from wearvision.rules.prefilled import prefill
from wearvision.rules.sheet import ConfirmedSheet


def groove(name: str, share: float | None, *, at: float, flags: tuple[str, ...] = ()) -> Finding:
    found = sheet_kit.finding(name, at=at, flags=flags)
    if share is None:
        return found
    quantities = {**found.quantities, "share": Measured.of(share, "1", area=0.001)}
    return Finding(id=name, kind="groove", outline_px=found.outline_px, quantities=quantities, flags=flags)


def confirmed(*grooves: Finding, typed: dict[int, str], kind: str = "casing") -> ConfirmedSheet:
    sheet = prefill(sheet_kit.rubric(kind), "C-1", [(sheet_kit.SHA, g) for g in grooves])
    return sheet_kit.confirm(sheet, sheet_kit.whole_log(sheet, typed=typed))


def test_each_mark_counts_with_its_own_deepest_reading_and_share() -> None:
    sheet = confirmed(groove("G1", 0.05, at=100), groove("G2", 0.01, at=300),
                      typed={1: "2.05 mm", 2: "2.08 mm", 3: "0.17 mm", 4: "0.16 mm"})  # fmt: skip
    found = {p.what: (p.share, p.depth_axial.value_mm, p.known) for p in patches(sheet)}
    assert found == {"groove G1": (0.05, 2.08, True), "groove G2": (0.01, 0.17, True)}
    depth = deepest(sheet, "depth")
    assert depth is not None and (depth.value_mm, depth.how) == (2.08, "C-1, point 2")


@pytest.mark.parametrize(("share", "flags"), [(None, ()), (0.01, ("cut-by-frame",))])
def test_a_mark_without_its_whole_share_counts_for_all_that_is_left(
    share: float | None, flags: tuple[str, ...]
) -> None:
    sheet = confirmed(groove("G1", 0.05, at=100), groove("G2", share, at=300, flags=flags),
                      typed={1: "2.05 mm", 2: "2.08 mm", 3: "0.17 mm", 4: "0.16 mm"})  # fmt: skip
    rest = next(p for p in patches(sheet) if p.what == REST)
    assert rest.share == pytest.approx(1 - (0.05 - 1.959964 * 0.001), abs=1e-6)  # lower end of the known share
    assert rest.depth_axial.value_mm == 0.17 and not rest.known


def test_readings_beside_any_mark_may_be_anywhere() -> None:
    (rest,) = patches(confirmed(typed={1: "0.05 mm", 2: "0.10 mm", 3: "0.08 mm"}))
    assert (rest.share, rest.depth_axial.value_mm, rest.known) == (1.0, 0.10, False)


def test_diameters_carry_the_places_of_their_rubric() -> None:
    sheet = confirmed(kind="ring-pair", typed={n: f"{100 + 0.5 * (n % 2)} mm" for n in range(1, 9)})
    sizes: dict[Role, float] = {"outer": 100.5, "inner": 100.0}
    for role, size in sizes.items():
        found = diameters(sheet, role)
        assert [(d.place, d.angle_deg) for d in found] == [
            ("front end", 0), ("front end", 90), ("rear end", 0), ("rear end", 90)
        ]  # fmt: skip
        assert {d.gauged.value_mm for d in found} == {size}


def test_what_is_not_asked_has_no_deepest() -> None:
    sheet = confirmed(typed={1: "0.05 mm", 2: "0.10 mm", 3: "0.08 mm"})
    assert deepest(sheet, "height_loss") is None
