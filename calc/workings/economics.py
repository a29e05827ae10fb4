"""Workings about money: the life and speed that cost least, and modular tools against solid ones."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.batch import whole_parts
from calc.life.economics import (
    break_even_parts,
    cost_against_speed,
    cost_per_part,
    economic_lives,
    modular_edge_cost,
    solid_edge_cost,
)
from calc.life.taylor import tool_life
from calc.units import Quantity, plain, show, show_number, ureg
from calc.workings.declaration import Found, Given, Input, Kind, Mark, Result, Step, Working
from calc.workings.life import (
    CONDITIONS_CAUTION,
    LIFE_MATERIAL,
    LIFE_TOOL,
    PER_PART,
    TAYLOR_C,
    TAYLOR_N,
    life_step,
    minutes,
    surface_speed,
    time,
    warn_of_pair,
)
from calc.workings.shared import MACHINE

CURVE_POINTS = 15
RATE = Input(
    name="machine_rate",
    label="Machine and operator",
    kind=Kind.NUMBER,
    unit="per hour",
    required=True,
    above=0,
    example=60,
)


RATE_MACHINE = replace(MACHINE, hint="By its code in the catalogue; brings its rate per hour.")


class _Law(NamedTuple):
    """What the cost of a part hangs on: Taylor's n and C, minutes of a change, money per minute and per edge."""

    n: Any
    c: Any
    change: Any
    rate: Any
    edge: Any


def _speed(value: Any) -> Quantity:
    return ureg.Quantity(plain(value), "m/min")


def _economics(given: Given) -> Found:
    law = _Law(
        given.number("n"),
        plain(given.quantity("c").m_as("m/min")),
        minutes(given, "change_time"),
        given.number("machine_rate") / 60,
        given.number("edge_cost"),
    )
    best, stands = economic_lives(*law), np.asarray(law.change) > 0
    found = Found(results={"life_min_cost": time(best.life_min_cost), "speed_min_cost": _speed(best.speed_min_cost)})
    warn_of_pair(given, found)
    if stands.any():
        found.results["life_max_output"] = time(np.where(stands, best.life_max_output, np.nan))
        found.results["speed_max_output"] = _speed(np.where(stands, best.speed_max_output, np.nan))
    else:
        found.assumed.append("A change that takes no time has no life of highest output: faster is always more.")
    if not given.many:
        _cheapest_steps(given, found, law)
    if "surface_speed" in given:
        life_step(given, found, tool_life(surface_speed(given), law.n, law.c), law.n, law.c)
    if "work" in given:
        _cost_of_work(given, found, plain(best.speed_min_cost), law)
    return found


def _cheapest_steps(given: Given, found: Found, law: _Law) -> None:
    life, factor = found.results["life_min_cost"], f"(1/{show_number(law.n)} - 1)"
    found.working += [
        Step(
            "Life for the lowest cost per part",
            "T = (1/n - 1) · (change time + edge cost / rate)",
            f"{factor} · ({show_number(law.change)} min + {show_number(law.edge)} / {show_number(law.rate)} per min)",
            show(life),
            "gilbert-1950 (m)",
        ),
        Step(
            "Its surface speed",
            "vc = C / T^n",
            f"{given.show(_speed(law.c))} / {show_number(life.magnitude)}^{show_number(law.n)}",
            given.show(found.results["speed_min_cost"], "m/min"),
            "taylor-1907 (m)",
        ),
    ]


def _cost_of_work(given: Given, found: Found, cheapest: Any, law: _Law) -> None:
    """Cost of one part at the speed that was given and at the cheapest, and how it goes with the speed."""
    work = given.mapping("work")
    across, along, feed = (float(work[name].m_as("mm")) for name in ("diameter", "length", "feed"))
    at_one = math.pi * across * along / (1000 * feed)
    asked = "surface_speed" in given
    speed = surface_speed(given) if asked else cheapest
    cost = plain(cost_against_speed(speed, law.n, law.c, at_one, *law[2:]).total)
    found.results["cost_per_part"] = cost
    found.results["cost_per_part_min"] = plain(cost_against_speed(cheapest, law.n, law.c, at_one, *law[2:]).total)
    if asked:
        _warn_of_short_life(given, found, plain(at_one / speed))
    if given.many:
        return
    speeds = cheapest * np.geomspace(0.5, 2.0, CURVE_POINTS)
    curve = cost_against_speed(speeds, law.n, law.c, at_one, *law[2:])
    found.results["cost_against_speed"] = [list(map(float, pair)) for pair in zip(speeds, curve.total, strict=True)]
    found.texts["cost_against_speed"] = "; ".join(
        f"{show_number(float(total), 3)} at {given.show(_speed(at))}"
        for at, total in list(zip(speeds, curve.total, strict=True))[::7]
    )
    life = tool_life(speed, law.n, law.c)
    found.working.append(
        Step(
            "Cost of one part at that speed",
            "K = τ · rate + (τ / T) · (change time · rate + edge cost)",
            f"τ = {show_number(float(at_one / speed))} min, T = {show_number(float(life))} min",
            show_number(cost),
            "gilbert-1950 (m)",
        )
    )


