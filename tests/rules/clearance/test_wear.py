"""What worn faces add to a gap: over the deepest place, and averaged over the face. By hand and by property."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.clearance.kit import gauged
from wearvision.rules.clearance.wear import Face, Patch, Wear, averaged, deepest, share_said, unread
from wearvision.rules.gauged import Gauged


def patch(share: float, depth_mm: float, *, share_u: float = 0.0, known: bool = True) -> Patch:
    return Patch(what="groove G1", share=share, share_u=share_u, depth_axial=gauged(depth_mm), known=known)


def face(deepest_mm: float | None, *patches: Patch) -> Face:
    return Face(name="casing", deepest_axial=None if deepest_mm is None else gauged(deepest_mm), patches=patches)


def most(found: Gauged | None) -> float:
    assert found is not None
    return found.value_mm


def test_wear_is_of_the_faces_that_meet() -> None:
    wear = Wear(casing_axial=gauged(1.0), impeller_axial=gauged(0.1), cover_axial=gauged(2.0),
                back_vanes_axial=gauged(0.2))  # fmt: skip
    assert deepest(wear.front_faces("casing")).value_mm == pytest.approx(1.1)
    assert deepest(wear.back_faces("casing")).value_mm == pytest.approx(2.2)
    assert deepest(wear.front_faces("cover")).value_mm == pytest.approx(2.1)
    assert deepest(wear.back_faces("cover")).value_mm == pytest.approx(1.2)


def test_a_mark_counts_by_its_share_by_hand() -> None:
    """5.4 % at 2.08 mm and 0.4 % at 0.17 mm: 0.113 mm averaged (sum of share times depth, derived)."""
    found = face(2.08, patch(0.054, 2.08), patch(0.004, 0.17))
    assert most(found.averaged_axial) == pytest.approx(0.054 * 2.08 + 0.004 * 0.17)
    assert found.extent_known and share_said(found) == "5.8 % of it worn"


def test_the_uncertainty_of_share_and_depth_both_count() -> None:
    """GUM 5.1.2, product of two independent figures."""
    one = patch(0.05, 2.0, share_u=0.01)
    assert one.averaged_axial.u_mm == pytest.approx(((0.05 * 0.005) ** 2 + (0.01 * 2.0) ** 2) ** 0.5)


def test_wear_of_unknown_extent_is_deepest_everywhere() -> None:
    assert most(face(0.3).averaged_axial) == 0.3
    assert share_said(face(0.3)) == "up to 100 % of it worn, extent not known"
    rest = face(0.3, patch(0.1, 0.3), patch(0.9, 0.1, known=False))
    assert most(rest.averaged_axial) == pytest.approx(0.1 * 0.3 + 0.9 * 0.1)
    assert not rest.extent_known


def test_a_face_not_read_counts_as_unworn_and_is_named() -> None:
    faces = (face(None), face(0.2))
    assert unread(faces) == ("casing",)
    assert averaged(faces).value_mm == 0.2


shares = st.lists(st.tuples(st.floats(0, 1), st.floats(0, 3)), min_size=1, max_size=5)


@given(shares)
def test_the_average_never_exceeds_the_deepest(found: list[tuple[float, float]]) -> None:
    worst = max(depth for _, depth in found)
    one = face(worst, *(patch(share, depth) for share, depth in found))
    assert one.averaged_axial is not None and one.deepest_axial is not None
    assert one.averaged_axial.high_mm <= one.deepest_axial.high_mm + 1e-12


@given(shares, st.floats(0, 0.5))
def test_more_worn_face_never_opens_less(found: list[tuple[float, float]], more: float) -> None:
    worst = max(depth for _, depth in found)
    less = face(worst, *(patch(s / 2, d) for s, d in found))
    wider = face(worst, *(patch(min(1.0, s / 2 + more), d) for s, d in found))
    assert most(less.averaged_axial) <= most(wider.averaged_axial) + 1e-9
