"""Between an operation's duty and a calculator: what it opens with, and what it keeps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from crib.floor.duty import cutting_teeth, tool_diameter
from crib.floor.flute import band_of, cone_of
from crib.floor.models import KindOfCut, Operation

if TYPE_CHECKING:
    from calc.workings import Answer

KINDS_OF = {
    "milling": (KindOfCut.MILLING, KindOfCut.CHAMFERING),
    "chamfer-edge": (KindOfCut.CHAMFERING,),
    "chamfer-hole": (KindOfCut.CHAMFERING,),
    "drilling": (KindOfCut.DRILLING,),
    "tapping": (KindOfCut.TAPPING,),
    "turning": (KindOfCut.TURNING,),
    "facing": (KindOfCut.FACING,),
}
"""Which kinds of cut a calculator works out; the others keep nothing for an operation."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A calculator with its inputs as an operation has them: texts with units, so that no reader takes them amiss."""

    working: str
    inputs: Mapping[str, str]


def as_working(operation: Operation) -> Opened:
    """The calculator that an operation's duty opens in."""
    name, values = _OPENERS[KindOfCut(operation.kind_of_cut)](operation)
    said = {key: _said(*value) if isinstance(value, tuple) else value for key, value in values.items()}
    return Opened(name, {key: text for key, text in said.items() if text})


def _said(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:.10g} {unit}".strip()


def _around(operation: Operation) -> dict[str, Any]:
    return {
        "tool": operation.tip.code,
        "machine": operation.machine.code,
        "material": operation.material.name,
        "surface_speed": (operation.surface_speed, "m/min"),
    }


def _milled(operation: Operation) -> tuple[str, dict[str, Any]]:
    return "milling", _around(operation) | {
        "diameter": (tool_diameter(operation), "mm"),
        "teeth": (cutting_teeth(operation), ""),
        "feed_per_tooth": (operation.feed, "mm"),
        "axial_depth": (operation.depth, "mm"),
        "radial_depth": (operation.width, "mm"),
        "length_of_cut": (operation.length_of_cut, "mm"),
        "passes": (operation.passes, ""),
    }


def _chamfered(operation: Operation) -> tuple[str, dict[str, Any]]:
    """On the flute's own band where it is known, else as any milling."""
    band, cone = band_of(operation), cone_of(operation.tip)
    if band is None or cone is None:
        return _milled(operation)
    return "chamfer-edge", _around(operation) | {
        "contact_low": (band[0], "mm"),
        "chamfer_width": ((band[1] - band[0]) * cone.slope, "mm"),
        "teeth": (cutting_teeth(operation), ""),
        "feed_per_tooth": (operation.feed, "mm"),
        "length_of_cut": (operation.length_of_cut, "mm"),
        "passes": (operation.passes, ""),
    }


def _drilled(operation: Operation) -> tuple[str, dict[str, Any]]:
    return "drilling", _around(operation) | {
        "diameter": (tool_diameter(operation), "mm"),
        "feed": (operation.feed, "mm"),
        "depth": (operation.length_of_cut, "mm"),
        "holes": (operation.passes, ""),
    }


def _tapped(operation: Operation) -> tuple[str, dict[str, Any]]:
    return "tapping", _around(operation) | {"depth": (operation.length_of_cut, "mm")}


def _turned(operation: Operation) -> tuple[str, dict[str, Any]]:
    return "turning", _around(operation) | {
        "diameter": (operation.work_diameter, "mm"),
        "feed": (operation.feed, "mm"),
        "depth_of_cut": (operation.depth, "mm"),
        "length_of_cut": (operation.length_of_cut, "mm"),
    }


def _faced(operation: Operation) -> tuple[str, dict[str, Any]]:
    return "facing", {
        "machine": operation.machine.code,
        "surface_speed": (operation.surface_speed, "m/min"),
        "outer_diameter": (operation.work_diameter, "mm"),
        "inner_diameter": (operation.inner_diameter, "mm"),
        "feed": (operation.feed, "mm"),
    }


_OPENERS: dict[KindOfCut, Callable[[Operation], tuple[str, dict[str, Any]]]] = {
    KindOfCut.MILLING: _milled,
    KindOfCut.CHAMFERING: _chamfered,
    KindOfCut.DRILLING: _drilled,
    KindOfCut.TAPPING: _tapped,
    KindOfCut.TURNING: _turned,
    KindOfCut.FACING: _faced,
}

# (field of the operation, input or result of the calculator); a result comes before an input of the same name, because
# it is what can be run after the limits.
_KEPT = (
    ("surface_speed", "surface_speed"),
    ("feed", "feed_per_tooth"),
    ("feed", "feed"),
    ("depth", "axial_depth"),
    ("depth", "depth_of_cut"),
    ("width", "radial_depth"),
    ("length_of_cut", "length_of_cut"),
    ("length_of_cut", "depth"),
    ("passes", "passes"),
    ("passes", "holes"),
    ("work_diameter", "outer_diameter"),
    ("inner_diameter", "inner_diameter"),
    ("contact_low", "contact_low"),
    ("contact_high", "contact_high"),
)
_TURNED_ONLY = (("work_diameter", "diameter"),)
ONE_PASS = ("tapping", "turning", "facing")


def duty_of_answer(answer: Answer) -> dict[str, Any]:
    """The duty that an answer stands for, as fields of an operation; with the speed and feed that can be run."""
    name = answer.working.name
    found: dict[str, Any] = {}
    for field, key in (*_KEPT, *(_TURNED_ONLY if name == "turning" else ())):
        value = answer.results.get(key) or answer.inputs.get(key)
        if value is not None and isinstance(value.value, int | float):
            found[field] = value.value
    return found | _as_run(answer)


def _as_run(answer: Answer) -> dict[str, float]:
    """What a calculator tells only in other words: the feed by turns and feed rate, a tap's way by its travel."""
    if answer.working.name == "tapping":
        way = _number(answer, "travel")
        # Deeper than the full thread by the tap's chamfer, and in the cut all the way.
        return {"length_of_cut": way} if way else {}
    speed, rate = _number(answer, "spindle_speed"), _number(answer, "feed_rate")
    return {"feed": rate / speed} if speed and rate and "feed_per_tooth" not in answer.results else {}


def _number(answer: Answer, name: str) -> float | None:
    value = answer.results.get(name)
    return float(value.value) if value is not None else None


def minutes_of_answer(answer: Answer, passes: int) -> float | None:
    """Minutes in cut for each part, where the calculator tells the time; some tell that of one pass."""
    time = _number(answer, "time_in_cut")
    if time is None:
        return None
    return time * (passes if answer.working.name in ONE_PASS else 1)
