"""Forecasts of 5,000 edges in one array call against a plain Python loop over the same laws, and by wear readings.

Run by hand from the project's folder: python -m tests.benchmarks.bench_forecasts
Each forecast is 10/50/90 % of the minutes and whole parts left and the chance to last the batch, with the uncertainty
of the law in it. The loop answers the same for a sample of the edges, one after the other, by bisection. Figures are
medians.
"""

import math
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from calc.life.batch import whole_parts
from calc.life.predictive import Belief, belief, lasting, remaining
from calc.life.wear_forecast import wear_forecast

EDGES, LOOKED, SAMPLE, ROUNDS = 5000, 500, 25, 5
EACH = 2.0


def shop() -> tuple[Belief, np.ndarray, np.ndarray]:
    """What is believed of each edge, minutes used, and minutes that the batch still asks for."""
    draw = np.random.default_rng(20261125)
    believed = belief(
        draw.normal(4, 0.5, EDGES), np.log(draw.uniform(1.5, 4, EDGES)), draw.uniform(0.01, 0.3, EDGES),
        draw.uniform(0.01, 0.12, EDGES), 0.0, 0.5, 1000.0,
    )  # fmt: skip
    used = remaining(np.zeros(EDGES), believed)[:, 1] * draw.uniform(0, 1, EDGES)
    return believed, used, draw.uniform(10, 60, EDGES)


def by_array(believed: Belief, used: np.ndarray, batch: np.ndarray, counted: np.ndarray) -> np.ndarray:
    """All edges at once."""
    left = remaining(used, believed, counted)
    return np.column_stack((left, whole_parts(left, EACH), lasting(batch, used, believed, counted)))


def by_loop(believed: Belief, used: np.ndarray, batch: np.ndarray, edge: int) -> list[float]:
    """One edge by plain Python; the fit is taken to know its minutes already."""
    nodes = list(zip(*(part[edge].tolist() for part in believed[:3]), strict=True))
    before, breaks, watched = float(used[edge]), float(believed.breaks[edge]), float(believed.break_minutes[edge])

    def lasts(more: float) -> float:
        worn = sum(w * math.exp((before / s) ** b - ((before + more) / s) ** b) for w, s, b in nodes)
        return float(worn * math.exp(-breaks * math.log1p(more / watched)))

    found = []
    for percent in (0.1, 0.5, 0.9):
        low, high = 0.0, 1e4
        while high - low > 1e-6 * high:
            middle = (low + high) / 2
            low, high = (middle, high) if lasts(middle) > 1 - percent else (low, middle)
        found.append(low)
    return [*found, *(float(left // EACH) for left in found), lasts(float(batch[edge]))]


def seconds(act: Callable[[], object]) -> float:
    """Median of the processor time over the rounds, so that neighbours on the machine do not count."""
    took = []
    for _ in range(ROUNDS):
        began = time.process_time()
        act()
        took.append(time.process_time() - began)
    return statistics.median(took)


def main() -> None:
    """Print one line per case."""
    believed, used, batch = shop()
    ours = by_array(believed, used, batch, used)
    sample = range(0, EDGES, EDGES // SAMPLE)
    theirs = np.array([by_loop(believed, used, batch, edge) for edge in sample])
    apart = float(np.max(np.abs(theirs[:, :3] / ours[list(sample), :3] - 1)))
    loop = seconds(lambda: [by_loop(believed, used, batch, edge) for edge in sample]) * EDGES / SAMPLE
    known = seconds(lambda: by_array(believed, used, batch, used))
    fresh = seconds(lambda: by_array(believed, used, batch, np.zeros(EDGES)))
    rows = slice(0, LOOKED)
    few = Belief(*(part[rows] for part in believed))
    times = used[rows, None] * np.array([0.4, 0.7, 1.0])
    lands = 0.05 + 0.2 * times / np.maximum(times.max(axis=1, keepdims=True), 1e-9)
    worn = seconds(lambda: wear_forecast(times, lands, 0.3, used[rows], few, used[rows]).percentiles())
    sys.stdout.write(f"{EDGES} edges, medians of {ROUNDS} rounds; the loop from {SAMPLE} edges\n")
    sys.stdout.write(f"one array call, minutes known to the fit      {known:8.3f} s\n")
    sys.stdout.write(f"one array call, minutes since the fit         {fresh:8.3f} s\n")
    sys.stdout.write(
        f"plain Python loop                             {loop:8.1f} s   {loop / known:6.0f} times as long\n"
    )
    sys.stdout.write(f"largest difference of the minutes             {apart:8.1e}\n")
    sys.stdout.write(f"{LOOKED} edges with three wear readings each       {worn:8.3f} s\n")


if __name__ == "__main__":
    main()
