from dataclasses import replace

from tests import sheet_kit as kit
from wearvision.finding import Finding, Kind
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


def test_a_clear_groove_repeats_no_faint_one() -> None:
    faint = replace(groove("G1", 74.0, arc=300), flags=("faint",))
    assert repeats((A, groove("G1", 74.0)), (B, faint)) == ["", ""]
    assert repeats((A, groove("G1", 74.0, arc=360)), (B, faint)) == ["", "aaaaaaaa/G1"]


def test_a_mark_of_a_person_is_never_merged_away() -> None:
    marked = replace(groove("G1", 74.0), by="A. Fitter", flags=("marked",))
    assert repeats((A, groove("G1", 74.0, arc=200)), (B, marked)) == ["", ""]


def test_a_repeat_has_no_gauge_points_and_stays_on_the_sheet() -> None:
    from wearvision.rules.sheet import PrefilledSheet, prefill

    placed = merge([(A, groove("G1", 74.0, arc=200)), (B, groove("G1", 74.0))], VIEWS)
    sheet = prefill(kit.rubric(), "C-1", placed, photos={A: "wear-face", B: "wear-face"})
    assert {p.photo_sha for p in sheet.points if p.finding} == {A}
    assert len(PrefilledSheet.from_json(sheet.to_json()).findings) == 2


def land(width: float, u: float = 0.05) -> Finding:
    left = Measured(value=width, u=u, unit="mm")
    return replace(kit.finding("L1", "gasket-land"), quantities={"remaining_width": left})


def test_a_part_has_one_land_and_the_surer_photo_keeps_it() -> None:
    views = {A: "gasket-land", B: "gasket-land"}
    placed = (A, land(6.2, u=0.3)), (B, land(6.4, u=0.05))
    assert [f.same_as for _, f in merge(placed, views)] == ["bbbbbbbb/L1", ""]
    assert [f.same_as for _, f in merge(((A, land(6.2)), (B, land(3.0))), views)] == ["", ""]


def lip(deepest: float) -> Finding:
    figures = {k: Measured(value=v, u=0.05, unit="mm") for k, v in (("max_deviation", deepest), ("rms_deviation", 0.8))}
    return replace(kit.finding("W1", "washout"), quantities={}, sealed=figures)


def test_a_lip_is_known_again_by_what_stays_sealed() -> None:
    views = {A: "tongue", B: "tongue"}
    assert [f.same_as for _, f in merge(((A, lip(2.1)), (B, lip(2.2))), views)] == ["", "aaaaaaaa/W1"]
    assert [f.same_as for _, f in merge(((A, lip(2.1)), (B, lip(3.2))), views)] == ["", ""]


def vane(name: str, shift: float, bend: float) -> Finding:
    tip, angle = Measured(value=shift, u=0.1, unit="mm"), Measured(value=bend, u=0.3, unit="deg")
    return replace(kit.finding(name, "vane"), quantities={"tip_shift": tip, "bend_angle": angle})


def test_a_bent_vane_is_known_again_and_sound_ones_stay_what_they_are() -> None:
    """Sound vanes look alike: which is which on a turned photo is not told."""
    views = {A: "vane-front", B: "vane-front"}
    one = [(A, vane("V1", 0.1, 0.0)), (A, vane("V2", 5.0, 9.0)), (A, vane("V3", -0.1, 0.1))]
    two = [(B, vane("V1", 5.2, 9.3)), (B, vane("V2", 0.0, 0.0)), (B, vane("V3", 0.1, 0.2))]
    got = {(s, f.id): f.same_as for s, f in merge([*one, *two], views)}
    assert {key: same for key, same in got.items() if same} == {(B, "V1"): "aaaaaaaa/V2"}


def test_pits_and_cracks_of_one_size_stay_two() -> None:
    kinds: tuple[Kind, ...] = ("pit", "crack", "notch", "vane-edge")
    for kind in kinds:
        twin = kit.finding("X1", kind)
        assert repeats((A, twin), (B, twin)) == ["", ""]
