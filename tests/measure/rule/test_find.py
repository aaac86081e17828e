"""Whole way on drawn rules, small; and on pictures that have none."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from wearvision.errors import BadInput
from wearvision.measure.rule.find import NONE, find_rule
from wearvision.measure.rule.result import RuleScale
from wearvision.measure.survey import survey
from wearvision.quantity import Measured, Unmeasured
from wearvision.scenes.rule_score import held
from wearvision.scenes.rules import Photo, draw_none, draw_rule
from wearvision.stated import RULE_UNITS, RuleUnit, Stated

WIDTH = 1400
READ = (1, 2, 4, 6, 9, 10, 13, 17, 30)
"""Seeds whose rules are read at this size, of all graduations but 1/64 in alone."""


@cache
def photo(seed: int) -> Photo:
    return draw_rule(seed, WIDTH)


@pytest.mark.parametrize("seed", READ)
def test_drawn_rules_are_read_right(seed: int) -> None:
    drawn = photo(seed)
    assert drawn.rule is not None and drawn.view is not None
    told = find_rule(drawn.gray, Stated(), focal35_mm=drawn.focal35_mm)
    assert isinstance(told, RuleScale)
    assert told.unit in [s.unit for s in drawn.rule.scales]
    outcome = held(seed, drawn, drawn.rule, drawn.view, told)
    assert abs(outcome.period_error) < 0.002
    assert abs(outcome.scale_error) < 3 * outcome.scale_u
    assert told.marks_used >= 14 and told.residual_px < 0.5
    assert set(told.mm_per_px().budget) >= {"rule", "edge", "height"}


def test_numbers_are_sought_where_marks_look_three_times_as_long_at_one_end() -> None:
    """Eighths of an inch, far aslant: numbers stand beyond the tips there are, not beyond the usual one."""
    drawn = draw_rule(20972)
    told = find_rule(drawn.gray, Stated(), focal35_mm=drawn.focal35_mm)
    assert isinstance(told, RuleScale)
    assert told.unit == "in8"


def test_marks_are_followed_along_their_feet() -> None:
    """A rule whose line is found at an angle of five degrees, so that it leaves the marks half way."""
    drawn = draw_rule(10484)
    assert drawn.rule is not None and drawn.view is not None
    told = find_rule(drawn.gray, Stated(), focal35_mm=drawn.focal35_mm)
    assert isinstance(told, RuleScale)
    assert told.marks_used >= 29
    assert abs(held(1, drawn, drawn.rule, drawn.view, told).period_error) < 0.0003


@pytest.mark.parametrize("seed", range(1, 12))
def test_regular_things_are_no_rule(seed: int) -> None:
    gray = draw_none(seed, 1000).gray
    assert isinstance(find_rule(gray, Stated()), Unmeasured)


@pytest.mark.parametrize("unit", RULE_UNITS)
def test_a_statement_makes_no_rule_of_a_grating(unit: RuleUnit) -> None:
    assert isinstance(find_rule(draw_none(11, 1000).gray, Stated(rule=unit)), Unmeasured)


def test_a_wrong_statement_is_not_believed() -> None:
    drawn = photo(1)
    assert drawn.what == "half-mm"
    told = find_rule(drawn.gray, Stated(rule="mm"))
    assert isinstance(told, Unmeasured) and told.hint


@pytest.mark.parametrize("fill", [0, 128, 255])
@pytest.mark.parametrize("shape", [(1, 1), (30, 300), (300, 400)])
def test_plain_and_tiny_pictures_have_no_rule(fill: int, shape: tuple[int, int]) -> None:
    assert find_rule(np.full(shape, fill, dtype=np.uint8), Stated()) is NONE


def test_a_colour_picture_is_refused_in_one_line() -> None:
    with pytest.raises(BadInput, match="gray 8-bit"):
        find_rule(np.zeros((100, 100, 3), dtype=np.uint8), Stated())


def test_the_survey_takes_its_scale_from_the_rule() -> None:
    drawn = photo(1)
    seen = survey(drawn.gray, Stated(view="bore"), focal35_mm=drawn.focal35_mm)
    assert seen.rule is not None and seen.plane is seen.rule.plane and seen.usable
    assert isinstance(seen.mm_per_px, Measured) and "foreshortening" in seen.mm_per_px.budget
    assert any(what == "lengths across the rule" for what, _ in seen.not_assessed)


def test_a_stated_rule_that_is_not_there_is_said() -> None:
    seen = survey(np.full((300, 400), 120, dtype=np.uint8), Stated(view="bore", rule="mm"))
    assert isinstance(seen.plane, Unmeasured) and "no steel rule seen" in seen.plane.reason
    assert next(r.code for r in seen.retake) == "no-card"


@pytest.mark.parametrize("facts", [{"rule": "inch"}, {"rule_class": "IV"}])
def test_only_known_graduations_and_classes_can_be_stated(facts: dict[str, str]) -> None:
    with pytest.raises(BadInput, match="rule"):
        Stated(**facts)  # type: ignore[arg-type]  # that is the point
