"""From an operation's duty to its minutes in cut for each part and its spindle speed, through the workings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calc.errors import WorkingError
from crib.catalogue.models import Design
from crib.core.errors import BadInput
from crib.floor.flute import check_band, diameter_in_contact
from crib.floor.models import KindOfCut, Operation
from crib.stock.models import Item

# What each kind of cut is worked out by; a chamfer is milled.
WORKING_OF = {
    KindOfCut.MILLING: "milling",
    KindOfCut.CHAMFERING: "milling",
    KindOfCut.DRILLING: "drilling",
    KindOfCut.TAPPING: "tapping",
    KindOfCut.TURNING: "turning",
    KindOfCut.FACING: "facing",
}
TURNED = (KindOfCut.TURNING, KindOfCut.FACING)
# A speed that was lowered to a limit is not above it for a rounding in the last digit.
AT_LIMIT = 1 + 1e-9

# (field, what it is called, unit, largest that a shop can mean)
CONDITIONS = (
    ("surface_speed", "surface speed", "m/min", 5000.0),
    ("feed", "feed", "mm", 20.0),
    ("depth", "depth of cut", "mm", 500.0),
    ("width", "width of cut", "mm", 2000.0),
    ("length_of_cut", "length of cut", "mm", 1_000_000.0),
    ("work_diameter", "work diameter", "mm", 20_000.0),
    ("minutes_per_part", "minutes in cut per part", "min", 100_000.0),
    ("cycle_minutes", "cycle time", "min", 100_000.0),
)
# The input of a working that is at fault, as the operation's own field.
_FIELD_OF = {
    "diameter": "tip",
    "teeth": "tip",
    "thread": "tip",
    "pitch": "tip",
    "point_angle": "tip",
    "lead_angle": "tip",
    "nose_radius": "tip",
    "feed_per_tooth": "feed",
    "axial_depth": "depth",
    "radial_depth": "width",
    "depth_of_cut": "depth",
    "outer_diameter": "work_diameter",
    "holes": "passes",
}


@dataclass(frozen=True, slots=True)
class Worked:
    """What a duty comes to: minutes in cut per part, with the working behind them."""

    minutes: float
    spindle_speed: float | None
    working: dict[str, Any]


def cutting_diameter(operation: Operation) -> float | None:
    """The diameter that turns, in mm: DC, and for a known band of a chamfer mill the largest in contact."""
    in_contact = diameter_in_contact(operation)
    return tool_diameter(operation) if in_contact is None else in_contact


def tool_diameter(operation: Operation) -> float | None:
    """DC in mm: an insert cuts on its body's diameter, everything else on its own."""
    own, carried = operation.tip.diameter_mm, operation.body.diameter_mm if operation.body else None
    return (carried or own) if operation.tip.kind == Design.Kind.INSERT else (own or carried)


def cutting_teeth(operation: Operation) -> int | None:
    """ZEFP: the teeth of a tip, or as many as inserts sit in the body."""
    body = operation.body
    if operation.tip.kind == Design.Kind.INSERT and body is not None:
        return body.teeth or body.seats or operation.tip.teeth
    return operation.tip.teeth or (body.teeth if body else None)


def diameter_as_ground(operation: Operation, item: Item) -> float | None:
    """The diameter that turns with this very piece, in mm: as it was reground where that is known.

    An insert cuts on its body's diameter, and a band of a chamfer mill on the cone, which grinding leaves as it is.
    """
    in_band = diameter_in_contact(operation) is not None
    if item.diameter_mm is None or in_band or item.design.kind == Design.Kind.INSERT:
        return cutting_diameter(operation)
    return item.diameter_mm


def spindle_speed_of(operation: Operation, item: Item | None = None) -> float | None:
    """n in 1/min at the operation's surface speed, uncapped, with `item` as it was ground; None if it is not known."""
    turned = operation.kind_of_cut in TURNED
    if turned:
        diameter = operation.work_diameter
    else:
        diameter = diameter_as_ground(operation, item) if item is not None else cutting_diameter(operation)
    if not operation.surface_speed or not diameter:
        return None
    return operation.surface_speed * 1000 / (math.pi * diameter)


