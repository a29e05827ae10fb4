"""Workings about money: the life and speed that cost least, and modular tools against solid ones."""

import math
from collections.abc import Mapping
from typing import Any

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
from calc.units import Quantity, show, show_number, ureg
from calc.workings.declaration import Found, Given, Input, Kind, Result, Step, Working
from calc.workings.life import CONDITIONS_CAUTION, PER_PART, TAYLOR_C, TAYLOR_N, minutes, time

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


def _speed(value: float) -> Quantity:
    return ureg.Quantity(value, "m/min")


def _economics(given: Given) -> Found:
    n, c = given.number("n"), float(given.quantity("c").m_as("m/min"))
    change, rate, edge = minutes(given, "change_time"), given.number("machine_rate") / 60, given.number("edge_cost")
    best = economic_lives(n, c, change, rate, edge)
    found = Found(
        results={
            "life_min_cost": time(float(best.life_min_cost)),
            "speed_min_cost": _speed(float(best.speed_min_cost)),
        }
    )
    if change > 0:
        found.results["life_max_output"] = time(float(best.life_max_output))
        found.results["speed_max_output"] = _speed(float(best.speed_max_output))
    else:
        found.assumed.append("A change that takes no time has no life of highest output: faster is always more.")
    factor = f"(1/{show_number(n)} - 1)"
    found.working += [
        Step(
            "Life for the lowest cost per part",
            "T = (1/n - 1) · (change time + edge cost / rate)",
            f"{factor} · ({show_number(change)} min + {show_number(edge)} / {show_number(rate)} per min)",
            show(time(float(best.life_min_cost))),
            "gilbert-1950 (m)",
        ),
        Step(
            "Its surface speed",
            "vc = C / T^n",
            f"{show_number(c)} m/min / {show_number(float(best.life_min_cost))}^{show_number(n)}",
            given.show(_speed(float(best.speed_min_cost)), "m/min"),
            "taylor-1907 (m)",
        ),
    ]
    if "work" in given:
        _cost_of_work(given.mapping("work"), found, float(best.speed_min_cost), (n, c, change, rate, edge))
    return found


def _cost_of_work(
    work: Mapping[str, Any], found: Found, speed: float, law: tuple[float, float, float, float, float]
) -> None:
    n, c, change, rate, edge = law
    across, along, feed = (float(work[name].m_as("mm")) for name in ("diameter", "length", "feed"))
    at_one = math.pi * across * along / (1000 * feed)
    cost = cost_against_speed([speed], n, c, at_one, change, rate, edge)
    found.results["cost_per_part"] = float(cost.total[0])
    speeds = speed * np.geomspace(0.5, 2.0, CURVE_POINTS)
    curve = cost_against_speed(speeds, n, c, at_one, change, rate, edge)
    found.results["cost_against_speed"] = [list(map(float, pair)) for pair in zip(speeds, curve.total, strict=True)]
    found.texts["cost_against_speed"] = "; ".join(
        f"{show_number(float(total), 3)} at {show_number(float(at), 3)} m/min"
        for at, total in list(zip(speeds, curve.total, strict=True))[::7]
    )
    found.working.append(
        Step(
            "Cost of one part at that speed",
            "K = τ · rate + (τ / T) · (change time · rate + edge cost)",
            f"τ = {show_number(float(at_one / speed))} min, T = {show_number(float(tool_life(speed, n, c)))} min",
            show_number(float(cost.total[0])),
            "gilbert-1950 (m)",
        )
    )


def _cost_compare(given: Given) -> Found:
    modular, solid = given.mapping("modular"), given.mapping("solid")
    life, each, rate = minutes(given, "life"), minutes(given, "minutes_per_part"), given.number("machine_rate") / 60
    parts = float(whole_parts(life, each))
    if parts < 1:
        raise WorkingError("life", "The edge does not last one whole part; lower the speed or split the cut.")
    changes = {"modular": minutes(given, "change_time_modular"), "solid": minutes(given, "change_time_solid")}
    edge = {
        "modular": float(
            modular_edge_cost(*(modular[key] for key in ("body_cost", "body_life_tips", "tip_cost", "edges")))
        ),
        "solid": float(solid_edge_cost(solid["cost"], solid["regrinds"], solid["regrind_cost"])),
    }
    cost = {way: float(cost_per_part(each, life, changes[way], rate, edge[way], whole=True).total) for way in edge}
    tip_alone = float(modular_edge_cost(0, modular["body_life_tips"], modular["tip_cost"], modular["edges"]))
    without_body = float(cost_per_part(each, life, changes["modular"], rate, tip_alone, whole=True).total)
    even = float(break_even_parts(modular["body_cost"], without_body, 0, cost["solid"]))
    body_parts = modular["body_life_tips"] * modular["edges"] * parts
    pays = math.isfinite(even) and even <= body_parts
    found = Found(
        results={
            "cost_per_part": cost,
            "cheaper": min(cost, key=lambda way: cost[way]),
            "break_even_parts": math.ceil(even - 1e-9) if pays else None,
            "parts_per_edge": int(parts),
        }
    )
    if not pays:
        found.texts["break_even_parts"] = "the body does not pay for itself within its life"
    carbide = _carbide(modular, solid, parts)
    if carbide:
        found.results["carbide_per_part"] = carbide
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
    return found


def _carbide(modular: Mapping[str, Any], solid: Mapping[str, Any], parts: float) -> dict[str, Quantity]:
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
            Input(
                name="n",
                label=TAYLOR_N.label,
                symbol="n",
                kind=Kind.NUMBER,
                required=True,
                above=0,
                highest=0.99,
                example=0.25,
            ),
            Input(name="c", label=TAYLOR_C.label, symbol="C", unit="m/min", required=True, above=0, example=180),
            Input(name="change_time", label="Time of one change", unit="min", required=True, lowest=0, example=3),
            RATE,
            _money("edge_cost", "Cost of one edge", 6),
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
            Result(name="cost_per_part", label="Lowest cost per part", kind=Kind.NUMBER, needs="the turned work"),
            Result(
                name="cost_against_speed", label="Cost per part against speed", kind=Kind.LIST, needs="the turned work"
            ),
        ),
        compute=_economics,
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
        sources=("gilbert-1950 (m)",),
        cautions=(CONDITIONS_CAUTION,),
    ),
)
