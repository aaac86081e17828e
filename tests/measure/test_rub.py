"""Rub bands: drawn rings whose gloss follows the light, and what looks alike: stains, reflections, steps, lines."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import RADII_MM, STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.groove import find_grooves
from wearvision.measure.finders.groove import to_finding as groove_finding
from wearvision.measure.finders.rub import find_rubs, to_finding
from wearvision.measure.finders.rub_edges import Sectors, _differences, _row_medians, _solve, edges_of
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured

CENTRE = (3.0, -2.0)
Tone = Callable[[Array, Array], NDArray[np.floating]]


def ring(inner: float, outer: float, strength: float, lamp: float = 0.6) -> Tone:
    """A band whose tone follows the light: brighter than the face on one side, hardly or darker on the other."""
    return lambda r, a: 1 + strength * (0.4 + np.cos(a - lamp)) * ((r > inner) & (r < outer))


def drawn(tone: Tone, plane: Plane, *, seed: int = 1, grooves: tuple[DrawnGroove, ...] = ()) -> NDArray[np.uint8]:
    """A face with a tone over it, smoothed as the photo is."""
    gray = draw_face(plane, centre_mm=CENTRE, seed=seed, grooves=grooves).astype(np.float64)
    width, height = plane.size_px
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - np.array(CENTRE)
    factor = tone(np.hypot(mm[:, 0], mm[:, 1]), np.arctan2(mm[:, 1], mm[:, 0])).reshape(height, width)
    return np.asarray(np.clip(gray * cv2.GaussianBlur(factor, (0, 0), 0.8), 0, 255), dtype=np.uint8)


def face_of(gray: NDArray[np.uint8], plane: Plane) -> Face:
    face = find_face(gray, plane, STATED)
    assert isinstance(face, Face)
    return face


@pytest.mark.parametrize("tilt_deg", [0.0, 14.0])
def test_a_band_is_where_it_was_drawn(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    errors, bounds = [], []
    for seed, (inner, outer) in enumerate(((34.0, 39.0), (40.5, 47.0), (30.0, 33.5))):
        gray = drawn(ring(inner, outer, 0.16, seed * 2.0), plane, seed=seed)
        face = face_of(gray, plane)
        [band] = find_rubs(gray, plane, face, ())
        found = to_finding(band, "R1", plane, face)
        assert {"suspected", "full-circle"} <= set(found.flags)
        true = {"radius_inner": inner, "radius_outer": outer, "width": outer - inner, "radius": (inner + outer) / 2,
                "area": np.pi * (outer**2 - inner**2), "arc": 360.0}  # fmt: skip
        for name, value in true.items():
            got = found.quantities[name]
            assert isinstance(got, Measured)
            errors.append(abs(got.value - value))
            bounds.append(got.u95)
        assert len(found.places_px) == 3 and len(found.outline_px) > 100
    assert np.mean(np.array(errors) <= np.array(bounds) + 1e-9) > 0.85


def test_the_strip_of_the_grooves_tells_the_same_band() -> None:
    """It is finer and ends half a millimetre further from the face's edges."""
    plane = drawn_plane()
    gray = drawn(ring(36.0, 42.0, 0.16), plane)
    face = face_of(gray, plane)
    [own], [other] = (
        find_rubs(gray, plane, face, (), (), strip) for strip in (None, find_grooves(gray, plane, face)[1])
    )
    assert (other.inner_mm, other.outer_mm) == pytest.approx((own.inner_mm, own.outer_mm), abs=0.1)
    assert other.whole and own.whole


def test_a_band_over_part_of_the_circle_has_its_arc() -> None:
    plane = drawn_plane()
    whole = ring(36.0, 42.0, 0.2)
    gray = drawn(lambda r, a: np.where(np.abs(a) < np.radians(110), whole(r, 0 * a + 0.6), 1.0), plane)
    face = face_of(gray, plane)
    [band] = find_rubs(gray, plane, face, ())
    assert not band.whole
    arc = to_finding(band, "R1", plane, face).quantities["arc"]
    assert isinstance(arc, Measured) and arc.value == pytest.approx(220, abs=25) and arc.u95 > 100


