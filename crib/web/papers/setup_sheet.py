"""Setup sheets: what the page of an operation and its paper say, gathered once for both."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.utils.safestring import SafeString

from calc.errors import WorkingError
from calc.units import System
from crib.catalogue.burning import burning_caution
from crib.catalogue.models import Design, Job
from crib.floor import selectors
from crib.floor.as_working import as_working
from crib.floor.models import Assembly, KindOfCut, Operation
from crib.life.known import look_up
from crib.life.selectors.predicted import FreshEdge, fresh_edge_at
from crib.stock.models import Item
from crib.web import codes, formats
from crib.web.drawings import drawing_of
from crib.web.drawings.built_tool import built_tool
from crib.web.papers.printing import make_pdf
from crib.web.templatetags.floor import outlook

STARTING = (
    "Starting values. The tool maker's limits, above all the highest speed and the least clamping length, the "
    "machine's manual and the shop's safety rules come first; a qualified person approves them before the first cut. "
    "Guards closed, eye protection on, no hands near a turning spindle."
)
PROMISE = "A forecast is a chance, never a promise: it does not replace the inspection of safety-critical parts."
TO_TORQUE = "Change a tip with the spindle stopped; clean the coupling, and tighten it to its maker's torque."
# Where the paper has no colours: lines and light greys.
PRINTED = (
    "text{font-family:'Libertinus Serif';font-size:15px;fill:#000}path,line{fill:none;stroke:#000;stroke-width:1}"
    ".view-title{font-weight:bold}.metal,.tool{fill:#e4e4e4;stroke-width:1.5}.shank{fill:#f3f3f3;stroke-width:1.5}"
    ".air,.bored{fill:#fff}.chip,.zone,.taken{fill:#cfcfcf}.band{stroke-width:4}.arrow{fill:#000;stroke:none}"
    ".extension,.leader{stroke:#666;stroke-width:.75}.axis-line{stroke-dasharray:14 4 3 4;stroke-width:.75}"
    ".hidden-line{stroke-dasharray:6 4}.hatch-metal,.hatch-clash{stroke:#999}.hatched{stroke:none}"
)


@dataclass(frozen=True, slots=True)
class Part:
    """One line of a tool's list of parts."""

    role: str
    design: Design
    item: Item | None


@dataclass(frozen=True, slots=True)
class ToolThere:
    """A tool in its pocket, with what a setter reads of it."""

    now: selectors.PocketNow
    parts: list[Part]
    facts: selectors.ToolFacts
    ground: list[tuple[str, float, str]]
    drawing: SafeString | str
    label: str
    code: SafeString


def cautions_of(operation: Operation) -> list[str]:
    """What stands at the head of every sheet of this work."""
    burns = burning_caution(operation.material)
    return [STARTING, TO_TORQUE, *([burns] if burns else [])]


def conditions_of(operation: Operation) -> list[tuple[str, float, str]]:
    """Conditions in the order in which they are said: (words, value, unit)."""
    milled = operation.kind_of_cut in (KindOfCut.MILLING, KindOfCut.CHAMFERING)
    rows = [
        ("Surface speed", operation.surface_speed, "m/min"),
        ("Spindle speed", selectors.spindle_speed(operation), "1/min"),
        ("Feed", operation.feed, "mm/tooth" if milled else "mm/rev"),
        ("Feed rate", selectors.feed_rate(operation), "mm/min"),
        ("Depth of cut", operation.depth, "mm"),
        ("Width of cut", operation.width, "mm"),
        ("Length of cut", operation.length_of_cut, "mm"),
        ("Work diameter", operation.work_diameter, "mm"),
        ("Inner diameter", operation.inner_diameter, "mm"),
    ]
    return [(words, value, unit) for words, value, unit in rows if value is not None]


def tools_there(operation: Operation, *, edge_related: Sequence[str], system: System) -> list[ToolThere]:
    """The tools with the operation's tip that are in its machine now."""
    return [_tool(now, operation, system) for now in selectors.loads_for(operation, edge_related=edge_related)]


