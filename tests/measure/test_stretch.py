"""Where a groove shows along a ribbon that runs on: strips whose ends are known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.test_sectors import strip_of
from wearvision.measure.evidence import evidence
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.stretch import shown
from wearvision.measure.unwrap import Strip

ROWS, LOW, HIGH = 540, 150.0, 190.0
SECTOR = 8


def with_groove(*rows: tuple[int, int]) -> Strip:
    """A noisy face with a dark groove between two columns, over some stretches of rows."""
    strip = strip_of(())
    for first, last in rows:
        strip.values[first:last, int(LOW) : int(HIGH)] *= 0.8
    return strip


def along(first: int, last: int, *, full: bool = False) -> Ribbon:
    rows = np.arange(first, last)
    edge = np.full(len(rows), 1.0)
    return Ribbon(rows=rows, inner=LOW * edge, outer=HIGH * edge, score=100.0, full=full)


@pytest.mark.parametrize(("first", "last"), [(150, 225), (150, 345), (70, 150)])
def test_a_ribbon_that_runs_on_is_cut_to_the_groove(first: int, last: int) -> None:
    strip = with_groove((first, last))
    cut = shown(along(60, 480), evidence(strip), strip)
    assert abs(cut.rows[0] - first) <= SECTOR
    assert abs(cut.rows[-1] + 1 - last) <= SECTOR
    assert cut.followed == 420


def test_what_shows_all_along_stays_as_it_is() -> None:
    strip = with_groove((75, 375))
    ribbon = along(75, 375)
    assert shown(ribbon, evidence(strip), strip) is ribbon


def test_a_dull_gap_between_two_clear_parts_is_gone_over() -> None:
    strip = with_groove((75, 225), (262, 412))
    cut = shown(along(75, 412), evidence(strip), strip)
    assert (cut.rows[0], cut.rows[-1]) == (75, 411)


def test_a_circle_is_cut_only_where_much_of_it_does_not_show() -> None:
    found = [shown(along(0, ROWS, full=True), evidence(s), s) for s in (with_groove((0, 450)), with_groove((225, 375)))]
    assert [r.full for r in found] == [True, False]
    assert found[0].doubt_rows[0] == pytest.approx((ROWS - 450) / 2, abs=2 * SECTOR)  # it may be open there
    assert len(found[1].rows) == pytest.approx(150, abs=2 * SECTOR)


def test_a_stretch_over_the_seam_of_a_circle_stays_whole() -> None:
    strip = with_groove((0, 112), (450, ROWS))
    cut = shown(along(0, ROWS, full=True), evidence(strip), strip)
    assert (cut.rows[0], cut.rows[-1]) == (pytest.approx(450, abs=SECTOR), pytest.approx(651, abs=SECTOR))


def test_an_end_that_fades_is_doubted_more() -> None:
    """Over the last rows the groove fades out: other ends speak nearly as well."""
    sharp, faded = with_groove((75, 300)), with_groove((75, 300))
    fade = np.linspace(1.0, 0.0, 75)[:, None]
    faded.values[225:300, int(LOW) : int(HIGH)] *= 0.8**-1 * (1 - 0.2 * fade)
    ends = [shown(along(75, 480), evidence(s), s).doubt_rows[1] for s in (sharp, faded)]
    assert 0 < ends[0] < ends[1]
