"""What the start of a job needs to have laid ready: what cuts, bodies, holders and spares, each with its why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from crib.catalogue.errors import CouplingDoesNotFit
from crib.catalogue.models import Design, Job, Machine
from crib.catalogue.services import check_coupling
from crib.floor.models import Operation
from crib.floor.selectors import operations_of
from crib.floor.selectors.standing_tools import BuiltTool, built_tools, holders_used
from crib.life.selectors.due import paces_of, still_to_make
from crib.life.selectors.staging import ALL_MADE, Staging, staging_at
from crib.life.words import parts_in_words
from crib.stock.kits import LONGEST_WHY, KitWant, by_role
from crib.stock.records import KitLine

Role = KitLine.Role


@dataclass(frozen=True, slots=True)
class KitNeeds:
    """What to lay ready for so many parts; `remarks` say what stands ready already or cannot be told."""

    parts: int
    wants: tuple[KitWant, ...]
    remarks: tuple[str, ...] = ()


@dataclass(slots=True)
class _Sum:
    """Pieces of one design in one role, over the operations that want them."""

    design: Design
    role: str
    wanted: int = 0
    whys: list[str] = field(default_factory=list)

    def want(self) -> KitWant:
        why = " ".join(self.whys)
        short = why if len(why) <= LONGEST_WHY else why[: LONGEST_WHY - 1] + "…"
        return KitWant(design=self.design, role=self.role, wanted=self.wanted, why=short)


class _Needs:
    def __init__(self) -> None:
        self.sums: dict[tuple[int, str], _Sum] = {}
        self.remarks: list[str] = []

    def add(self, design: Design, role: str, wanted: int, why: str) -> None:
        row = self.sums.setdefault((design.pk, role), _Sum(design, role))
        row.wanted += wanted
        if wanted:
            row.whys.append(why)


def kit_needs(*, job: Job, parts: int | None = None) -> KitNeeds:
    """By the forecasts of the edges in use and the lives believed; `parts` is all that are still to make at most."""
    steps = [one for one in operations_of(job) if one.retired_at is None]
    paces = paces_of(steps)
    left = {step.pk: still_to_make(step, paces[step.pk]) for step in steps}
    most = max(left.values(), default=0)
    asked = most if parts is None else min(parts, most)
    needs = _Needs()
    live = [step for step in steps if min(asked, left[step.pk])]
    for step in live:
        _add_edges(needs, step, staging_at(operation=step, parts=min(asked, left[step.pk])))
    _add_tools(needs, live)
    wants = sorted((one.want() for one in needs.sums.values() if one.wanted), key=by_role)
    return KitNeeds(asked, tuple(wants), tuple(needs.remarks))


def _add_edges(needs: _Needs, step: Operation, staging: Staging) -> None:
    """Tips for the mean number of edges, and as spares those with which they do 95 times in 100."""
    if staging.trouble:
        if staging.trouble != ALL_MADE:
            needs.remarks.append(f"{step.number} {step.name}: {staging.trouble}")
            if not staging.edges_in_use:
                seats = max(step.body.seats, 1) if step.body else 1
                needs.add(step.tip, Role.EDGE, seats, f"{step.number}: one set to begin with, no life is known.")
        return
    assert staging.expected is not None  # told where there is no trouble
    assert staging.tips is not None
    sets = math.ceil(max(staging.expected - staging.waiting, 0.0) / staging.edges_each)
    usual = min(sets * staging.together, staging.tips)
    spare = staging.tips - usual
    beside = _beside(staging)
    each = f", {staging.edges_each} to a tip" if staging.edges_each > 1 else ""
    seats_said = f", {staging.together} tips at once" if staging.together > 1 else ""
    made = (
        f"{step.number}: {staging.expected_words} edges{each}{seats_said} for {parts_in_words(staging.parts)}{beside}."
    )
    needs.add(step.tip, Role.EDGE, usual, made)
    needs.add(step.tip, Role.SPARE, spare, f"{step.number}: so that it does 95 times in 100 ({staging.ready} edges).")


def _beside(staging: Staging) -> str:
    said = []
    if staging.edges_in_use:
        said.append(f"{staging.edges_in_use} in use")
    if staging.waiting:
        said.append(f"{staging.waiting} fresh there")
    return f" beside {' and '.join(said)}" if said else ""


def _add_tools(needs: _Needs, steps: Sequence[Operation]) -> None:
    """A body and a holder for each tool of the job that no built tool is there for yet."""
    tools: dict[tuple[int, int | None, int], Operation] = {}
    for step in steps:
        tools.setdefault((step.machine_id, step.body_id, step.tip_id), step)
    ready = built_tools()
    used = holders_used(bodies={step.body_id for step in steps if step.body_id}, tips={step.tip_id for step in steps})
    holders = {one.pk: one for one in Design.objects.filter(kind=Design.Kind.HOLDER, retired_at=None)}
    for step in tools.values():
        built = _built_for(step, ready)
        if built is not None:
            ready.remove(built)
            needs.remarks.append(f"{step.number} {step.name}: {built.assembly.name} is ready {built.where}.")
            continue
        tool = f"{step.number} {step.name} on {step.machine.code}"
        if step.body is not None:
            needs.add(step.body, Role.BODY, 1, f"1 for {tool}.")
        known = used.get((step.body_id, None) if step.body_id else (None, step.tip_id), [])
        holder, why = _holder_for(step, [holders[pk] for pk in known if pk in holders], list(holders.values()))
        if holder is None:
            needs.remarks.append(f"{tool}: no holder in the catalogue fits. Add it by hand.")
        else:
            needs.add(holder, Role.HOLDER, 1, f"1 for {step.number}, {why}.")


def _built_for(step: Operation, ready: Sequence[BuiltTool]) -> BuiltTool | None:
    """The tool for a step that is built: in its machine, else one that stands free with its tip in it."""
    fitting = [one for one in ready if _is_for(step, one)]
    here = [one for one in fitting if one.load is not None and one.load.machine_id == step.machine_id]
    free = [one for one in fitting if one.load is None and one.tip is not None]
    return next(iter(here or free), None)


def _is_for(step: Operation, built: BuiltTool) -> bool:
    body = built.assembly.body
    same_body = body is None if step.body_id is None else body is not None and body.design_id == step.body_id
    if not same_body:
        return False
    if built.tip is not None:
        return built.tip.pk == step.tip_id
    # An empty body takes the tip it is for; an empty holder might be for anything.
    return step.body_id is not None


def _holder_for(step: Operation, known: Sequence[Design], all_of_them: Sequence[Design]) -> tuple[Design | None, str]:
    """The holder that carried it last on such a spindle, else the first in the catalogue that fits both sides."""
    what = step.body.code if step.body else step.tip.code
    for holder in known:
        if _fits(step.machine, holder, step):
            return holder, f"as it last carried {what}"
    for holder in all_of_them:
        if holder.machine_side_system and _fits(step.machine, holder, step):
            return holder, f"it fits {step.machine.code} and {what}"
    return None, ""


def _fits(machine: Machine, holder: Design, step: Operation) -> bool:
    try:
        if step.body is not None:
            check_coupling(machine=machine, holder=holder, body=step.body)
        else:
            check_coupling(machine=machine, holder=holder, tip=step.tip)
    except CouplingDoesNotFit:
        return False
    return True
