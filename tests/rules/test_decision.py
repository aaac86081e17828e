from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.rules.decision import GAUGE_U_MM, GUARD_95, Decision, Limit, decide

RING = Limit(upper_mm=0.92)


def word(value: float, u: float, limit: Limit, factor: float = GUARD_95) -> str:
    return decide(value, u, limit, factor).word


def test_ring_at_twice_its_clearance() -> None:
    """Limit 0.92, u 0.03: accept up to 0.87065, reject from 0.96935 (ISO 14253-1, guard 1.645 u, from memory)."""
    assert word(0.8706, 0.03, RING) == "within"
    assert word(0.8707, 0.03, RING) == "undecided"
    assert word(0.9693, 0.03, RING) == "undecided"
    assert word(0.9694, 0.03, RING) == "beyond"
    assert decide(0.87, 0.03, RING).p_conform == pytest.approx(0.952, abs=5e-4)
    assert decide(0.90, 0.03, RING).p_conform == pytest.approx(0.7475, abs=5e-5)


def test_conformance_probability_of_the_published_example() -> None:
    """JCGM 106:2012 example: limit -5.40 V, reading -5.47, u 0.05, p = 0.9192 (figures from memory)."""
    assert decide(-5.47, 0.05, Limit(upper_mm=-5.40)).p_conform == pytest.approx(0.9192, abs=5e-5)


@pytest.mark.parametrize(("factor", "consumer", "producer"), [(0.0, 0.0189, 0.0372), (2.0, 0.00047, 0.2477)])
def test_global_risks_of_the_rule(factor: float, consumer: float, producer: float) -> None:
    """Sizes N(0, 0.12), gauge u 0.04, limits +-0.20: risks by quadrature over what the gauge may say."""
    limit = Limit(lower_mm=-0.20, upper_mm=0.20)
    y = np.linspace(-0.8, 0.8, 3201)
    spread = math.hypot(0.12, 0.04)
    density = np.exp(-((y / spread) ** 2) / 2) / (spread * math.sqrt(2 * math.pi))
    accepted = np.array([word(float(v), 0.04, limit, factor) == "within" for v in y])
    shrink = 0.12**2 / spread**2
    posterior = 0.12 * 0.04 / spread
    good = np.array([decide(float(shrink * v), posterior, limit).p_conform for v in y])
    step = y[1] - y[0]
    assert float((density * good).sum() * step) == pytest.approx(0.9044, abs=1e-4)
    assert float((density * accepted * (1 - good)).sum() * step) == pytest.approx(consumer, rel=0.02)
    assert float((density * ~accepted * good).sum() * step) == pytest.approx(producer, rel=0.01)


@pytest.mark.parametrize("inclusive", [True, False])
def test_the_limit_itself_conforms_only_when_inclusive(inclusive: bool) -> None:
    eighth = Limit(upper_mm=3.175, inclusive=inclusive)
    assert word(3.175, 0.0, eighth) == ("within" if inclusive else "beyond")
    assert word(math.nextafter(3.175, 0), 0.0, eighth) == "within"
    assert word(math.nextafter(3.175, 4), 0.0, eighth) == "beyond"
    assert decide(3.175, 0.0, eighth).p_conform == float(inclusive)
    at_guard = 3.175 + 2 * 0.125
    assert word(at_guard, 0.125, eighth, 2.0) == ("undecided" if inclusive else "beyond")
    assert word(3.175 - 2 * 0.125, 0.125, eighth, 2.0) == ("within" if inclusive else "undecided")


def test_lower_limits_are_upper_limits_seen_from_below() -> None:
    land = Limit(lower_mm=6.0)
    assert word(6.05, 0.02, land) == "within"
    assert word(6.03, 0.02, land) == "undecided"
    assert word(5.95, 0.02, land) == "beyond"


