"""The renewal count against SimPy, a general-purpose event simulation library (MIT)."""

import math
import random
from collections.abc import Generator
from typing import Any

import numpy as np
import pytest
import simpy

from calc.supply.paths import Streams, changes_in_months
from calc.supply.renewal import renewal_count

RUNS = 6000
CASES = [
    # shape, scale, horizon, used, change_at: worn out, changed on time, part-used, overdue first edge, early failures
    (3.0, 45.0, 240.0, 0.0, math.inf),
    (2.2, 60.0, 480.0, 35.0, 42.0),
    (4.0, 30.0, 300.0, 12.0, 25.0),
    (1.3, 50.0, 400.0, 80.0, 60.0),
    (0.9, 40.0, 600.0, 10.0, math.inf),
]


def one_month(case: tuple[float, ...], rng: random.Random) -> int:
    shape, scale, horizon, used, change_at = case
    changes = 0

    def spindle(env: simpy.Environment) -> Generator[simpy.Timeout, Any, None]:
        nonlocal changes
        # Life left of the first edge, given that it has lasted so far.
        left = scale * ((used / scale) ** shape + rng.expovariate(1.0)) ** (1 / shape) - used
        yield env.timeout(max(min(left, change_at - used), 0.0))
        while True:
            changes += 1
            yield env.timeout(min(rng.weibullvariate(scale, shape), change_at))

    env = simpy.Environment()
    env.process(spindle(env))
    env.run(until=horizon)
    return changes


@pytest.mark.parametrize("case", CASES)
def test_count_agrees_with_an_event_simulation(case: tuple[float, ...]) -> None:
    rng = random.Random(20250101)
    runs = np.array([one_month(case, rng) for _ in range(RUNS)])
    shape, scale, horizon, used, change_at = case
    exact = renewal_count(shape, scale, horizon, used, change_at)
    assert float(exact.mean) == pytest.approx(runs.mean(), rel=0.01)
    assert float(exact.variance) == pytest.approx(runs.var(), rel=0.08)
    for level in (0.1, 0.5, 0.9, 0.95):
        assert abs(float(exact.quantile(level)) - np.quantile(runs, level, method="inverted_cdf")) <= 1
    stream = Streams.of(design=[0], shape=shape, scale=scale, exposure=[[horizon]], used=used, change_at=change_at)
    assert changes_in_months(stream, 1).mean() == pytest.approx(runs.mean(), rel=0.01)
