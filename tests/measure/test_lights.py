"""Light of one colour: what it is made of, that it tells what greys do not, and that it is left alone where they do."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure import gasket_kit, vane_kit, vanes_kit
from tests.measure.face_kit import drawn_plane
from wearvision.measure.lights import Lights
from wearvision.measure.look import Look, Seen
from wearvision.measure.views import gasket_land, vane_edge, vanes
from wearvision.quantity import Measured
from wearvision.scenes.vane_profile import Section
from wearvision.stated import Stated

Gray = NDArray[np.uint8]
View = Callable[[Look], Seen]


def profile() -> tuple[View, Look, str, float]:
    section = Section(height_mm=9.0, thickness_mm=6.5, radius_mm=(1.2, 0.6))
    tones = vane_kit.Tones(face=0.5, back=0.03, left=0.15, right=0.2, top=0.3, mottle=0.03)
    photo = vane_kit.draw(section, vane_kit.camera(), tones)
    stated = Stated(view="vane-edge", nominal={"vane_height_mm": 9.5, "vane_thickness_mm": 6.5})
    look = Look(gray=photo.gray, plane=photo.plane, stated=stated, cards_px=photo.cards_px, blur_px=photo.blur_px)
    return vane_edge.see, look, "height", 9.0


def impeller() -> tuple[View, Look, str, float]:
    plane, one = drawn_plane(tilt_deg=4.0), vanes_kit.DrawnVane(shift_mm=3.0)
    gray = vanes_kit.draw_vanes(plane, (one, *(vanes_kit.DrawnVane(),) * 4))
    stated = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * vanes_kit.DISC_MM})
    return vanes.see, Look(gray=gray, plane=plane, stated=stated), "tip_shift", 3.0


def land() -> tuple[View, Look, str, float]:
    plane = drawn_plane(tilt_deg=4.0)
    gray = gasket_kit.draw_land(plane)
    return gasket_land.see, Look(gray=gray, plane=plane, stated=gasket_kit.STATED), "remaining_width", 12.0


VIEWS = pytest.mark.parametrize("drawn", [profile, impeller, land])


def told(seen: Seen, name: str) -> list[Measured]:
    """What is measured of a name, the largest first."""
    given = [f.quantities[name] for f in seen.findings if name in f.quantities]
    return sorted((one for one in given if isinstance(one, Measured)), key=lambda one: -abs(one.value))


def holds(seen: Seen, name: str, true: float) -> bool:
    """Whether the largest is measured, and its interval holds the true value."""
    found = told(seen, name)
    return bool(found) and abs(abs(found[0].value) - true) <= found[0].u95 < 0.5 * true


def grain(like: Gray) -> Gray:
    """Greys that show nothing."""
    return np.clip(np.rint(np.random.default_rng(1).normal(110, 3, like.shape)), 0, 255).astype(np.uint8)


@VIEWS
def test_what_shows_in_no_greys_is_told_in_the_light_that_shows_it(
    drawn: Callable[[], tuple[View, Look, str, float]],
) -> None:
    see, look, name, true = drawn()
    none = grain(look.gray)
    assert told(see(replace(look, gray=none)), name) == []
    for lights in ((look.gray, none), (none, look.gray)):
        assert holds(see(replace(look, gray=none, lights=lights)), name, true)


@VIEWS
def test_light_is_left_alone_where_greys_tell(drawn: Callable[[], tuple[View, Look, str, float]]) -> None:
    def untouched() -> Iterator[Gray]:
        pytest.fail("greys tell already")
        yield

    see, look, name, true = drawn()
    assert holds(see(replace(look, lights=untouched())), name, true)


def test_light_is_decoded_once_and_only_when_it_is_looked_at() -> None:
    decoded = []

    def decode() -> tuple[Gray, Gray]:
        decoded.append(1)
        return np.full((3, 6), 90, np.uint8), np.full((3, 6), 40, np.uint8)

    lights = Lights(decode)
    assert decoded == []
    assert [int(one[0, 0]) for one in (*lights, *lights)] == [90, 40, 90, 40] and decoded == [1]


def test_a_gray_photo_has_no_other_light() -> None:
    gray = np.random.default_rng(2).integers(0, 256, (6, 9), dtype=np.uint8)
    assert list(Lights(lambda: (gray, gray.copy()))) == []
