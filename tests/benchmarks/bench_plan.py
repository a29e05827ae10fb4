"""A month's plan for 200 designs over 30 days with unsure life laws, against SimPy at equal precision.

    python -m tests.benchmarks.bench_plan [--designs 200] [--rounds 5]

Precision is the root mean square error, over the designs, of the mean number of edges at the month's end. Ours is
measured against a reference of 32 times as many months. One SimPy month has the spread that its own runs show, so it
needs (spread / error)² months to be as precise: timed on the months really run, and scaled to that number. Times are
seconds of the processor, medians.
"""

import argparse
import random
import statistics
import time
from collections.abc import Generator
from typing import Any

import numpy as np
import simpy

from calc.supply.demand import demand_by_day, tips_from_changes
from calc.supply.paths import MONTHS, Streams, changes_in_months

DAYS = 30
SHAPE_SPREAD, SCALE_SPREAD = 0.1, 0.15


def plan(designs: int) -> Streams:
    """Two spindle places per design, each with its own duty, part-used first edges and a planned change age."""
    rng = np.random.default_rng(7)
    places = 2 * designs
    minutes = rng.uniform(5, 40, (places, 1)) * (np.arange(DAYS) % 7 < 5)
    return Streams.of(
        design=np.arange(places) // 2, shape=rng.uniform(1.5, 4, places), scale=rng.uniform(20, 90, places),
        exposure=np.cumsum(minutes, axis=1), used=rng.uniform(0, 15, places), change_at=rng.uniform(20, 60, places),
        shape_spread=SHAPE_SPREAD, scale_spread=SCALE_SPREAD,
    )  # fmt: skip


def simulate_design(streams: Streams, rows: np.ndarray[Any, Any], rng: random.Random) -> int:
    """One month of one design, event by event; the total of its days is what the plan's last day counts."""
    env = simpy.Environment()
    doubt_shape, doubt_scale = rng.gauss(0, SHAPE_SPREAD), rng.gauss(0, SCALE_SPREAD)
    by_day = [0] * DAYS

    def place(row: int) -> Generator[simpy.Timeout, Any, None]:
        shape = streams.shape[row] * np.exp(doubt_shape)
        scale = streams.scale[row] * np.exp(doubt_scale)
        exposure, change_at, used = streams.exposure[row], streams.change_at[row], streams.used[row]
        left = scale * ((used / scale) ** shape + rng.expovariate(1.0)) ** (1 / shape) - used
        yield env.timeout(max(min(left, change_at - used), 0.0))
        while env.now <= exposure[-1]:
            by_day[int(exposure.searchsorted(env.now))] += 1
            yield env.timeout(min(rng.weibullvariate(scale, shape), change_at))

    for row in rows:
        env.process(place(int(row)))
    env.run()
    return sum(by_day)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--designs", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--simpy-months", type=int, default=40)
    chosen = parser.parse_args()
    streams, corners = plan(chosen.designs), np.arange(chosen.designs) % 4 + 1

    rng = random.Random(3)
    places = [np.flatnonzero(streams.design == design) for design in range(chosen.designs)]
    times, simpy_times, runs = [], [], []
    changes = changes_in_months(streams, chosen.designs)
    for _ in range(chosen.rounds):
        start = time.process_time()
        changes = changes_in_months(streams, chosen.designs)
        demand_by_day(tips_from_changes(changes, corners, scrap_chance=0.05))
        times.append(time.process_time() - start)
        # The two sides take turns, so that whatever else the machine does falls on both.
        for _ in range(chosen.simpy_months // chosen.rounds):
            start = time.process_time()
            runs.append([simulate_design(streams, rows, rng) for rows in places])
            simpy_times.append(time.process_time() - start)
    ours = statistics.median(times)
    mean = changes[:, :, -1].mean(axis=1)
    reference = changes_in_months(streams, chosen.designs, months=32 * MONTHS, seed=11)[:, :, -1].mean(axis=1)
    error = float(np.sqrt((((mean - reference) / reference) ** 2).mean()))

    simulated = np.array(runs)
    per_month = statistics.median(simpy_times)
    spread = float(np.sqrt((simulated.var(axis=0, ddof=1) / reference**2).mean()))
    needed = (spread / error) ** 2
    gap = simulated.sum(axis=1).mean() / reference.sum() - 1

    rows = [
        ("designs × days × possible months", f"{chosen.designs} × {DAYS} × {MONTHS}"),
        ("plan with tips and quantiles, median", f"{ours:.2f} s"),
        ("its error of the mean, root mean square", f"{error:.2%} (largest {abs(mean / reference - 1).max():.2%})"),
        ("SimPy, one month of all designs, median", f"{per_month:.3f} s"),
        ("SimPy, spread of one month's count", f"{spread:.1%}"),
        ("SimPy months for the same error", f"{needed:,.0f}, or {needed * per_month:,.0f} s"),
        (f"all edges, SimPy ({chosen.simpy_months} months) against reference", f"{gap:+.2%}"),
        ("faster at equal precision", f"{needed * per_month / ours:,.0f} ×   (goal 200 ×)"),
    ]
    for name, value in rows:
        print(f"{name:<52} {value}")  # noqa: T201 - a benchmark's table


if __name__ == "__main__":
    main()
