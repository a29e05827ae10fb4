"""How many changes: limits that must hold whatever the numbers."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.supply import renewal
from calc.supply.lives import Lives, mean_life, second_moment
from calc.supply.renewal import CountDistribution, renewal_count, renewal_count_by_day
from calc.workings import run


def test_lives_of_constant_chance_make_a_poisson_count() -> None:
    # With shape 1 changes come at a constant rate: mean and variance are horizon / scale, used or not.
    for used in (0.0, 25.0):
        count = renewal_count(1.0, 40.0, 200.0, used=used)
        assert float(count.mean) == pytest.approx(5.0, rel=1e-6)
        assert float(count.variance) == pytest.approx(5.0, rel=1e-5)


def test_sure_edges_changed_on_time_are_counted_exactly() -> None:
    count = renewal_count(200.0, 1000.0, 100.0, used=5.0, change_at=20.0)
    assert count.chances.round(9).tolist() == [0, 0, 0, 0, 0, 1.0]


def test_a_change_due_at_the_very_end_counts() -> None:
    assert float(renewal_count(200.0, 1000.0, 60.0, change_at=20.0).mean) == pytest.approx(3.0)
    assert float(renewal_count(200.0, 1000.0, 59.999, change_at=20.0).mean) == pytest.approx(2.0)


def test_an_overdue_edge_comes_off_at_once_but_only_if_there_is_work() -> None:
    assert float(renewal_count(3.0, 45.0, 1.0, used=50.0, change_at=30.0).mean) == pytest.approx(1.0, abs=1e-4)
    assert float(renewal_count(3.0, 45.0, 0.0, used=50.0, change_at=30.0).mean) == 0.0


def test_breakage_adds_changes() -> None:
    calm, rough = (float(renewal_count(3.0, 45.0, 400.0, breakage=rate).mean) for rate in (0.0, 0.01))
    assert rough > calm + 1
    # Only breakage: a Poisson count.
    assert float(renewal_count(3.0, 1e6, 400.0, breakage=0.01).mean) == pytest.approx(4.0, rel=1e-5)


def test_long_horizons_join_the_short_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    case = (2.5, 30.0, np.array([0.0, 1500.0, 3000.0]))
    on_grid = renewal_count_by_day(*case, used=10.0, change_at=40.0)
    monkeypatch.setattr(renewal, "MANY_LIVES", 20.0)
    normal = renewal_count_by_day(*case, used=10.0, change_at=40.0)
    assert normal.mean == pytest.approx(on_grid.mean, abs=0.01)
    assert normal.variance[1:] == pytest.approx(on_grid.variance[1:], rel=0.02)
    assert normal.quantile(0.95).tolist() == on_grid.quantile(0.95).tolist()


def test_many_rows_at_once_answer_as_each_alone() -> None:
    horizons, ages = np.linspace(0.0, 9000.0, 25), np.linspace(30.0, 90.0, 25)
    together = renewal_count(2.5, 45.0, horizons, used=10.0, change_at=ages)
    for row, (horizon, age) in enumerate(zip(horizons, ages, strict=True)):
        alone = renewal_count(2.5, 45.0, horizon, used=10.0, change_at=age)
        assert together.chances[row, : alone.chances.size] == pytest.approx(alone.chances, abs=1e-8)
        assert float(together.mean[row]) == pytest.approx(float(alone.mean), rel=1e-8)
        assert [together.quantile(level)[row] for level in renewal.LEVELS] == [
            float(alone.quantile(level)) for level in renewal.LEVELS
        ]


def test_lives_in_a_row_are_convolutions() -> None:
    # Beside the spectra: lives on a fine grid, added up one after the other.
    step, shape, scale, horizon = 0.05, 2.0, 45.0, 300.0
    failed = -np.expm1(-((np.arange(int(horizon / step) + 1) * step / scale) ** shape))
    cells = np.diff(failed, prepend=0.0, append=failed[-1])
    each, in_a_row, expected = (cells[:-1] + cells[1:]) / 2, failed, []
    while in_a_row[-1] > 1e-6:
        expected.append(in_a_row[-1])
        in_a_row = np.convolve(in_a_row, each)[: failed.size]
    at_least = 1 - np.cumsum(renewal_count(shape, scale, horizon).chances)
    assert at_least[: len(expected)] == pytest.approx(expected, abs=2e-5)


def test_the_mean_nears_its_asymptote() -> None:
    # Source: the renewal theorem, M(t) -> t/mu + (sigma^2 - mu^2) / (2 mu^2); value printed in S-N03.
    law = Lives.checked(3.0, 45.0, 0.0, math.inf, 0.0, (1,))
    mu, second = float(mean_life(law)[0]), float(second_moment(law)[0])
    asymptote = 240 / mu + second / (2 * mu**2) - 1
    assert asymptote == pytest.approx(5.53856146288, rel=1e-9)
    assert float(renewal_count(3.0, 45.0, 240.0).mean) == pytest.approx(asymptote, rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(
    shape=st.floats(0.5, 12.0), scale=st.floats(5.0, 200.0), horizon=st.floats(0.0, 900.0), used=st.floats(0.0, 150.0),
    change_at=st.one_of(st.just(math.inf), st.floats(5.0, 300.0)), breakage=st.floats(0.0, 0.02),
)  # fmt: skip
def test_chances_are_chances_and_more_work_never_takes_fewer(
    shape: float, scale: float, horizon: float, used: float, change_at: float, breakage: float
) -> None:
    days = np.array([horizon / 2, horizon])
    count = renewal_count_by_day(shape, scale, days, used=used, change_at=change_at, breakage=breakage)
    assert count.chances.min() >= 0
    assert count.chances.sum(axis=-1) == pytest.approx(1.0, abs=2e-4)
    assert count.mean[1] >= count.mean[0] - 1e-6


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"shape": 0.0}, "shape"), ({"shape": math.nan}, "shape"), ({"scale": -1.0}, "scale"),
        ({"horizon": -1.0}, "horizon"), ({"horizon": math.inf}, "horizon"), ({"horizon": 1e9}, "horizon"),
        ({"used": -0.1}, "used"), ({"change_at": 0.0}, "change_at"), ({"change_at": math.nan}, "change_at"),
        ({"breakage": -1.0}, "breakage"),
    ],
)  # fmt: skip
def test_bad_input_is_named(changes: dict[str, float], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        renewal_count(**{"shape": 3.0, "scale": 45.0, "horizon": 100.0} | changes)
    assert refused.value.argument == field
    assert refused.value.sentence.endswith(".")


def test_no_day_is_no_question() -> None:
    cases: list[float | list[float]] = [5.0, []]
    for minutes in cases:
        with pytest.raises(WorkingError, match="at least one day"):
            renewal_count_by_day(3.0, 45.0, minutes)


def test_a_quantile_needs_a_chance() -> None:
    with pytest.raises(WorkingError, match="between 0 and 1"):
        CountDistribution(np.array([1.0])).quantile(1.0)
    assert float(CountDistribution(np.array([0.5, 0.4])).quantile(0.95)) == 1.0


def test_an_edge_used_past_all_measure_is_changed_at_once() -> None:
    asked = {"shape": 124, "scale": 3, "horizon": 2178, "used": 1265}
    planned = run("renewal-demand", {**asked, "change_at": 3}).results["mean"].value
    # Lives of 3 min changed at 3: one at once, then one every 3 minutes or a little sooner.
    assert planned == pytest.approx(1 + 2178 / 2.98, rel=0.01)
    assert run("renewal-demand", asked).results["mean"].value == pytest.approx(planned, rel=0.02)
