import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.quantity import K95, Measured, Unmeasured, quantity_from_json, root_sum_square

finite = st.floats(-1e9, 1e9)
positive = st.floats(0, 1e6)


def test_end_gauge_example() -> None:
    """JCGM 100:2008, example H.1: 25, 9.7, 2.9, 16.7 nm give 32 nm (published, rounded)."""
    assert root_sum_square(25, 9.7, 2.9, 16.7) == pytest.approx(31.71, abs=0.02)
    assert round(root_sum_square(25, 9.7, 2.9, 16.7)) == 32


def test_depth_reading_example() -> None:
    """GUM arithmetic: resolution 0.01 (q/sqrt 12), half-widths 0.02, 0.012, 0.015 mm (a/sqrt 3)."""
    parts = (0.01 / math.sqrt(12), 0.02 / math.sqrt(3), 0.012 / math.sqrt(3), 0.015 / math.sqrt(3))
    assert root_sum_square(*parts) == pytest.approx(0.01627, abs=1e-5)


@given(finite, st.dictionaries(st.sampled_from(["corner", "print", "lens", "edge"]), positive, max_size=4))
def test_u_is_the_root_sum_square_of_its_budget(value: float, parts: dict[str, float]) -> None:
    q = Measured.of(value, "mm", **parts)
    assert q.u == pytest.approx(math.sqrt(sum(p * p for p in parts.values())))
    assert q.u95 == pytest.approx(K95 * q.u)


@given(finite, positive)
def test_json_and_pickle_round_trips(value: float, u: float) -> None:
    q = Measured(value=value, u=u, unit="mm", how="edge", budget={"edge": u})
    back = quantity_from_json(q.to_json())
    assert isinstance(back, Measured)
    assert (back.value, back.unit, back.how, dict(back.budget)) == (q.value, q.unit, q.how, dict(q.budget))
    assert back.u == pytest.approx(q.u)
    assert pickle.loads(pickle.dumps(q)) == q


@pytest.mark.parametrize(("value", "u"), [(math.nan, 0), (math.inf, 0), (1, -0.1), (1, math.nan)])
def test_nonsense_is_refused(value: float, u: float) -> None:
    with pytest.raises(BadInput):
        Measured(value=value, u=u, unit="mm")


def test_unmeasured_is_false_and_measured_zero_is_true() -> None:
    assert not Unmeasured(reason="no card")
    assert Measured(value=0, u=0, unit="mm")
    assert quantity_from_json(Unmeasured(reason="r", hint="h").to_json()) == Unmeasured(reason="r", hint="h")
    with pytest.raises(BadInput):
        quantity_from_json({"value": 1, "u95": 1, "unit": "furlong"})