def off_centre(r: Array, a: Array) -> NDArray[np.floating]:
    """A stain: a round blot with a sharp edge, not about the axis."""
    away = np.hypot(r * np.cos(a) - 30, r * np.sin(a) - 10)
    return np.where(away < 14, 0.75, 1.0)


DECOYS: dict[str, Tone] = {
    "nothing": lambda r, a: 1 + 0 * r,
    "stain": off_centre,
    "reflection": lambda r, a: 1 + 0.4 * np.exp(-(((r - 38) / 5) ** 2)) * np.cos(a),
    "straight reflection": lambda r, a: 1 + 0.4 * (np.abs(r * np.cos(a) - 25) < 6),
    "one step": lambda r, a: np.where(r > 36, 1.25, 1.0),
    "lathe lines": lambda r, a: 1 + 0.1 * np.sin(r * 2.1) * np.cos(a),
}


@pytest.mark.parametrize("name", DECOYS)
def test_what_looks_alike_is_none(name: str) -> None:
    plane = drawn_plane()
    gray = drawn(DECOYS[name], plane)
    assert find_rubs(gray, plane, face_of(gray, plane), ()) == []


def test_a_groove_that_is_known_is_no_band() -> None:
    plane = drawn_plane()
    groove = DrawnGroove(radius_mm=38.0, width_mm=3.0, start_deg=0.0, arc_deg=360.0, depth_mm=1.0)
    gray = drawn(DECOYS["nothing"], plane, grooves=(groove,))
    face = face_of(gray, plane)
    tracks, strip = find_grooves(gray, plane, face, ())
    found = [groove_finding(t, f"G{k}", plane, face, strip.px_mm) for k, t in enumerate(tracks)]
    assert found and find_rubs(gray, plane, face, (), found) == []


def test_an_edge_is_as_large_as_the_tone_changes_there() -> None:
    """A step of one log tone, as it goes round: the change is the step, its size the root mean square of it."""
    deg, radius = np.arange(0.0, 360.0, 6.0), np.arange(RADII_MM[0], RADII_MM[1], 0.15)
    height = 0.1 + 0.08 * np.cos(np.radians(deg))
    edges = edges_of(Sectors(tone=height[:, None] * (radius > 40.0)[None, :], deg=deg, radius_mm=radius))
    at = int(np.argmax(edges.size))
    assert radius[at] == pytest.approx(40.0, abs=0.15)
    assert edges.change[:, at] == pytest.approx(height, abs=0.002)
    assert edges.size[at] == pytest.approx(np.sqrt(0.1**2 + 0.08**2 / 2), rel=0.02)


def holed(shape: tuple[int, ...]) -> Array:
    """Random numbers, a quarter of them missing."""
    rng = np.random.default_rng(11)
    values = rng.normal(size=shape)
    values[rng.random(shape) < 0.25] = np.nan
    return values


def test_medians_of_sectors_are_numpy_s_where_half_is_told() -> None:
    tone = holed((60, 40)).astype(np.float32)
    blocks = tone.reshape(10, 6, 40)
    told = np.isfinite(blocks).sum(axis=1) >= 3
    found = _row_medians(tone, 6)
    np.testing.assert_allclose(found[told], np.nanmedian(blocks.astype(float), axis=1)[told])
    assert np.isnan(found[~told]).all() and not told.all()


def test_a_change_is_the_mean_beyond_less_the_mean_before() -> None:
    tone = holed((4, 60))
    found = _differences(tone, 2, 7)
    for k in range(12, 45):
        ahead, behind = tone[:, k + 2 : k + 9], tone[:, k - 9 : k - 2]
        told = np.minimum(np.isfinite(ahead).sum(axis=1), np.isfinite(behind).sum(axis=1)) > 3.5
        np.testing.assert_allclose(found[told, k], (np.nanmean(ahead, axis=1) - np.nanmean(behind, axis=1))[told])
        assert np.isnan(found[~told, k]).all()


def test_equations_are_solved_as_numpy_does() -> None:
    rng = np.random.default_rng(12)
    half = rng.normal(size=(30, 5, 5))
    normal, right = half @ half.transpose(0, 2, 1) + 0.1 * np.eye(5), rng.normal(size=(30, 5))
    expect = np.linalg.solve(normal, right[..., None])[..., 0]
    _solve(normal, right)
    np.testing.assert_allclose(right, expect, rtol=1e-8)