def feed_rate_of(operation: Operation) -> float | None:
    """vf in mm/min at the operation's speed and feed, as fast as its machine can; None when it cannot be known."""
    speed, feed = spindle_speed_of(operation), operation.feed
    if operation.machine.max_spindle_speed and speed:
        speed = min(speed, operation.machine.max_spindle_speed)
    if operation.kind_of_cut == KindOfCut.TAPPING:
        feed = operation.tip.pitch_mm  # a tap's feed is its lead
    elif operation.kind_of_cut in (KindOfCut.MILLING, KindOfCut.CHAMFERING):
        teeth = cutting_teeth(operation)
        feed = feed * teeth if feed and teeth else None
    return speed * feed if speed and feed else None


def check_figures(operation: Operation) -> None:
    """Refuse figures that no cut can have, each with its own sentence."""
    for field, says, unit, largest in CONDITIONS:
        value = getattr(operation, field)
        if value is None:
            continue
        if not math.isfinite(value) or value <= 0:
            raise BadInput(
                field, f"The {says} must be above zero, not {value:g} {unit}. Leave it empty if it is not known."
            )
        if value > largest:
            raise BadInput(
                field,
                f"A {says} of {value:g} {unit} is beyond anything a shop can mean; check the number and its unit.",
            )


def check_duty(operation: Operation) -> None:
    """Refuse conditions that no cut can have, or that the tool cannot take, each with its own sentence."""
    check_figures(operation)
    inner = operation.inner_diameter
    if inner is not None and not 0 <= inner < (operation.work_diameter or math.inf):
        raise BadInput("inner_diameter", "The inner diameter must be 0 or more, and smaller than the work diameter.")
    if not 1 <= operation.passes <= 10_000:
        raise BadInput("passes", "Give 1 to 10,000 passes or holes for each part.")
    check_band(operation)
    _check_against_tool(operation)


def _check_against_tool(operation: Operation) -> None:
    tip, deepest = operation.tip, operation.tip.max_depth_mm
    if not tip.cuts:
        raise BadInput("tip", f"{tip.code} has no cutting edge; choose the tip, insert, drill, tap or mill that cuts.")
    if deepest and operation.depth and operation.depth > deepest and operation.kind_of_cut not in TURNED:
        raise BadInput(
            "depth", f"{operation.depth:g} mm is deeper than {tip.code} may cut; its largest depth is {deepest:g} mm."
        )
    diameter = cutting_diameter(operation)
    milled = operation.kind_of_cut in (KindOfCut.MILLING, KindOfCut.CHAMFERING)
    if milled and diameter and operation.width and operation.width > diameter:
        where = " where it cuts" if operation.contact_high is not None else ""
        raise BadInput(
            "width", f"{operation.width:g} mm is wider than the tool, which is {diameter:g} mm across{where}."
        )
    speed = spindle_speed_of(operation)
    for part in (tip, operation.body):
        if (
            speed
            and part
            and part.max_spindle_speed
            and speed > part.max_spindle_speed * AT_LIMIT
            and operation.kind_of_cut not in TURNED
        ):
            slower = (operation.surface_speed or 0.0) * part.max_spindle_speed / speed
            raise BadInput(
                "surface_speed",
                f"At {operation.surface_speed:g} m/min the spindle turns {speed:.0f} 1/min, but {part.code} may turn "
                f"{part.max_spindle_speed:.0f} 1/min at most. Use {_rounded_down(slower):g} m/min or less.",
            )


def _rounded_down(value: float) -> float:
    return math.floor(value * 10) / 10


def is_complete(operation: Operation) -> bool:
    """Whether the duty says enough to work out the minutes; what is wrong in it is then told instead of passed over."""
    needed: list[Any] = [operation.surface_speed, operation.length_of_cut]
    if operation.kind_of_cut != KindOfCut.TAPPING:
        needed.append(operation.feed)
    if operation.kind_of_cut in TURNED:
        needed.append(operation.work_diameter)
    if operation.kind_of_cut == KindOfCut.FACING:
        needed.remove(operation.length_of_cut)
    return all(value is not None for value in needed)


