"""A simulated shop through the services and the database: refit, forecast, and whether what the board says holds.

    python -m tests.benchmarks.bench_shop_in_database [--weeks 8] [--seed 20261125]

Each week's edges are written as the floor keeps them, the laws are fitted anew, the forecasts computed, and the edges
in use asked how long they really had left. It uses a database of its own and removes it.
"""

import argparse
import os
import time

import django
import numpy as np


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--seed", type=int, default=20261125)
    chosen = parser.parse_args()
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    django.setup()
    from django.db import connection

    connection.creation.create_test_db(verbosity=0)
    try:
        measure(chosen.weeks, chosen.seed)
    finally:
        connection.creation.destroy_test_db("", verbosity=0)


def measure(weeks: int, seed: int) -> None:
    """One line a week, and the share of all."""
    from crib.core.wake import stop_sending
    from crib.life import services
    from tests.simulated.books import Books
    from tests.simulated.rules import KnownLaws
    from tests.simulated.spindles import Spindles, weeks_of_work
    from tests.simulated.truth import known_laws, shops

    told, truth = shops(seed, 1)
    work, change = weeks_of_work(told, weeks, seed + 1), known_laws(told, truth, seed + 2)[0]
    spindles, books = Spindles(told, truth, seed + 3), Books(told)
    held: list[bool] = []
    print(f"{told.groups} groups, {weeks} weeks, seed {seed}")  # noqa: T201 - a benchmark's table
    print("week   edges   refit s   forecasts s   in use   inside the 80 % range")  # noqa: T201 - as above
    for week in range(weeks):
        spindles.work(week, work, KnownLaws(change), None)
        edges = books.write(spindles)
        began = time.perf_counter()
        services.refit_all()
        fitted = time.perf_counter()
        services.refresh_all_due()
        done = time.perf_counter()
        group, low, high = books.said()
        left = spindles.left()[group]
        inside = (left >= low) & (left <= high)
        held += inside.tolist()
        took = f"{fitted - began:9.2f} {done - fitted:13.2f}"
        print(f"{week + 1:4d} {edges:7d} {took} {group.size:8d} {inside.mean():12.0%}")  # noqa: T201 - as above
    print(f"all: {np.mean(held):.1%} of {len(held)} forecasts")  # noqa: T201 - as above
    stop_sending(10)


if __name__ == "__main__":
    main()