def _warn_of_short_life(given: Given, found: Found, cut: Any) -> None:
    """An edge that does not last one part is changed inside it, which leaves a mark on the work."""
    life = found.results["tool_life"]
    found.warn(
        "short_life", "the edge does not last one part", life.magnitude < cut,
        lambda: f"The edge lasts {given.show(life)}, less than the {given.show(time(cut))} of one part: it would have "
        "to be changed inside the cut. Go slower, or split the cut.",
    )  # fmt: skip


def _cost_compare(given: Given) -> Found:
    modular, solid = given.mapping("modular"), given.mapping("solid")
    life, each, rate = minutes(given, "life"), minutes(given, "minutes_per_part"), given.number("machine_rate") / 60
    parts = plain(whole_parts(life, each))
    if np.any(parts < 1):
        raise WorkingError("life", "The edge does not last one whole part; lower the speed or split the cut.")
    changes = {"modular": minutes(given, "change_time_modular"), "solid": minutes(given, "change_time_solid")}
    edge = {
        "modular": float(
            modular_edge_cost(*(modular[key] for key in ("body_cost", "body_life_tips", "tip_cost", "edges")))
        ),
        "solid": float(solid_edge_cost(solid["cost"], solid["regrinds"], solid["regrind_cost"])),
    }
    cost = {way: plain(cost_per_part(each, life, changes[way], rate, edge[way], whole=True).total) for way in edge}
    tip_alone = float(modular_edge_cost(0, modular["body_life_tips"], modular["tip_cost"], modular["edges"]))
    without_body = cost_per_part(each, life, changes["modular"], rate, tip_alone, whole=True).total
    even = break_even_parts(modular["body_cost"], without_body, 0, cost["solid"])
    pays = np.isfinite(even) & (even <= modular["body_life_tips"] * modular["edges"] * parts)
    found = Found(
        results={
            "cost_per_part": cost,
            "break_even_parts": plain(np.where(pays, np.ceil(even - 1e-9), np.nan)),
            "parts_per_edge": parts,
        },
        marks=[Mark("solid_cheaper", "the solid tool costs less", plain(cost["solid"] < cost["modular"]))],
    )
    if carbide := _carbide(modular, solid, parts):
        found.results["carbide_per_part"] = carbide
    if not given.many:
        _compare_in_words(found, (each, rate, parts), changes, edge)
    return found


def _compare_in_words(
    found: Found, common: tuple[float, float, float], changes: Mapping[str, float], edge: Mapping[str, float]
) -> None:
    """Which is cheaper, when the body has paid, and a step for each."""
    (each, rate, parts), cost, even = common, found.results["cost_per_part"], found.results["break_even_parts"]
    found.results |= {
        "cheaper": min(cost, key=lambda way: cost[way]),
        "break_even_parts": None if math.isnan(even) else int(even),
        "parts_per_edge": int(parts),
    }
    if math.isnan(even):
        found.texts["break_even_parts"] = "the body does not pay for itself within its life"
    for way, label in (("modular", "modular tool"), ("solid", "solid tool")):
        found.working.append(
            Step(
                f"Cost of one part with the {label}",
                "K = τ · rate + (change time · rate + edge cost) / parts per edge",
                f"{show_number(each)} min · {show_number(rate)} per min + ({show_number(changes[way])} min · "
                f"{show_number(rate)} per min + {show_number(edge[way])}) / {parts:.0f}",
                show_number(cost[way]),
                "gilbert-1950 (m)",
            )
        )
    found.assumed.append("Both tools last equally long and are changed between parts; a body serves all its tips.")


def _carbide(modular: Mapping[str, Any], solid: Mapping[str, Any], parts: Any) -> dict[str, Quantity]:
    """Grams of carbide used per part, for each way whose mass was given."""
    found = {}
    if "carbide_mass" in modular:
        found["modular"] = modular["carbide_mass"].to("gram") / (modular["edges"] * parts)
    if "carbide_mass" in solid:
        found["solid"] = solid["carbide_mass"].to("gram") / ((1 + solid["regrinds"]) * parts)
    return found


def _money(name: str, label: str, example: float) -> Input:
    return Input(name=name, label=label, kind=Kind.NUMBER, required=True, lowest=0, example=example)


