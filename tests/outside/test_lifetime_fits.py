"""The life law fitted here against lifelines (MIT), on simulated right-censored lives, flat priors."""

from typing import Any

import numpy as np
import pandas as pd  # type: ignore[import-untyped] # comes with lifelines, without its stubs
import pytest
from lifelines import WeibullAFTFitter, WeibullFitter

from calc.life.fitting import fit, flat_prior, lives


def simulated(seed: int, groups: int, edges: int, figures: int) -> tuple[Any, Any, Any, Any]:
    """Group, minutes, ended and duty of lives of which about a third are censored."""
    draw = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), edges)
    logs = draw.normal(0, 0.3, (group.size, figures))
    scale = np.exp(4 + draw.normal(0, 0.4, groups)[group] - logs @ np.array([2.0, 0.7, 0.3])[:figures])
    worn = scale * draw.weibull(draw.uniform(1.2, 4.0, groups)[group])
    off = scale * draw.uniform(0.4, 1.8, group.size)
    return group, np.minimum(worn, off), worn <= off, np.column_stack([np.ones(group.size), logs])


def test_without_covariates_scale_and_shape_are_those_of_lifelines() -> None:
    group, minutes, ended, duty = simulated(71, 25, 18, 0)
    ours = fit(lives(group, ended, minutes, duty), flat_prior(25, 1))
    assert ours.converged.all()
    for row in range(25):
        mine = group == row
        theirs = WeibullFitter().fit(minutes[mine], ended[mine])
        assert np.exp(ours.coefficients[row, 0]) == pytest.approx(theirs.lambda_, rel=1e-4)
        assert np.exp(ours.log_shape[row]) == pytest.approx(theirs.rho_, rel=1e-4)
        assert ours.log_likelihood[row] == pytest.approx(theirs.log_likelihood_, rel=1e-6)


@pytest.mark.parametrize("figures", [1, 2, 3])
def test_with_covariates_every_parameter_is_that_of_lifelines(figures: int) -> None:
    group, minutes, ended, duty = simulated(72 + figures, 8, 40, figures)
    ours = fit(lives(group, ended, minutes, duty), flat_prior(8, figures + 1))
    names = ["ln_vc", "ln_feed", "ln_depth"][:figures]
    assert ours.converged.all()
    for row in range(8):
        mine = group == row
        frame = pd.DataFrame(duty[mine, 1:], columns=names).assign(minutes=minutes[mine], ended=ended[mine])
        theirs = WeibullAFTFitter().fit(frame, duration_col="minutes", event_col="ended")
        wanted = [theirs.params_["lambda_", name] for name in ["Intercept", *names]]
        assert ours.coefficients[row] == pytest.approx(wanted, rel=1e-4, abs=1e-4)
        assert ours.log_shape[row] == pytest.approx(theirs.params_["rho_", "Intercept"], rel=1e-4, abs=1e-4)
        errors = [theirs.standard_errors_["lambda_", name] for name in ["Intercept", *names]]
        assert np.sqrt(np.diag(ours.covariance[row]))[:-1] == pytest.approx(errors, rel=1e-3)
