"""Kits of a job, from the forecast to what comes back: the ledger's part is done by the crib's own services."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db import transaction

from crib.catalogue.models import Job
from crib.core.errors import BadInput, Refused
from crib.floor.errors import EdgeStillInUse
from crib.floor.models import Edge
from crib.floor.selectors.standing_tools import built_in
from crib.life.selectors.kit_needs import kit_needs
from crib.life.selectors.kit_sheets import back_rows, edges_of
from crib.people.models import Person
from crib.stock.models import Condition, Item
from crib.stock.records import Kit
from crib.stock.selectors import kit_with
from crib.stock.services import BackLine, KitActed, KitWant, issue_kit, return_kit, stage_kit


def stage_job_kit(
    *,
    job: Job,
    who: Person,
    parts: int | None = None,
    lines: Sequence[KitWant] | None = None,
    needed_on: date | None = None,
) -> Kit:
    """Stage what the forecast says a job's start needs, or the lines given instead."""
    needs = kit_needs(job=job, parts=parts)
    wanted = needs.wants if lines is None else lines
    if lines is None and not wanted:
        raise Refused(
            f"The forecast asks for nothing to be laid ready for {job.code}. Name the lines of the kit by hand.",
            field="lines",
        )
    return stage_kit(job=job, parts=parts or max(needs.parts, 1), lines=wanted, who=who, needed_on=needed_on)


def hand_out_kit(
    *,
    kit: Kit,
    person: Person,
    who: Person,
    key: str,
    pieces: Sequence[Item] = (),
    only_what_is_there: bool = False,
    allowed_by: Person | None = None,
    note: str = "",
) -> KitActed:
    """Hand out a kit in one act; what is built into a tool is left in it.

    What goes beyond a limit is let out by `allowed_by` alone, who says why in the note.
    """
    built = built_in()
    for number, item in enumerate(pieces):
        if item in pieces[:number]:
            raise BadInput("pieces", f"{item.label} is named twice. Name each piece once.")
        if item.pk in built:
            raise Refused(f"{item.label} ({item.design.code}) is part of a built tool; take that apart first.")
    return issue_kit(
        kit=kit,
        person=person,
        who=who,
        key=key,
        pieces=pieces,
        only_what_is_there=only_what_is_there,
        besides=built,
        allowed_by=allowed_by,
        note=note,
    )


@transaction.atomic
def bring_back_kit(*, kit: Kit, who: Person, key: str, lines: Sequence[BackLine] | None = None) -> KitActed:
    """Bring home in one act what is left of a kit: everything as it seems to be, or the lines given instead."""
    if lines is None:
        kit = kit_with(number=kit.pk)
        lines = [
            BackLine(
                design=row.left.design,
                quantity=row.left.quantity,
                condition=row.left.condition,
                becomes=row.becomes,
                item=row.left.item,
            )
            for row in back_rows(kit=kit)
            if row.left.quantity
        ]
    _check_edges([line for line in lines if line.item is not None])
    return return_kit(kit=kit, lines=lines, who=who, key=key)


def _check_edges(lines: Sequence[BackLine]) -> None:
    """Nothing is thrown away that still cuts in the books, nothing comes as unused that has cut."""
    edges = edges_of([line.item for line in lines if line.item is not None])
    for line in lines:
        assert line.item is not None  # asked for by its only caller
        own = edges[line.item.pk]
        working = next((one for one in own if one.state == Edge.State.IN_USE), None)
        if line.becomes == Condition.SPENT and working is not None:
            raise EdgeStillInUse(
                f"Edge {working.number} of {line.item.label} is still in use; say why it came off before the tip is "
                "thrown away.",
                field="lines",
            )
        if line.becomes == Condition.NEW and any(one.minutes > 0 for one in own):
            raise Refused(f"{line.item.label} has cut, so it comes back part-used, with its minutes.", field="lines")
