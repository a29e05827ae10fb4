"""Refit of 2,000 groups of 40 edges against lifelines' Weibull AFT, one group at a time.

Run by hand from the project's folder: python -m tests.benchmarks.bench_refit
Both sides run in the same process on the same lives; figures are medians; lifelines fits a sample of the groups.
"""

import statistics
import sys
import time
import warnings

import numpy as np

from calc.life.fitting import Fit, fit, flat_prior, lives
from calc.life.likelihood import Lives
from calc.life.pooling import PooledFit, fit_pooled, kin

GROUPS, EDGES, SAMPLE, ROUNDS = 2000, 40, 40, 5


def shop(covariate: bool) -> tuple[Lives, np.ndarray]:
    """Simulated lives with known laws: about two in three edges end by wear, the rest are censored."""
    draw = np.random.default_rng(20261125)
    group = np.repeat(np.arange(GROUPS), EDGES)
    speed = draw.uniform(40, 120, group.size)
    scale = np.exp(4 + draw.normal(0, 0.4, GROUPS)[group] - 1.5 * np.log(speed / 80) * covariate)
    worn = scale * draw.weibull(draw.uniform(1.5, 4.0, GROUPS)[group])
    taken_off = scale * draw.uniform(0.5, 1.8, group.size)
    duty = np.column_stack([np.ones(group.size), np.log(speed / 80)])[:, : 1 + covariate]
    table = np.column_stack([group, np.minimum(worn, taken_off), worn <= taken_off, duty])
    return lives(group, worn <= taken_off, np.minimum(worn, taken_off), duty), table


def by_lifelines(table: np.ndarray, group: int) -> tuple[float, float, float]:
    """Seconds, ln scale and ln shape of one group by the reference library."""
    import pandas as pd  # type: ignore[import-untyped] # comes with lifelines, without its stubs
    from lifelines import WeibullAFTFitter

    part = table[table[:, 0] == group]
    columns = ["minutes", "ended", "speed"][: part.shape[1] - 2]
    frame = pd.DataFrame(np.column_stack([part[:, 1:3], part[:, 4:]]), columns=columns)
    began = time.perf_counter()
    fitted = WeibullAFTFitter().fit(frame, duration_col="minutes", event_col="ended")
    took = time.perf_counter() - began
    return took, fitted.params_[("lambda_", "Intercept")], fitted.params_[("rho_", "Intercept")]


def measure(covariate: bool) -> tuple[float, float, float, Fit]:
    """Medians in milliseconds per group (ours, theirs), the largest difference of the parameters, and our fit."""
    data, table = shop(covariate)
    prior = flat_prior(GROUPS, 1 + covariate)
    fitted = fit(data, prior)
    ours = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        fitted = fit(data, prior)
        ours.append((time.perf_counter() - began) / GROUPS)
    theirs, apart = [], 0.0
    for group in range(0, GROUPS, GROUPS // SAMPLE):
        took, log_scale, log_shape = by_lifelines(table, group)
        theirs.append(took)
        apart = max(apart, abs(fitted.coefficients[group, 0] - log_scale), abs(fitted.log_shape[group] - log_shape))
    return 1e3 * statistics.median(ours), 1e3 * statistics.median(theirs), apart, fitted


def measure_pooled() -> tuple[float, PooledFit]:
    """Median milliseconds per group of the fit that leans on relatives, with ln vc, and the fit: families of ten."""
    data, _ = shop(covariate=True)
    start, spread = np.tile([4.0, -1.5, 0.9], (GROUPS, 1)), np.tile([0.6, 0.4, 0.3], (GROUPS, 1))
    tree = kin(np.arange(GROUPS) // 10, np.arange(GROUPS // 10) // 40)
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        fitted = fit_pooled(data, start, spread, tree)
        took.append((time.perf_counter() - began) / GROUPS)
    return 1e3 * statistics.median(took), fitted


def main() -> None:
    """Print one line per case."""
    warnings.simplefilter("ignore")
    sys.stdout.write(
        f"{GROUPS} groups x {EDGES} edges, flat priors, medians of {ROUNDS} rounds, {SAMPLE} reference fits\n"
    )
    sys.stdout.write(
        "case                     ours ms/group  lifelines ms/group   ratio  largest difference  settled\n"
    )
    for covariate in (False, True):
        ours, theirs, apart, fitted = measure(covariate)
        name = "with ln vc" if covariate else "without covariates"
        sys.stdout.write(
            f"{name:24s} {ours:13.4f} {theirs:19.2f} {theirs / ours:7.0f} {apart:19.1e}"
            f"  {fitted.converged.mean():7.1%}\n"
        )
    ours, pooled = measure_pooled()
    sys.stdout.write(
        f"{'ln vc, with relatives':24s} {ours:13.4f} {'–':>19s} {'–':>7s} {'–':>19s}"
        f"  {pooled.fit.converged.mean():7.1%}  ({pooled.rounds} rounds)\n"
    )


if __name__ == "__main__":
    main()
