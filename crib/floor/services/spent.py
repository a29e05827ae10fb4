"""Throwing away a tip of which every edge has come off."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from crib.floor.errors import EdgeStillInUse
from crib.floor.hands import carry
from crib.floor.models import Edge, Fitting
from crib.floor.moments import moment
from crib.floor.services.assemblies import take_out
from crib.people.models import Person
from crib.stock.models import Condition, Item, Move
from crib.stock.services import spent_place


@transaction.atomic
def throw_away(*, item: Item, who: Person, key: str, at: datetime | None = None) -> Item:
    """Carry a used-up tip to the spent place, out of its tool when it still sits in one; once more changes nothing."""
    # Held first and read after: PostgreSQL drops a joined row whose place changed while it was waited for.
    Item.objects.select_for_update(no_key=True).get(pk=item.pk)
    item = Item.objects.select_related("design", "place").get(pk=item.pk)
    left = Edge.objects.filter(item=item, grind=item.regrinds_done).exclude(state=Edge.State.ENDED).order_by("number")
    if (edge := left.first()) is not None:
        raise EdgeStillInUse(
            f"Edge {edge.number} of {item.label} has not come off; say first what became of it, or bring the tip back "
            "part-used.",
            field="item",
        )
    if item.condition != Condition.SPENT and not Edge.objects.filter(item=item).exists():
        raise EdgeStillInUse(f"{item.label} was never in use; nothing of it is used up.", field="item")
    fitting = Fitting.objects.filter(item=item, removed_at=None).select_related("assembly").first()
    if fitting is not None:
        take_out(assembly=fitting.assembly, who=who, key=key, spent=True, at=at)
    else:
        carry(item, spent_place(), who=who, key=key, at=moment(at), why=Move.Why.WORN_OUT, becomes=Condition.SPENT)
    item.refresh_from_db()
    return item
