"""The life law against fits that R's survreg printed, and against two libraries asked once.

The printed fits stand in the R package survival's own tests (tests/r_lung.Rout.save of its public repository, R 3.4.1,
read). Its data set lung comes with lifelines. People are not edges, but the law and its censoring are the same. The
libraries were asked once rather than at each run: they bring a plotting library and a second way of differentiating
for what lifelines and SciPy check beside them.
"""

from typing import Any

import numpy as np
import pytest
from lifelines.datasets import load_lung

from calc.life.fitting import Fit, fit, flat_prior, lives
from calc.life.kaplan_meier import lives_seen
from calc.life.likelihood import Prior

PRINTED = [
    ([], [6.034904], 0.7593936, -1153.9),
    (["age"], [6.88712062, -0.01360829], 0.7587515, -1151.9),
    (["sex", "age", "ph.ecog"], [6.273435252, 0.401090541, -0.007475439, -0.339638098], 0.731109, -1132.4),
]
# Penalised fits of the same page: coefficients without and with a penalty, its weights, standard errors, scale.
PENALISED = [
    (["age"], ["ph.ecog"], 5.0, [6.83082, -0.00783, -0.32032], [0.42860, 0.00687, 0.08484], 0.738),
    (
        ["sex"], ["age", "ph.ecog"], 1.0, [6.27163, 0.40096, -0.00746, -0.33848],
        [0.45280, 0.12371, 0.00675, 0.08329], 0.731,
    ),
]  # fmt: skip


def of_lung(columns: list[str], prior: Prior | None = None) -> Fit:
    frame = load_lung().dropna(subset=columns)
    duty = np.column_stack([np.ones(len(frame)), frame[columns].to_numpy(dtype=float)])
    # In this copy of the data 1 is dead and 0 alive.
    data = lives(np.zeros(len(frame), dtype=int), frame["status"] == 1, frame["time"].to_numpy(dtype=float), duty)
    return fit(data, flat_prior(1, duty.shape[1]) if prior is None else prior)


@pytest.mark.parametrize(("columns", "coefficients", "scale", "level"), PRINTED)
def test_the_fit_is_that_printed_by_survreg(
    columns: list[str], coefficients: list[float], scale: float, level: float
) -> None:
    found = of_lung(columns)
    assert found.coefficients[0] == pytest.approx(coefficients, rel=1e-5)
    assert np.exp(-found.log_shape[0]) == pytest.approx(scale, rel=1e-6)
    assert found.log_likelihood[0] == pytest.approx(level, abs=0.05)


@pytest.mark.parametrize(("free", "pulled", "weight", "coefficients", "errors", "scale"), PENALISED)
def test_a_starting_value_pulls_as_the_penalty_of_survreg(
    free: list[str], pulled: list[str], weight: float, coefficients: list[float], errors: list[float], scale: float
) -> None:
    # Its penalty of weight / 2 on the squares of coefficients of scaled figures is a normal prior about zero.
    columns = free + pulled
    spread = load_lung().dropna(subset=columns)[columns].var().to_numpy()
    precision = np.zeros(len(columns) + 2)
    precision[1 + len(free) : -1] = weight * spread[len(free) :]
    found = of_lung(columns, Prior(np.zeros((1, precision.size)), np.diag(precision)[None]))
    assert found.coefficients[0] == pytest.approx(coefficients, abs=1e-5)
    assert np.sqrt(np.diag(found.covariance[0]))[:-1] == pytest.approx(errors, abs=1.1e-5)
    assert np.exp(-found.log_shape[0]) == pytest.approx(scale, abs=5e-4)


MINUTES = [38, 44, 51, 40, 62, 47, 55, 35, 49, 58, 30, 45, 60, 20, 52, 41]
ENDED = [True] * 10 + [False] * 4 + [True, False]


def test_a_fit_is_that_of_two_more_libraries() -> None:
    # Asked once: surpyval 0.25 (MIT) answered 53.74830783 and 6.64167903 at −41.56863654; reliability 0.9.0 (LGPL-3.0)
    # 53.74830723 and 6.64167847 at −41.56863654, with standard errors 2.46608019 and 1.54476052.
    found = fit(lives([0] * 16, ENDED, MINUTES, np.ones((16, 1))), flat_prior(1, 1))
    scale, shape = np.exp(found.coefficients[0, 0]), np.exp(found.log_shape[0])
    assert scale == pytest.approx(53.748308, rel=1e-6)
    assert shape == pytest.approx(6.641679, rel=1e-6)
    assert found.log_likelihood[0] == pytest.approx(-41.56863654, rel=1e-8)
    errors = np.sqrt(np.diag(found.covariance[0])) * [scale, shape]
    assert errors == pytest.approx([2.46608019, 1.54476052], rel=1e-4)


def test_the_lives_as_they_were_are_those_of_another_library() -> None:
    # Asked once: surpyval 0.25 (MIT), its Kaplan-Meier curve of the same lives, at the ages where one ended.
    curve = lives_seen(MINUTES, ENDED)
    answered: dict[Any, float] = {
        35: 0.9285714286, 38: 0.8571428571, 40: 0.7857142857, 44: 0.7071428571, 47: 0.61875, 49: 0.5303571429,
        51: 0.4419642857, 52: 0.3535714286, 55: 0.2651785714, 58: 0.1767857143, 62: 0.0,
    }  # fmt: skip
    assert dict(zip(curve.minutes.tolist(), curve.outlasted.tolist(), strict=True)) == pytest.approx(answered)
