"""What the catalogue knows of a word typed into a calculator: a work material, a machine or a design as a tool.

Values are named as the inputs of the workings, in the inputs' own units; a working takes those it asks for.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from django.db.models import Q, QuerySet

from calc.errors import WorkingError
from calc.life.economics import solid_edge_cost
from calc.workings import Known
from crib.catalogue.models import Design, Machine, Retirable, WorkMaterial

R = TypeVar("R", bound=Retirable)

MOST_NAMED = 6
LONGEST_ECHO = 40


def look_up(what: str, text: str, words: Mapping[str, str] | None = None) -> Known:
    """What the catalogue has under that word, retired things aside; one query when it is there."""
    if what not in _LOOKUPS:
        raise WorkingError(what, f"{what.capitalize()}: the catalogue holds no such things. Give its numbers instead.")
    return _LOOKUPS[what](text)


def cutting_material_names() -> list[str]:
    """Names of the work materials in use, as a calculator offers them."""
    return list(_in_use(WorkMaterial.objects.all()).order_by("name").values_list("name", flat=True))


def machine_names() -> list[str]:
    """Codes of the machines in use, as a calculator offers them."""
    return list(_in_use(Machine.objects.all()).order_by("code").values_list("code", flat=True))


def tool_names() -> list[str]:
    """Codes of the designs in use that cut."""
    return [code for codes in tools_by_kind().values() for code in codes]


def tools_by_kind() -> dict[str, list[str]]:
    """Codes of the designs in use that cut, under the names of their kinds, as a calculator offers them."""
    found: dict[str, list[str]] = {}
    for kind, code in _in_use(Design.objects.filter(edges__gt=0)).order_by("kind", "code").values_list("kind", "code"):
        found.setdefault(str(Design.Kind(kind).label), []).append(code)
    return found


def find_material(text: str) -> WorkMaterial:
    """The work material in use of that name or number."""
    return _one(WorkMaterial.objects.all(), "name", "material", text, cutting_material_names, "Give kc11 and mc.")


def material_known(found: WorkMaterial) -> Known:
    """A material's cutting force, assumed Taylor exponent and usual speeds, each with its source."""
    values: dict[str, Any] = {
        "kc11": found.kc11,
        "mc": found.mc,
        "n": found.taylor_n,
        "speed_low": found.speed_low,
        "speed_high": found.speed_high,
        "speed_source": found.speed_source,
    }
    sources = {"mc": found.mc_source, "n": found.taylor_n_source, "speed_low": found.speed_source}
    return Known(found.name, _filled(values), found.kc11_source, sources | {"speed_high": found.speed_source})


def design_known(found: Design) -> Known:
    """A design's sizes and limits, as the inputs of the cutting workings call them."""
    cone = found.included_angle_deg is not None
    values: dict[str, Any] = {
        "diameter": found.diameter_mm,
        "teeth": found.teeth,
        "lead_angle": found.lead_angle_deg,
        "included_angle": found.included_angle_deg,
        "tip_diameter": found.tip_flat_mm if found.tip_flat_mm is not None or not cone else 0.0,
        "max_diameter": found.diameter_mm if cone else None,
        "corner_radius": None if _is_ball(found) else found.corner_radius_mm,
        "nose_radius": found.corner_radius_mm,
        "point_angle": found.point_angle_deg,
        "pitch": found.pitch_mm,
        "max_depth": found.max_depth_mm,
        "shank_diameter": found.shank_mm,
        "max_spindle_speed": found.max_spindle_speed,
        "hone": found.hone_mm,
        "max_chip": found.max_chip_mm,
        "edge_cost": _edge_cost(found),
    }
    return Known(found.code, _filled(values))


def _find_material(text: str) -> Known:
    return material_known(find_material(text))


def _find_machine(text: str) -> Known:
    found = _one(Machine.objects.all(), "code", "machine", text, machine_names, "Give its limits instead.")
    values = {
        "max_spindle_speed": found.max_spindle_speed,
        "max_feed_rate": found.max_feed_rate,
        "max_power": found.max_power_kw,
        "power_curve": [{"speed": speed, "power": power} for speed, power in found.power_curve] or None,
        "efficiency": found.efficiency,
        "machine_rate": float(found.hourly_rate) or None,
    }
    return Known(found.code, _filled(values))


def _find_tool(text: str) -> Known:
    return design_known(_one(Design.objects.all(), "code", "tool", text, tool_names, "Give its sizes instead."))


_LOOKUPS: dict[str, Callable[[str], Known]] = {
    "material": _find_material,
    "machine": _find_machine,
    "tool": _find_tool,
}


def _is_ball(design: Design) -> bool:
    """A corner as large as half the tool is no corner of its own."""
    return bool(design.diameter_mm and design.corner_radius_mm and 2 * design.corner_radius_mm >= design.diameter_mm)


def _edge_cost(design: Design) -> float | None:
    """Money for one edge used once: the price and its regrinds spread over all lives."""
    if not design.cuts or not design.unit_cost:
        return None
    one = solid_edge_cost(float(design.unit_cost), design.regrinds_allowed, float(design.regrind_cost))
    return float(one) / design.edges


def _filled(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _in_use(things: QuerySet[R]) -> QuerySet[R]:
    return things.filter(retired_at__isnull=True)


def _one(things: QuerySet[R], by: str, what: str, text: str, names: Callable[[], list[str]], way_out: str) -> R:
    """The thing in use that goes by that name; a whole number is also its number, where no name is that number."""
    wanted = text.strip()
    named = Q(**{f"{by}__iexact": wanted})
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 10:
        named |= Q(pk=int(wanted))
    found = list(_in_use(things.filter(named))[:2])
    for thing in found:
        if str(getattr(thing, by)).casefold() == wanted.casefold():
            return thing
    if found:
        return found[0]
    raise WorkingError(what, _unknown(what, wanted, names(), way_out))


def _unknown(what: str, wanted: str, names: list[str], way_out: str) -> str:
    echo = wanted[:LONGEST_ECHO]
    if not names:
        word = "work material" if what == "material" else what
        return f"{what.capitalize()}: the catalogue holds no {word} yet, so “{echo}” is not known. {way_out}"
    near = _near(wanted, names)
    shown, more = near[:MOST_NAMED], "" if len(near) <= MOST_NAMED else " and others"
    return f"{what.capitalize()}: “{echo}” is not in the catalogue. There is {', '.join(shown)}{more}."


def _near(wanted: str, names: list[str]) -> list[str]:
    """Names that hold what was typed, or any word of it; else those spelled most alike, else all."""
    low = wanted.casefold()
    holding = [name for name in names if low and low in name.casefold()]
    return holding or _alike(low, names) or names


def _alike(wanted: str, names: list[str]) -> list[str]:
    by_name = {name.casefold(): name for name in names}
    return [by_name[match] for match in difflib.get_close_matches(wanted, by_name, n=MOST_NAMED, cutoff=0.6)]
