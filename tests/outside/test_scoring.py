"""Scores of forecasts, against `checks/supply.json` (S-F01, S-F03, S-F05, S-F06; sources there)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from calc.errors import WorkingError
from calc.life.scoring import (
    brier_score,
    coverage,
    crps_weibull,
    interval_score,
    log_score_weibull,
    pinball_loss,
    pit_weibull,
)

ENTRIES = {e["id"]: e for e in json.loads((Path(__file__).parent / "checks" / "supply.json").read_text())}


def wanted(key: str, name: str) -> object:
    expected = ENTRIES[key]["expected"][name]
    return pytest.approx(expected["value"], rel=expected["rel_tol"])


def test_quantile_and_interval_scores_S_F01() -> None:
    # The entry's normal and ensemble scores do not apply: our forecasts are Weibull laws, scored in closed form.
    i = ENTRIES["S-F01"]["inputs"]
    came, low, mid, high = (i[name] for name in ("observed_min", "q10", "q50", "q90"))
    for level, quantile in ((0.1, low), (0.5, mid), (0.9, high)):
        assert pinball_loss(came, quantile, level).mean() == wanted("S-F01", f"pinball_{level}")
    assert coverage(came, low, high) == wanted("S-F01", "coverage_80")
    assert interval_score(came, low, high, 0.8).mean() == wanted("S-F01", "interval_score_80_mean")


def test_brier_score_S_F03() -> None:
    # The entry's log loss and calibration error do not apply: no page shows them.
    i = ENTRIES["S-F03"]["inputs"]
    assert brier_score(i["p"], i["outcome"]) == wanted("S-F03", "brier")


def test_crps_of_new_edges_S_F05() -> None:
    for number, case in enumerate(ENTRIES["S-F05"]["inputs"]["cases"], start=1):
        assert float(crps_weibull(case["y"], case["shape"], case["scale"])) == wanted("S-F05", f"crps_{number}")


def test_scores_of_what_is_left_S_F06() -> None:
    i = ENTRIES["S-F06"]["inputs"]
    law = i["observed_remaining_min"], i["shape"], i["scale_min"], i["age_min"]
    assert float(crps_weibull(*law)) == wanted("S-F06", "crps")
    assert float(pit_weibull(*law)) == wanted("S-F06", "pit")
    assert float(log_score_weibull(*law)) == wanted("S-F06", "log_score_negative_log_density")


@pytest.mark.parametrize(("came", "age"), [(5.0, 0.0), (25.0, 20.0), (60.0, 40.0)])
def test_an_edge_taken_off_early_is_scored_as_far_as_it_was_seen(came: float, age: float) -> None:
    # Source: direct integration by scipy of the squared distance up to the moment of taking off.
    def fallen(x: float) -> float:
        return float(pit_weibull(x, 2.5, 45, age)) ** 2

    direct, _ = quad(fallen, 0, came)
    assert float(crps_weibull(came, 2.5, 45, age, ended=False)) == pytest.approx(direct, rel=1e-9)
    assert crps_weibull(came, 2.5, 45, age) > direct


def test_bad_input_is_named() -> None:
    for call, field in (
        (lambda: pinball_loss([1.0], [1.0], 1.0), "level"), (lambda: coverage([], [], []), "observed"),
        (lambda: crps_weibull(-1, 2, 40), "observed"), (lambda: crps_weibull(1, 0, 40), "shape"),
        (lambda: pit_weibull(1, 2, np.nan), "scale"), (lambda: pit_weibull(1, 2, 40, -1), "used"),
        (lambda: brier_score([1.2], [True]), "chance"), (lambda: brier_score([], []), "chance"),
    ):  # fmt: skip
        with pytest.raises(WorkingError) as refused:
            call()
        assert refused.value.argument == field
