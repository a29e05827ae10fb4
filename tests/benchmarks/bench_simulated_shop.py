"""Simulated shops whose laws nobody in them knows: do the forecasts hold, and what do the changes cost?

    python -m tests.benchmarks.bench_simulated_shop [--shops 24] [--weeks 26] [--seed 20261125]

Prints the tables of docs/how-forecasts-hold.md. Nothing is drawn but from the seed.
"""

import argparse
import time
import warnings

import numpy as np

from tests.simulated.held import ENDS, POINTS, PRICES, Bill, Forecasts, forecasts, losses, rivals, run
from tests.simulated.rules import Learnt, LearntAlone
from tests.simulated.spindles import weeks_of_work
from tests.simulated.truth import Floats, known_laws, shops

LAWS = ("Weibull", "lognormal", "Weibull with frailty", "Weibull after a safe time")


def say(*cells: str) -> None:
    """One row of a table."""
    print("| " + " | ".join(cells) + " |")  # noqa: T201 - a benchmark's table


def head(title: str, *cells: str) -> None:
    print(f"\n{title}\n")  # noqa: T201 - a benchmark's table
    say(*cells)
    say("---", *["---:"] * (len(cells) - 1))


def percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def held(title: str, found: Forecasts, known: Floats) -> None:
    """How often the 80 % range held, by the worn edges behind it."""
    head(title, "worn edges", "forecasts", "inside", "ended before", "lasted beyond", *POINTS, "width")
    for name, (fewest, most) in {**ENDS, "3 and more": (3, 10**9)}.items():
        part = found.after(fewest, most)
        by_point = [percent(part.of(part.point == point).inside) for point in POINTS.values()]
        say(
            name, f"{part.count:,}", percent(part.inside), percent(part.below), percent(part.above), *by_point,
            f"{part.width(known):.2f}",
        )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=24)
    parser.add_argument("--weeks", type=int, default=26)
    parser.add_argument("--seed", type=int, default=20261125)
    chosen = parser.parse_args()
    warnings.simplefilter("error")
    began = time.monotonic()
    told, truth = shops(chosen.seed, chosen.shops)
    weeks = weeks_of_work(told, chosen.weeks, chosen.seed + 1)
    change, known = known_laws(told, truth, chosen.seed + 2)

    learnt = {"ours": Learnt(told), "ours, each group alone": LearntAlone(told)}
    bills: dict[str, Bill] = {}
    for name, rule in {**learnt, **rivals(told, change)}.items():
        bills[name] = run(told, truth, weeks, rule, chosen.seed + 3)
    to_the_end = Learnt(told, to_the_end=True)
    run(told, truth, weeks, to_the_end, chosen.seed + 3)

    print(f"{told.groups} groups in {chosen.shops} shops, {chosen.weeks} weeks, seed {chosen.seed}")  # noqa: T201 - as above
    ours = forecasts(learnt["ours"])
    held("Ours, edges changed where it says", ours, known)
    held("Ours, edges run to their end", forecasts(to_the_end), known)
    held("Each group alone", forecasts(learnt["ours, each group alone"]), known)
    head("By the law that is true, from the third worn edge on", "law", "forecasts", "inside", "before", "beyond")
    for law, name in enumerate(LAWS):
        part = ours.of((truth.law[ours.group] == law) & (ours.ends >= 3))
        say(name, f"{part.count:,}", percent(part.inside), percent(part.below), percent(part.above))
    head(
        "Money above what the laws known would cost", "rule", "all weeks", "second half", *PRICES,
        "edges per 1,000 parts", "failures per 1,000 parts",
    )  # fmt: skip
    for name, row in losses(bills, told).items():
        bill = bills[name]
        parts = float(np.sum(bill.good)) / 1000
        say(name, *(percent(loss) for loss in row), f"{bill.edges / parts:.0f}", f"{bill.failures / parts:.1f}")
    print(f"\n{time.monotonic() - began:.0f} s")  # noqa: T201 - as above


if __name__ == "__main__":
    main()
