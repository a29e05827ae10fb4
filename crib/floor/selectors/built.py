"""A built tool as whoever sets it up must know it: limits, torques, lengths, where it is used; and which one it is."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Q

from crib.catalogue.models import Design, Job, Machine
from crib.core.errors import BadInput
from crib.floor.errors import NothingFitted
from crib.floor.models import Assembly, Operation
from crib.floor.selectors.boards import Fitted
from crib.floor.tooling import (
    SpeedLimit,
    Torque,
    likely_gauge_length,
    said_lengths,
    said_too_fast,
    said_torque,
    speed_limit,
    torques_of,
)
from crib.stock.labels import BadLabel, parse_label
from crib.stock.models import Item


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """What the parts say together; lengths in mm, speed in 1/min, torques in N·m."""

    limit: SpeedLimit | None
    silent: list[str]
    torques: list[Torque]
    balance: list[tuple[str, str]]
    seats: int
    likely_gauge_mm: float | None
    cautions: list[str] = field(default_factory=list)


def tool_facts(
    *,
    holder: Design,
    body: Design | None = None,
    tip: Design | None = None,
    machine: Machine | None = None,
    stick_out_mm: float | None = None,
) -> ToolFacts:
    """Of parts that are chosen, built or not; `silent` names those whose largest speed nobody entered."""
    parts = [part for part in (holder, body, tip) if part is not None]
    return ToolFacts(
        limit=speed_limit(parts, machine),
        silent=[part.code for part in parts if not part.max_spindle_speed],
        torques=torques_of(holder=holder, body=body, tip=tip),
        balance=[(part.code, part.balance_note) for part in parts if part.balance_note],
        seats=max(body.seats, 1) if body else 1,
        likely_gauge_mm=likely_gauge_length(holder=holder, body=body, stick_out_mm=stick_out_mm),
    )


def built_facts(*, assembly: Assembly, fitted: Fitted | None = None, machine: Machine | None = None) -> ToolFacts:
    """Of an assembly as it stands, with what should be looked at again before it turns."""
    body, tip = assembly.body.design if assembly.body else None, fitted.design if fitted else None
    facts = tool_facts(
        holder=assembly.holder.design, body=body, tip=tip, machine=machine, stick_out_mm=assembly.stick_out_mm
    )
    work = fitted.edge.operation if fitted and fitted.edge else None
    parts = [part for part in (assembly.holder.design, body, tip) if part is not None]
    said = [said_torque(assembly), said_lengths(assembly)]
    if machine is not None and work is not None:
        said.append(said_too_fast(work, machine, parts, fitted.item if fitted else None))
    facts.cautions.extend(sentence for sentence in said if sentence)
    return facts


def may_work_at(*, assembly: Assembly, fitted: Fitted | None) -> list[Operation]:
    """Open operations that ask for what is fitted, in this body or in whichever."""
    if fitted is None:
        return []
    body = assembly.body.design_id if assembly.body else None
    work = Operation.objects.filter(tip=fitted.design, retired_at=None, job__retired_at=None)
    work = work.filter(Q(body=body) | Q(body=None)).exclude(job__state=Job.State.DONE)
    return list(work.select_related("job", "machine", "tip", "body").order_by("job__code", "number")[:50])


def find_built(*, text: str) -> Assembly:
    """The standing assembly that a label speaks of: its own, or that of any piece in it."""
    try:
        label = parse_label(text[:60])
    except BadLabel as unread:
        raise BadInput("text", f"“{text[:60]}” was read. {unread.sentence}") from unread
    standing = Assembly.objects.select_related("holder__design", "holder__place", "body__design")
    if label.kind == "A":
        found = standing.filter(pk=label.number).first()
        if found is not None and found.taken_apart_at is not None:
            raise NothingFitted(f"{found.name} was taken apart; its label is of no use any more.", field="text")
    elif label.kind == "I":
        inside = Q(fittings__item=label.number, fittings__removed_at=None)
        found = standing.filter(
            Q(holder=label.number) | Q(body=label.number) | inside, taken_apart_at=None
        ).first()  # fmt: skip
        if found is None and (piece := Item.objects.filter(pk=label.number).select_related("design").first()):
            raise NothingFitted(f"{piece.label} ({piece.design.code}) is in no built tool now.", field="text")
    else:
        raise BadInput("text", f"“{text[:60]}” is no label of a built tool, nor of a piece in one.")
    if found is None:
        raise BadInput("text", f"“{text[:60]}” is a sound label, but nothing here carries it.")
    return found
