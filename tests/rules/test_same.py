from dataclasses import replace

from tests import sheet_kit as kit
from wearvision.finding import Finding
from wearvision.quantity import Measured
from wearvision.rules.same import merge

VIEWS = {"a" * 64: "wear-face", "b" * 64: "wear-face", "c" * 64: "gasket-land"}
A, B, C = VIEWS


def groove(name: str, radius: float, width: float = 2.0, arc: float = 90.0) -> Finding:
    figures = {"radius": radius, "width": width, "arc_in_view": arc}
    return replace(
        kit.finding(name),
        quantities={
            k: Measured(value=v, u=0.05, unit="deg" if k == "arc_in_view" else "mm") for k, v in figures.items()
        },
    )


def repeats(*placed: tuple[str, Finding]) -> list[str]:
    return [f.same_as for _, f in merge(placed, VIEWS)]


def test_one_groove_on_two_photos_is_gauged_on_the_one_that_shows_more() -> None:
    assert repeats((A, groove("G1", 74.0, arc=90)), (B, groove("G2", 74.2, arc=200))) == ["bbbbbbbb/G2", ""]


def test_another_radius_width_or_view_is_another_groove() -> None:
    assert repeats((A, groove("G1", 74.0)), (B, groove("G1", 76.0))) == ["", ""]
    assert repeats((A, groove("G1", 74.0)), (B, groove("G1", 74.0, width=3.0))) == ["", ""]
    assert repeats((A, groove("G1", 74.0)), (C, groove("G1", 74.0))) == ["", ""]


def test_in_doubt_both_are_gauged() -> None:
    two = (A, groove("G1", 74.0, arc=200)), (A, groove("G2", 74.1, arc=60))
    assert repeats(*two, (B, groove("G1", 74.0))) == ["", "", ""]
    assert repeats((A, groove("G1", 74.0, arc=300)), (B, groove("G1", 74.0)), (B, groove("G2", 74.1))) == ["", "", ""]


def test_a_mark_of_a_person_is_never_merged_away() -> None:
    marked = replace(groove("G1", 74.0), by="A. Fitter", flags=("marked",))
    assert repeats((A, groove("G1", 74.0, arc=200)), (B, marked)) == ["", ""]


def test_a_repeat_has_no_gauge_points_and_stays_on_the_sheet() -> None:
    from wearvision.rules.sheet import PrefilledSheet, prefill

    placed = merge([(A, groove("G1", 74.0, arc=200)), (B, groove("G1", 74.0))], VIEWS)
    sheet = prefill(kit.rubric(), "C-1", placed, photos={A: "wear-face", B: "wear-face"})
    assert {p.photo_sha for p in sheet.points if p.finding} == {A}
    assert len(PrefilledSheet.from_json(sheet.to_json()).findings) == 2