def _tool(now: selectors.PocketNow, operation: Operation, system: System) -> ToolThere:
    built, fitted = now.assembly, now.fitted
    assert built is not None
    parts = [Part("Holder", built.holder.design, built.holder)]
    if built.body is not None:
        parts.append(Part("Body", built.body.design, built.body))
    if fitted is not None:
        parts.append(Part("Tip" if built.body else "Tool", fitted.design, fitted.item))
    label = built.label
    return ToolThere(
        now=now,
        parts=parts,
        facts=selectors.built_facts(assembly=built, fitted=fitted, machine=now.machine),
        ground=_as_ground(operation, fitted.item) if fitted else [],
        drawing=built_tool(
            holder=built.holder.design,
            body=built.body.design if built.body else None,
            tip=fitted.design if fitted else None,
            gauge_length_mm=built.gauge_length_mm,
            stick_out_mm=built.stick_out_mm,
            said=partial(formats.amount, unit="mm", system=system),
            diameter_mm=_cuts(built, fitted.item) if fitted else None,
        ),
        label=label,
        code=codes.data_matrix(label),
    )


def _cuts(built: Assembly, item: Item) -> float | None:
    """DC in mm: an insert cuts on its body's diameter, another tip on its own, as it was ground."""
    carried = built.body.design.diameter_mm if built.body else None
    if item.design.kind == Design.Kind.INSERT and carried:
        return carried
    return item.diameter_mm or item.design.diameter_mm or carried


def _as_ground(operation: Operation, item: Item) -> list[tuple[str, float, str]]:
    """What differs with this very piece from the conditions, which are those of a new one: (words, value, unit)."""
    speed = selectors.spindle_speed(operation, item)
    if item.diameter_mm is None or speed is None or speed == selectors.spindle_speed(operation):
        return []
    return [("Diameter as ground", item.diameter_mm, "mm"), ("Spindle speed as ground", speed, "1/min")]


def drawing_of_cut(operation: Operation, system: System) -> SafeString | str:
    """The operation's cut as its calculator draws it; empty while the duty says too little."""
    from calc import workings  # the register costs half a second, and most pages never work anything out

    opened = as_working(operation)
    try:
        return drawing_of(workings.run(opened.working, opened.inputs, system, look_up))
    except WorkingError:
        return ""


# --- on paper -----------------------------------------------------------------------------------------


def setup_pdf(
    operations: Sequence[Operation], *, job: Job | None, edge_related: Sequence[str], system: System
) -> bytes:
    """The sheets of these operations, one after another."""
    return make_pdf("setup", setup_figures(operations, job=job, edge_related=edge_related, system=system))


def setup_figures(
    operations: Sequence[Operation], *, job: Job | None, edge_related: Sequence[str], system: System
) -> dict[str, Any]:
    """All that the paper says, as words and drawings."""
    title = f"Setup sheets {job.code}" if job else f"Setup sheet {operations[0]}"
    more = f"{job.part} · {formats.parts(job.quantity)} to make" if job else operations[0].job.part
    sheets = [_sheet(one, edge_related, system) for one in operations]
    return {"title": title, "more": more, "sheets": sheets}


def _sheet(operation: Operation, edge_related: Sequence[str], system: System) -> dict[str, Any]:
    machine = operation.machine
    return {
        "title": str(operation),
        "more": f"{operation.name} · {machine.code} {machine.name}",
        "caution": " ".join(cautions_of(operation)),
        "conditions": _condition_rows(operation, system),
        "change": _change_rows(operation, fresh_edge_at(operation=operation), system),
        "tools": [
            _tool_figures(one, system) for one in tools_there(operation, edge_related=edge_related, system=system)
        ],
        "nothing": f"No tool with {operation.tip.code} is in {machine.code} yet.",
        "cut": _printed(drawing_of_cut(operation, system)),
        "promise": PROMISE,
    }


