"""What a shop without a model would go by: the mean of the lives it has seen, the last one, and its fixed count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Avg, F, Q, Window
from django.db.models.functions import RowNumber

from crib.floor.models import Edge, Operation
from crib.life.laws import Key
from crib.life.selectors.due import REAL_ENDS

GROUP = ("item__design_id", "operation__material_id", "operation__kind_of_cut", "reground")


@dataclass(frozen=True, slots=True)
class NaiveLife:
    """Minutes as cut of a group's edges that ended: their mean, and the last one's."""

    mean: float
    last: float


@dataclass(frozen=True, slots=True)
class Rivals:
    """Minutes left by each naive rival; none where it has nothing to say."""

    fixed_count: float | None
    mean_life: float | None
    last_life: float | None


def naive_lives(*, keys: Iterable[Key], until: datetime | None = None) -> dict[Key, NaiveLife]:
    """What the edges of these groups lasted that had ended, `until` then; one query.

    Edges taken off early are ignored, as whoever keeps no record of them does; ends that were not the tip's fault too.
    """
    wanted = set(keys)
    ended = Edge.objects.filter(
        state=Edge.State.ENDED, outcome__in=REAL_ENDS, excuse="", minutes__gt=0,
        item__design__in={key.design for key in wanted},
    )  # fmt: skip
    if until is not None:
        ended = ended.filter(ended_at__lt=until)
    group = [F(name) for name in GROUP]
    newest = (
        ended.annotate(reground=Q(grind__gt=0))
        .annotate(
            mean=Window(Avg("minutes"), partition_by=group),
            place=Window(RowNumber(), partition_by=group, order_by=[F("ended_at").desc(), F("pk").desc()]),
        )
        .filter(place=1)
    )
    found = {Key(*row[:4]): NaiveLife(*row[4:]) for row in newest.values_list(*GROUP, "mean", "minutes").order_by()}
    return {key: life for key, life in found.items() if key in wanted}


def rivals_of(operation: Operation, used: float, life: NaiveLife | None) -> Rivals:
    """What the rivals say is left of an edge that has cut so many minutes; no queries."""
    count, each = operation.fixed_count, operation.minutes_per_part
    return Rivals(
        fixed_count=max(count * each - used, 0.0) if count and each else None,
        mean_life=max(life.mean - used, 0.0) if life else None,
        last_life=max(life.last - used, 0.0) if life else None,
    )