def work_out(operation: Operation) -> Worked:
    """Minutes in cut for one part, by the working of the operation's kind of cut; says which field is in the way."""
    from calc import workings  # the register costs half a second, and most pages never work anything out

    name = WORKING_OF[KindOfCut(operation.kind_of_cut)]
    inputs, times = _inputs(operation)
    try:
        answer = workings.run(name, inputs)
    except WorkingError as problem:
        field = _FIELD_OF.get(problem.argument, problem.argument)
        raise BadInput(field, problem.sentence) from problem
    each = answer.results["time_in_cut"].value if "time_in_cut" in answer.results else None
    if each is None or not math.isfinite(each) or each <= 0:
        raise BadInput("minutes_per_part", "The minutes in cut cannot be worked out from these conditions; type them.")
    speed = answer.results["spindle_speed"].value if "spindle_speed" in answer.results else None
    capped = answer.results["capped_by"].text if "capped_by" in answer.results else ""
    kept = {"working": name, "inputs": inputs, "times": times, "spindle_speed": speed, "capped_by": capped}
    return Worked(each * times, speed, kept)


def _inputs(operation: Operation) -> tuple[dict[str, Any], int]:
    """The working's inputs, and how often what it answers is done for each part."""
    inputs: dict[str, Any] = {"surface_speed": operation.surface_speed, "feed": operation.feed}
    times = operation.passes
    kind = operation.kind_of_cut
    if kind in (KindOfCut.MILLING, KindOfCut.CHAMFERING):
        diameter = _needed(operation, "diameter", cutting_diameter(operation))
        inputs = {
            "surface_speed": operation.surface_speed,
            "feed_per_tooth": operation.feed,
            "diameter": diameter,
            "teeth": _needed(operation, "number of teeth", cutting_teeth(operation)),
            "axial_depth": operation.depth,
            "radial_depth": operation.width,
            "length_of_cut": operation.length_of_cut,
            "passes": operation.passes,
        }
        times = 1
    elif kind == KindOfCut.DRILLING:
        inputs |= {
            "diameter": _needed(operation, "diameter", cutting_diameter(operation)),
            "depth": operation.length_of_cut,
            "point_angle": operation.tip.point_angle_deg,
            "holes": operation.passes,
        }
        times = 1
    elif kind == KindOfCut.TAPPING:
        inputs = {
            "surface_speed": operation.surface_speed,
            "diameter": _needed(operation, "diameter", cutting_diameter(operation)),
            "pitch": _needed(operation, "thread pitch", operation.tip.pitch_mm),
            "depth": operation.length_of_cut,
        }
    elif kind == KindOfCut.TURNING:
        inputs |= {
            "diameter": operation.work_diameter,
            "depth_of_cut": operation.depth,
            "length_of_cut": operation.length_of_cut,
            "nose_radius": operation.tip.corner_radius_mm,
        }
    else:
        inputs |= {"outer_diameter": operation.work_diameter, "inner_diameter": operation.inner_diameter or 0.0}
    inputs |= _limits(operation, kind)
    return {name: value for name, value in inputs.items() if value is not None}, times


def _limits(operation: Operation, kind: str) -> Mapping[str, Any]:
    machine = operation.machine
    if kind == KindOfCut.FACING and machine.max_spindle_speed is None:
        raise BadInput(
            "machine",
            f"{machine.code} has no largest spindle speed in the catalogue, which facing to the centre needs.",
        )
    if kind in (KindOfCut.FACING, KindOfCut.TAPPING):  # a tap's feed is its lead, and facing caps by speed alone
        return {"max_spindle_speed": machine.max_spindle_speed}
    return {"max_spindle_speed": machine.max_spindle_speed, "max_feed_rate": machine.max_feed_rate}


def _needed(operation: Operation, what: str, value: float | None) -> float:
    """A figure of the design without which nothing can be worked out."""
    if not value:
        raise BadInput(
            "tip", f"{operation.tip.code} has no {what} in the catalogue; add it there, or type the minutes per part."
        )
    return value