MASS = Input(name="carbide_mass", label="Carbide in one", unit="g", above=0)
WORKINGS = (
    Working(
        name="economics",
        title="Life and speed that cost least",
        family="Money",
        says="Tool life and surface speed for the lowest cost per part and for the highest output.",
        inputs=(
            replace(LIFE_TOOL, hint="A design of the catalogue by its code; brings the cost of an edge, n and C."),
            LIFE_MATERIAL,
            RATE_MACHINE,
            replace(TAYLOR_N, required=True),
            replace(TAYLOR_C, required=True),
            Input(name="change_time", label="Time of one change", unit="min", required=True, lowest=0, example=3),
            RATE,
            _money("edge_cost", "Cost of one edge", 6),
            Input(
                name="surface_speed",
                label="Surface speed",
                symbol="vc",
                unit="m/min",
                above=0,
                hint="Left out, the cost per part is that at the speed of lowest cost.",
            ),
            Input(
                name="work",
                label="Turned work",
                kind=Kind.OBJECT,
                fields=(
                    Input(name="diameter", label="Work diameter", unit="mm", required=True, above=0),
                    Input(name="length", label="Length of cut", unit="mm", required=True, above=0),
                    Input(name="feed", label="Feed per revolution", symbol="f", unit="mm", required=True, above=0),
                ),
            ),
        ),
        results=(
            Result(name="life_min_cost", label="Life for the lowest cost", symbol="T", unit="min"),
            Result(name="speed_min_cost", label="Speed for the lowest cost", symbol="vc", unit="m/min"),
            Result(
                name="life_max_output",
                label="Life for the highest output",
                symbol="T",
                unit="min",
                needs="a change time",
            ),
            Result(
                name="speed_max_output",
                label="Speed for the highest output",
                symbol="vc",
                unit="m/min",
                needs="a change time",
            ),
            Result(name="tool_life", label="Life at the speed given", symbol="T", unit="min", needs="a surface speed"),
            Result(name="cost_per_part", label="Cost per part", kind=Kind.NUMBER, needs="the turned work"),
            Result(name="cost_per_part_min", label="Lowest cost per part", kind=Kind.NUMBER, needs="the turned work"),
            Result(
                name="cost_against_speed", label="Cost per part against speed", kind=Kind.LIST, needs="the turned work"
            ),
        ),
        compute=_economics,
        takes_arrays=True,
        sources=("gilbert-1950 (m)", "taylor-1907 (m)"),
        cautions=(CONDITIONS_CAUTION,),
    ),
    Working(
        name="cost-compare",
        title="Modular tool against solid tool",
        family="Money",
        says="Cost and carbide per part with replaceable tips and with a solid tool, and when the body has paid.",
        inputs=(
            Input(
                name="modular",
                label="Modular tool",
                kind=Kind.OBJECT,
                required=True,
                fields=(
                    _money("body_cost", "Cost of the body", 240),
                    Input(
                        name="body_life_tips",
                        label="Tips that a body carries",
                        kind=Kind.NUMBER,
                        required=True,
                        above=0,
                    ),
                    _money("tip_cost", "Cost of a tip", 21),
                    Input(name="edges", label="Edges per tip", kind=Kind.COUNT, required=True, lowest=1),
                    MASS,
                ),
                example={"body_cost": 240, "body_life_tips": 80, "tip_cost": 21, "edges": 4},
            ),
            Input(
                name="solid",
                label="Solid tool",
                kind=Kind.OBJECT,
                required=True,
                fields=(
                    _money("cost", "Cost of the tool", 90),
                    Input(name="regrinds", label="Regrinds", kind=Kind.COUNT, lowest=0, default=0),
                    Input(name="regrind_cost", label="Cost of a regrind", kind=Kind.NUMBER, lowest=0, default=0),
                    MASS,
                ),
                example={"cost": 90, "regrinds": 3, "regrind_cost": 14},
            ),
            Input(
                name="life", label="Minutes in cut per edge", symbol="T", unit="min", required=True, above=0, example=45
            ),
            Input(
                name="minutes_per_part", label=PER_PART.label, symbol="τ", unit="min", required=True, above=0, example=6
            ),
            Input(name="change_time_modular", label="Time to change a tip", unit="min", lowest=0, default=0),
            Input(name="change_time_solid", label="Time to change a solid tool", unit="min", lowest=0, default=0),
            RATE_MACHINE,
            RATE,
        ),
        results=(
            Result(name="cost_per_part", label="Cost per part", kind=Kind.OBJECT),
            Result(name="cheaper", label="Cheaper per part", kind=Kind.TEXT),
            Result(name="break_even_parts", label="Parts until the body has paid", kind=Kind.COUNT),
            Result(
                name="carbide_per_part",
                label="Carbide per part",
                unit="g",
                kind=Kind.OBJECT,
                needs="the carbide in each",
            ),
            Result(name="parts_per_edge", label="Whole parts per edge", kind=Kind.COUNT),
        ),
        compute=_cost_compare,
        takes_arrays=True,
        sources=("gilbert-1950 (m)",),
        cautions=(CONDITIONS_CAUTION,),
    ),
)