def test_two_sided() -> None:
    pair = Limit(lower_mm=0.508, upper_mm=1.016)
    assert [word(v, 0.02, pair) for v in (0.45, 0.50, 0.70, 1.00, 1.06)] == [
        "beyond", "undecided", "within", "undecided", "beyond",
    ]  # fmt: skip
    assert decide(0.508, 0.02, pair).p_conform == pytest.approx(0.5)
    # A band narrower than both guards can never be accepted, and says so as undecided.
    assert word(0.55, 0.05, Limit(lower_mm=0.5, upper_mm=0.6)) == "undecided"


def test_what_would_settle_names_a_finer_gauge_or_none() -> None:
    assert "digital depth gauge" in decide(0.90, 0.03, RING).what_would_settle
    assert "depth micrometer" in decide(0.91, 0.03, RING).what_would_settle
    assert "vernier" in decide(0.85, 0.06, RING).what_would_settle
    assert "no gauge settles it" in decide(0.919, 0.03, RING).what_would_settle
    # Poor seating on the part is not cured by a finer gauge.
    assert "no gauge settles it" in decide(0.90, 0.06, RING, seat_u_mm=0.05).what_would_settle
    assert decide(0.5, 0.03, RING).what_would_settle == ""


@pytest.mark.parametrize("value", [0.60, 0.85, 0.90, 0.915])
def test_the_gauge_it_names_does_settle_it(value: float) -> None:
    said = decide(value, 0.5, RING).what_would_settle
    name = next(n for n in GAUGE_U_MM if f"a {n} " in said)
    assert word(value, GAUGE_U_MM[name], RING) != "undecided"


def test_the_arithmetic_is_on_the_page() -> None:
    text = decide(0.90, 0.03, RING).arithmetic
    for part in ("0.9 mm", "u 0.0300 mm", "1.645 u = 0.0493 mm", "0.92 mm or less", "undecided"):
        assert part in text
    assert Limit(upper_mm=3.175, inclusive=False).text == "under 3.175 mm"
    assert Limit(lower_mm=0.508, upper_mm=1.016).text == "0.508 mm to 1.016 mm"


@pytest.mark.parametrize("bad", [(math.nan, 0.1, 1.645), (1.0, -0.1, 1.645), (1.0, math.inf, 1.645), (1.0, 0.1, -1)])
def test_bad_figures_are_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(BadInput):
        decide(bad[0], bad[1], RING, bad[2])


@pytest.mark.parametrize("bad", [{}, {"upper_mm": math.nan}, {"lower_mm": 2.0, "upper_mm": 1.0}])
def test_bad_limits_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(BadInput):
        Limit(**bad)  # type: ignore[arg-type]  # wrong on purpose


sizes = st.floats(-10, 10)
spreads = st.floats(0, 5)
ORDER = ["within", "undecided", "beyond"]


@given(sizes, sizes, spreads, st.booleans(), st.sampled_from([0.0, 1.645, 2.0]))
def test_deeper_is_never_better(a: float, b: float, u: float, inclusive: bool, factor: float) -> None:
    limit = Limit(upper_mm=1.0, inclusive=inclusive)
    low, high = (decide(v, u, limit, factor) for v in sorted((a, b)))
    assert ORDER.index(low.word) <= ORDER.index(high.word)
    assert low.p_conform >= high.p_conform - 1e-12


@given(sizes, spreads, spreads, st.booleans())
def test_more_doubt_never_decides_more(value: float, u: float, v: float, inclusive: bool) -> None:
    limit = Limit(lower_mm=-1.0, upper_mm=1.0, inclusive=inclusive)
    sharp, blunt = (decide(value, x, limit) for x in sorted((u, v)))
    assert blunt.word in ("undecided", sharp.word)


@given(sizes, st.floats(1e-3, 5))
def test_accepting_and_rejecting_carry_95_per_cent(value: float, u: float) -> None:
    decision: Decision = decide(value, u, Limit(upper_mm=1.0))
    assert 0.0 <= decision.p_conform <= 1.0
    if decision.word == "within":
        assert decision.p_conform >= 0.95 - 2e-5  # 1.645 is 1.64485 rounded up
    if decision.word == "beyond":
        assert decision.p_conform <= 0.05 + 2e-5
