"""Keeping what a calculator worked out as the duty of an operation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction

from crib.core.errors import BadInput
from crib.floor.as_working import KINDS_OF, duty_of_answer, minutes_of_answer
from crib.floor.duty import tool_diameter
from crib.floor.models import Operation
from crib.floor.services.operations import change_operation
from crib.people.models import Person

if TYPE_CHECKING:
    from calc.workings import Answer, Shop

ALIKE = 0.005  # a tool's diameter that differs by less is the same tool


@dataclass(frozen=True, slots=True)
class Change:
    """One field of the operation, as it is and as it would be."""

    field: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class Proposal:
    """What keeping an answer for an operation would change, and what to look at before."""

    changes: tuple[Change, ...]
    minutes: float | None
    doubts: tuple[str, ...]


def propose_keeping(*, operation: Operation, answer: Answer) -> Proposal:
    """What would change; nothing is written."""
    _check_kind(operation, answer.working.name)
    duty = duty_of_answer(answer)
    minutes = minutes_of_answer(answer, duty.get("passes", operation.passes))
    wanted = duty | ({} if minutes is None else {"minutes_per_part": minutes})
    changes = [Change(field, getattr(operation, field), value) for field, value in wanted.items()]
    return Proposal(
        tuple(one for one in changes if not _same(one.before, one.after)), minutes, tuple(_doubts(operation, answer))
    )


@transaction.atomic
def keep_working(
    *, operation: Operation, name: str, inputs: Mapping[str, Any], who: Person, shop: Shop | None = None
) -> Proposal:
    """Work the calculator out again, and write its duty and minutes in cut to the operation."""
    from calc import workings  # the register costs half a second, and most processes never ask

    answer = workings.run(name, inputs, shop=shop)
    proposal = propose_keeping(operation=operation, answer=answer)
    changes = {one.field: one.after for one in proposal.changes}
    if changes:
        change_operation(operation=operation, who=who, **changes)
    if proposal.minutes is not None:
        speed, capped = answer.results.get("spindle_speed"), answer.results.get("capped_by")
        operation.minutes_source = Operation.MinutesSource.COMPUTED
        operation.minutes_working = {
            "working": name,
            "inputs": {key: value.value for key, value in answer.inputs.items()},
            "spindle_speed": speed.value if speed else None,
            "capped_by": capped.text if capped else "",
        }
        operation.save(update_fields=["minutes_source", "minutes_working"])
    return proposal


def _check_kind(operation: Operation, name: str) -> None:
    if operation.retired_at is not None:
        raise BadInput("operation", f"{operation} is put away; choose another one.")
    if operation.kind_of_cut not in KINDS_OF.get(name, ()):
        kind = operation.get_kind_of_cut_display().lower()
        raise BadInput("operation", f"{operation} is {kind}, which this calculator does not work out; choose another.")


def _same(before: Any, after: Any) -> bool:
    if before is None or after is None:
        return before is after
    return abs(float(before) - float(after)) <= 1e-9 * max(1.0, abs(float(after)))


def _doubts(operation: Operation, answer: Answer) -> list[str]:
    """Where the calculator had another tool, metal or machine than the operation has."""
    found = []
    for word, thing in (("tool", operation.tip.code), ("machine", operation.machine.code),
                        ("material", operation.material.name)):  # fmt: skip
        said = answer.inputs.get(word)
        if said is not None and str(said.value).casefold() != thing.casefold():
            found.append(f"Worked out with {word} {said.value}, but the operation has {thing}.")
    own, used = tool_diameter(operation), answer.inputs.get("diameter")
    turned = answer.working.name == "turning"
    if own and used is not None and not turned and abs(used.value - own) > ALIKE * own:
        found.append(f"Worked out with a diameter of {used.text}, but the operation's tool has {own:g} mm.")
    return [*found, *answer.warnings]
