"""Workings about the life of an edge: Taylor's law, fits of ended and censored lives, when to change, what is left."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from calc.errors import WorkingError
from calc.life.fitting import fit, flat_prior, lives, normal_prior
from calc.life.likelihood import Lives, Prior
from calc.life.survival import life_percentile, mean_remaining
from calc.life.taylor import Taylor, fit_taylor, tool_life
from calc.units import Quantity, plain, show, show_number, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import TOOL, warn_of_speed

FORECAST_CAUTION = (
    "A forecast is a probability, never a promise: it does not replace inspection of safety-critical parts, and the "
    "first edges of a new duty are watched."
)
CONDITIONS_CAUTION = (
    "These are starting values. The tool maker's limits, the machine's manual and the shop's safety rules come first; "
    "a qualified person approves conditions before the first cut."
)
SHAPE = Input(
    name="shape", label="Shape", symbol="β", kind=Kind.NUMBER, required=True, lowest=0.05, highest=200, example=2.5
)
SCALE = Input(
    name="scale",
    label="Scale (the life that 63 % of edges do not reach)",
    symbol="η",
    unit="min",
    required=True,
    above=0,
    example=60,
)
PER_PART = Input(name="minutes_per_part", label="Minutes in cut per part", symbol="τ", unit="min", above=0, example=6)
TAYLOR_N = Input(name="n", label="Taylor's exponent", symbol="n", kind=Kind.NUMBER, above=0, highest=0.99, example=0.25)
TAYLOR_C = Input(
    name="c", label="Speed for a life of one minute", symbol="C", unit="m/min", above=0, example=180,
    missing="C is missing: give the surface speed at which an edge lasts one minute, such as 180 m/min. Where lives at "
    "two speeds are known, the working Tool life by Taylor finds it from these.",
)  # fmt: skip
LIFE_TOOL = replace(TOOL, hint="A design of the catalogue by its code; brings n and C where the shop knows them.")
LIFE_MATERIAL = Input(
    name="material", label="Work material", kind=Kind.TEXT,
    hint="By its name in the catalogue; brings n, C where it is known, and the speeds it takes.",
)  # fmt: skip


def minutes(given: Given, name: str) -> Any:
    """Minutes of an input that was given.

    Parameters
    ----------
    given : the inputs
    name : of a quantity in minutes

    Returns
    -------
    minutes; in its own sweep the array of them
    """
    return plain(given.quantity(name).m_as("minute"))


def time(value: Any) -> Quantity:
    """Minutes as a quantity, which is shown as the shop reads minutes.

    Parameters
    ----------
    value : minutes, a number or an array

    Returns
    -------
    quantity
    """
    return ureg.Quantity(plain(value), "minute")


def surface_speed(given: Given) -> Any:
    """Surface speed that was given.

    Parameters
    ----------
    given : the inputs

    Returns
    -------
    m/min; in its own sweep the array of them
    """
    return plain(given.quantity("surface_speed").m_as("m/min"))


def life_step(given: Given, found: Found, life: Any, n: Any, c: Any) -> None:
    """Write down the life at the speed asked, as a result and as a step, and warn of a speed not meant for the metal.

    Parameters
    ----------
    given : the inputs, with a surface speed
    found : what is added to
    life : minutes
    n, c : Taylor's numbers
    """
    found.results["tool_life"] = time(life)
    warn_of_speed(given, found, given.quantity("surface_speed"))
    if not given.many:
        largest, asked = given.show(ureg.Quantity(c, "m/min")), given.show(given.quantity("surface_speed"))
        numbers = f"({largest} / {asked})^(1 / {show_number(n)})"
        found.working.append(
            Step("Life at the speed asked", "T = (C / vc)^(1/n)", numbers, show(time(life)), "taylor-1907 (m)")
        )


def magnitude(value: Any, unit: str) -> float:
    """Number of a quantity in a unit.

    Parameters
    ----------
    value : quantity
    unit : the registry's name of it

    Returns
    -------
    number
    """
    return float(value.m_as(unit))


def warn_of_pair(given: Given, found: Found) -> None:
    """Warn of a typed n beside a C that was looked up: each was fitted together with the other.

    Parameters
    ----------
    given : the inputs
    found : what is added to
    """
    found.warn(
        "pair", "n and C from different lives", "c" in given.brought and "n" not in given.brought,
        lambda: f"C comes from {given.known[given.brought['c']].name} and n was given: the two belong together, so "
        "give C as well, or leave out n.",
    )  # fmt: skip


def _tool_life(given: Given) -> Found:
    found = Found()
    n: Any
    c: Any
    if "points" in given:
        n, c, *_ = _fit_points(given, found)
    else:
        n, c = given.number("n"), plain(given.quantity("c").m_as("m/min"))
        if "surface_speed" not in given:
            raise WorkingError("surface_speed", "Surface speed is missing: say at which speed the life is wanted.")
    warn_of_pair(given, found)
    found.results |= {"n": n, "c": ureg.Quantity(c, "m/min")}
    if "surface_speed" in given:
        life_step(given, found, tool_life(surface_speed(given), n, c), n, c)
    return found


def _fit_points(given: Given, found: Found) -> Taylor:
    points = given.rows("points")
    speeds = [magnitude(point["surface_speed"], "m/min") for point in points]
    law = fit_taylor(speeds, [magnitude(point["life"], "minute") for point in points])
    if "surface_speed" in given:
        _warn_beyond(given, found, min(speeds), max(speeds))
    if given.many:
        return law
    if not math.isnan(law.n_interval[0]) and all(map(math.isfinite, (*law.n_interval, *law.c_interval))):
        found.results["interval"] = {"n": list(law.n_interval), "c": list(law.c_interval)}
    else:
        found.assumed.append("The interval is left out: two points, or points too scattered, leave none to tell.")
    how = "the line through two points" if len(points) == 2 else f"least squares over {len(points)} points"
    found.working.append(
        Step(
            "Taylor's numbers",
            f"ln T = ln C / n - ln vc / n, {how}",
            f"from {len(points)} points",
            f"n = {show_number(law.n)}, C = {given.show(ureg.Quantity(law.c, 'm/min'))}",
            "taylor-1907 (m)",
        )
    )
    found.assumed.append("Every edge of the points ended on the same wear criterion.")
    return law


def _warn_beyond(given: Given, found: Found, slowest: float, fastest: float) -> None:
    """A law fitted to lives holds between the speeds at which they were seen."""
    speed = given.quantity("surface_speed")
    value = speed.m_as("m/min")
    found.warn(
        "beyond", "beyond the speeds of the points", (value < slowest) | (value > fastest),
        lambda: f"{given.show(speed)} lies beyond the {given.show(ureg.Quantity(slowest, 'm/min'))} to "
        f"{given.show(ureg.Quantity(fastest, 'm/min'))} of the points: the straight line may not hold there.",
    )  # fmt: skip


def _life_fit(given: Given) -> Found:
    rows = given.rows("lives")
    data, names = _lives(rows)
    prior = _prior(given.mapping("prior"), len(names))
    answer = fit(data, prior)
    if not answer.converged[0]:
        raise WorkingError("lives", f"No life law can be fitted: {answer.reason[0]}.")
    theta, covariance = np.append(answer.coefficients[0], answer.log_shape[0]), answer.covariance[0]
    scale, shape = math.exp(theta[0]), math.exp(theta[-1])
    spread = np.sqrt(np.diag(covariance))
    off, b10 = theta - prior.mean[0], float(life_percentile(10, shape, scale))
    likelihood = float(answer.log_likelihood[0] + 0.5 * off @ prior.precision[0] @ off)
    found = Found(
        results={
            "shape": shape,
            "scale": time(scale),
            "shape_interval": [shape * math.exp(side * 1.959964 * spread[-1]) for side in (-1, 1)],
            "scale_interval": [time(scale * math.exp(side * 1.959964 * spread[0])) for side in (-1, 1)],
            "b10": time(b10),
            "median": time(float(life_percentile(50, shape, scale))),
            "mean": time(float(mean_remaining(0, shape, scale))),
            "log_likelihood": likelihood,
            "ended": int(answer.ended[0]),
            "censored": int(answer.censored[0]),
        }
    )
    if names[1:]:
        found.results["exponents"] = dict(zip(names[1:], map(float, theta[1:-1]), strict=True))
        found.assumed.append("Scale, median, mean and B10 are those at the typical duty (geometric mean) of the lives.")
    found.working.append(
        Step(
            "Most likely life law",
            "S(t) = exp(-(t / η)^β), edges not ended are right-censored",
            f"{answer.ended[0]} ended, {answer.censored[0]} censored"
            + (", with a prior" if given.mapping("prior") else ""),
            f"β = {show_number(shape)}, η = {show_number(scale)} min",
            "lawless-2003 (m)",
        )
    )
    found.working.append(
        Step(
            "Life by which one in ten has ended",
            "B10 = η · (-ln 0.9)^(1/β)",
            f"{show_number(scale)} min · 0.10536^(1 / {show_number(shape)})",
            show(time(b10)),
            "nist-ehandbook",
        )
    )
    found.assumed.append("The intervals are of 95 %, from the curvature of the likelihood on logarithms.")
    return found


def _lives(rows: list[Any]) -> tuple[Lives, list[str]]:
    if not rows:
        raise WorkingError("lives", "Give at least one life.")
    duties = [row.get("duty") or {} for row in rows]
    given = [name for name in ("surface_speed", "feed", "depth") if any(name in duty for duty in duties)]
    if any(name not in duty for duty in duties for name in given):
        raise WorkingError("lives", f"Give {' and '.join(given).replace('_', ' ')} for every life, or for none.")
    logs = [[math.log(duty[name].magnitude) for name in given] for duty in duties]
    table = np.asarray(logs, dtype=np.float64).reshape(len(rows), len(given))
    differing = [column for column in range(len(given)) if np.ptp(table[:, column]) > 1e-12]
    table = table[:, differing] - table[:, differing].mean(axis=0)
    design = np.column_stack([np.ones(len(rows)), table])
    cut = [magnitude(row["minutes"], "minute") for row in rows]
    names = ["scale", *(given[column] for column in differing)]
    return lives(np.zeros(len(rows)), [row["ended"] for row in rows], cut, design), names


def _prior(said: Mapping[str, Any], covariates: int) -> Prior:
    if not said:
        return flat_prior(1, covariates)
    mean, spread = np.zeros((1, covariates + 1)), np.full((1, covariates + 1), np.inf)
    if "scale" in said:
        mean[0, 0], spread[0, 0] = math.log(magnitude(said["scale"], "minute")), said["scale_spread"]
    if "shape" in said:
        mean[0, -1], spread[0, -1] = math.log(said["shape"]), said["shape_spread"]
    return normal_prior(mean, spread)


WORKINGS = (
    Working(
        name="tool-life",
        title="Tool life by Taylor",
        family="Life",
        says="How many minutes an edge lasts at a surface speed, from Taylor's numbers or from lives seen.",
        inputs=(
            replace(TAYLOR_N, group="law", way="numbers"),
            replace(TAYLOR_C, group="law", way="numbers"),
            Input(
                name="points",
                label="Speeds and the lives seen",
                kind=Kind.LIST,
                group="law",
                fields=(
                    Input(
                        name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", required=True, above=0
                    ),
                    Input(name="life", label="Life", symbol="T", unit="min", required=True, above=0),
                ),
                example=[[60, 60], [100, 10]],
            ),
            Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", above=0, example=90),
            LIFE_TOOL,
            LIFE_MATERIAL,
        ),
        groups=(Group(name="law", label="Taylor's law"),),
        results=(
            Result(name="tool_life", label="Tool life", symbol="T", unit="min", needs="surface speed"),
            Result(name="n", label="Taylor's exponent", symbol="n", kind=Kind.NUMBER),
            Result(name="c", label="Speed for a life of one minute", symbol="C", unit="m/min"),
            Result(name="interval", label="95 % intervals of n and C", kind=Kind.OBJECT, needs="three or more points"),
        ),
        compute=_tool_life,
        takes_arrays=True,
        sources=("taylor-1907 (m)", "nist-ehandbook"),
        cautions=(CONDITIONS_CAUTION, FORECAST_CAUTION),
    ),
    Working(
        name="life-fit",
        title="Life law from ended and censored edges",
        family="Life",
        says="Weibull shape and scale from the minutes that edges cut, with those taken off early counted rightly.",
        inputs=(
            Input(
                name="lives",
                label="Lives",
                kind=Kind.LIST,
                required=True,
                fields=(
                    Input(name="minutes", label="Minutes in cut", symbol="t", unit="min", required=True, above=0),
                    Input(
                        name="ended",
                        label="Ended by wear",
                        kind=Kind.BOOL,
                        default=True,
                        hint="No for an edge taken off early, broken, or still in use.",
                    ),
                    Input(
                        name="duty",
                        label="Duty",
                        kind=Kind.OBJECT,
                        fields=(
                            Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", above=0),
                            Input(name="feed", label="Feed", symbol="f", unit="mm", above=0),
                            Input(name="depth", label="Depth", symbol="ap", unit="mm", above=0),
                        ),
                    ),
                ),
                example=[
                    {"minutes": 41, "ended": True},
                    {"minutes": 58, "ended": True},
                    {"minutes": 70, "ended": False},
                ],
            ),
            Input(
                name="prior",
                label="What is believed beforehand",
                kind=Kind.OBJECT,
                fields=(
                    Input(name="scale", label="Scale", symbol="η", unit="min", above=0),
                    Input(name="scale_spread", label="Spread of ln scale", kind=Kind.NUMBER, above=0, default=0.5),
                    Input(name="shape", label="Shape", symbol="β", kind=Kind.NUMBER, above=0),
                    Input(name="shape_spread", label="Spread of ln shape", kind=Kind.NUMBER, above=0, default=0.3),
                ),
                hint="Left out, the fit is plain maximum likelihood. A spread of 0.5 says: within a factor of 1.6, two "
                "times out of three.",
            ),
        ),
        results=(
            Result(name="shape", label="Shape", symbol="β", kind=Kind.NUMBER),
            Result(name="shape_interval", label="95 % interval of the shape", kind=Kind.LIST),
            Result(name="scale", label="Scale", symbol="η", unit="min"),
            Result(name="scale_interval", label="95 % interval of the scale", unit="min", kind=Kind.LIST),
            Result(name="b10", label="Life by which one in ten has ended", symbol="B10", unit="min"),
            Result(name="median", label="Median life", unit="min"),
            Result(name="mean", label="Mean life", unit="min"),
            Result(name="log_likelihood", label="Log-likelihood", kind=Kind.NUMBER),
            Result(
                name="exponents", label="Exponents of the duty", kind=Kind.OBJECT, needs="lives at differing duties"
            ),
            Result(name="ended", label="Edges ended", kind=Kind.COUNT),
            Result(name="censored", label="Edges censored", kind=Kind.COUNT),
        ),
        compute=_life_fit,
        sources=("lawless-2003 (m)", "nist-ehandbook", "gelman-bda (m)"),
        cautions=(FORECAST_CAUTION,),
    ),
)
