"""A small simulated shop in the suite; tests/benchmarks/bench_simulated_shop.py measures large ones."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from tests.simulated.held import Bill, Forecasts, forecasts, losses, rivals, run
from tests.simulated.rules import Learnt
from tests.simulated.spindles import weeks_of_work
from tests.simulated.truth import Floats, Told, known_laws, lives_drawn, shops

SEED, SHOPS, WEEKS = 20261125, 3, 12


class Held(NamedTuple):
    """What was measured once for all tests."""

    told: Told
    known: Floats
    changed: Forecasts
    to_the_end: Forecasts
    bills: dict[str, Bill]


@pytest.fixture(scope="module")
def held() -> Held:
    told, truth = shops(SEED, SHOPS)
    weeks = weeks_of_work(told, WEEKS, SEED + 1)
    change, known = known_laws(told, truth, SEED + 2)
    ours, watching = Learnt(told), Learnt(told, to_the_end=True)
    bills = {name: run(told, truth, weeks, rule, SEED + 3) for name, rule in rivals(told, change).items()}
    bills["ours"] = run(told, truth, weeks, ours, SEED + 3)
    run(told, truth, weeks, watching, SEED + 3)
    return Held(told, known, forecasts(ours), forecasts(watching), bills)


def test_the_80_percent_range_holds_from_the_third_edge_on(held: Held) -> None:
    later = held.to_the_end.after(3, 10**9)
    assert later.count > 1500
    assert 0.75 <= later.inside <= 0.85
    assert later.below == pytest.approx(0.1, abs=0.05)
    assert later.above == pytest.approx(0.1, abs=0.05)


@pytest.mark.parametrize("point", [0, 1, 2, 3])
def test_it_holds_at_every_point_of_a_life(held: Held, point: int) -> None:
    later = held.to_the_end.after(3, 10**9)
    assert 0.72 <= later.of(later.point == point).inside <= 0.88


def test_before_any_end_the_starting_value_speaks_for_itself(held: Held) -> None:
    first = held.to_the_end.after(0, 0)
    assert first.count > 200
    # As many groups as edges here, so the share itself is known to some five in a hundred.
    assert 0.7 <= first.inside <= 0.9


def test_it_still_holds_where_most_edges_are_changed_before_their_end(held: Held) -> None:
    assert 0.7 <= held.changed.inside <= 0.88
    assert held.changed.count > held.to_the_end.count


def test_ranges_close_in_on_those_of_one_who_knows_the_laws(held: Held) -> None:
    assert held.to_the_end.after(11, 10**9).width(held.known) < held.to_the_end.after(0, 0).width(held.known)
    assert held.to_the_end.after(11, 10**9).width(held.known) == pytest.approx(1.0, abs=0.2)


def test_the_changes_lose_little_against_one_who_knows_the_laws(held: Held) -> None:
    lost = losses(held.bills, held.told)
    assert lost["the laws known"][0] == 0
    assert 0 < lost["ours"][0] < 0.15
    assert len(lost) == 6
    assert all(lost["ours"][0] < row[0] / 2 for name, row in lost.items() if name not in ("ours", "the laws known"))


def test_the_laws_are_those_that_are_told_of() -> None:
    told, truth = shops(SEED, SHOPS)
    assert set(truth.law.tolist()) == {0, 1, 2, 3}
    assert told.iso.size == told.family.max() + 1
    assert told.failure.min() / told.planned.min() > 1
    off = np.log(truth.scale[:, 0]) - told.mean[:, 0]
    assert 0.3 < off.std() < 1.2  # a factor of two, give or take
    group = int(np.flatnonzero((truth.law == 0) & (truth.breakage == 0))[0])
    found = lives_drawn(truth, group, 0, np.random.default_rng(1))
    # A Weibull law outlasts its scale with a chance of 1/e.
    assert (found > truth.scale[group, 0]).mean() == pytest.approx(np.exp(-1), abs=0.015)