def _condition_rows(operation: Operation, system: System) -> list[tuple[str, str]]:
    material = operation.material
    rows = [("Material", f"{material.name}, {material.hardness}" if material.hardness else material.name)]
    rows.append(("Kind of cut", operation.get_kind_of_cut_display()))
    rows += [(words, formats.amount(value, unit, system)) for words, value, unit in conditions_of(operation)]
    if operation.contact_high is not None:
        low, high = (formats.amount(one, "mm", system) for one in (operation.contact_low, operation.contact_high))
        rows.append(("Band of the flute that cuts", f"{low} to {high} above the tip flat"))
    minutes = formats.minutes(operation.minutes_per_part)
    return [
        *rows,
        ("Passes or holes", str(operation.passes)),
        ("Coolant", operation.coolant or formats.NOTHING),
        ("Minutes in cut per part", f"{minutes} ({operation.get_minutes_source_display().lower()})"),
        ("Cycle time", f"{formats.minutes(operation.cycle_minutes)} min"),
    ]


def _change_rows(operation: Operation, fresh: FreshEdge, system: System) -> list[tuple[str, str]]:
    tip, body, limits = operation.tip, operation.body, selectors.tool_limits(operation)
    rows = [("Tip", f"{tip.code}, {tip.description}")]
    rows.append(("Body", f"{body.code}, {body.description}" if body else "none"))
    if limits is not None:
        speed = limits.slowest
        said = f"{formats.amount(speed.speed, '1/min', system)} ({speed.owner})" if speed else "not entered"
        rows.append(("Cutting diameter", formats.amount(limits.diameter, "mm", system)))
        rows.append(("Largest spindle speed", said))
    rows.append(("Edges per tip", str(tip.edges)))
    if fresh.change_parts:
        after = formats.parts_said(fresh.change_parts)
    elif fresh.change_minutes:
        after = f"{formats.minutes(fresh.change_minutes)} min in cut"
    else:
        after = "run it to its end"
    rows.append(("Change a fresh edge after", f"{after} ({fresh.evidence})"))
    if operation.fixed_count:
        rows.append(("The shop's fixed count", formats.parts_said(operation.fixed_count)))
    return rows


def _tool_figures(tool: ToolThere, system: System) -> dict[str, Any]:
    built, facts = tool.now.assembly, tool.facts
    assert built is not None
    amount = partial(formats.amount, system=system)
    rows = [
        ("Gauge length", amount(built.gauge_length_mm, "mm")),
        ("Stick-out", amount(built.stick_out_mm, "mm")),
        *((words, amount(value, unit)) for words, value, unit in tool.ground),
        (
            "Largest spindle speed",
            f"{amount(facts.limit.speed, '1/min')} ({facts.limit.owner})" if facts.limit else "not entered",
        ),
        *((f"Tighten {one.holds} to", amount(one.newton_metres, "N·m")) for one in facts.torques),
        *((f"Balance of {owner}", note) for owner, note in facts.balance),
        *([("Note", built.note)] if built.note else []),
        *_edge_rows(tool),
    ]
    return {
        "place": f"{tool.now.machine.code} pocket {tool.now.pocket}",
        "name": built.name,
        "label": tool.label,
        "code": _printed(tool.code, restyle=False),
        "drawing": _printed(tool.drawing),
        "parts": [
            {
                "role": part.role,
                "code": part.design.code,
                "what": part.design.description,
                "number": part.design.makers_number or formats.NOTHING,
                "label": part.item.label if part.item else formats.NOTHING,
            }
            for part in tool.parts
        ],
        "facts": rows,
        "cautions": facts.cautions,
    }


def _edge_rows(tool: ToolThere) -> list[tuple[str, str]]:
    edge = tool.now.edge
    if edge is None:
        return [("Edge", "none in use")]
    life = outlook(edge)
    rows = [("Edge", f"{edge.number} of {edge.item.design.edges}, {formats.minutes(edge.minutes)} min in cut")]
    if life.known:
        span = f" ({life.parts_range})" if life.parts_range else ""
        rows.append(("Parts left", f"{life.parts_left}{span}"))
        rows.append(("Change by", formats.clock_time(life.change_by) if life.change_by else life.words))
    return rows


def _printed(drawing: str, *, restyle: bool = True) -> str:
    """A drawing of the pages as one that stands by itself, in black on white."""
    if not drawing:
        return ""
    style = f"<style>{PRINTED}</style>" if restyle else ""
    whole = re.sub(r"<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', drawing, count=1)
    return whole.replace(">", f">{style}", 1)
