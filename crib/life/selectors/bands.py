"""How worn each band of an item's flute is, whichever edges cut there."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calc.errors import WorkingError
from calc.life.predictive import remaining
from crib.floor.models import Edge, EdgeMinutes, Operation
from crib.life.changing import change_points
from crib.life.exposure import at_duty_of, exposure
from crib.life.laws import Law, beliefs, duty_of
from crib.life.selectors.believed import laws_at
from crib.stock.models import Item


@dataclass(frozen=True, slots=True)
class WornBand:
    """A band of the flute that has cut, in mm above the tip flat.

    `share` is the life used there: what its most worn height has done over what it may do until the change. It is
    None where that cannot be worked out. `in_use` is true of the bands that the edge in use works in now.
    """

    low: float
    high: float
    minutes: float
    parts: int
    share: float | None
    in_use: bool = False


def worn_bands(item: Item) -> list[WornBand]:
    """The bands of an item's flute that have cut since it was last ground, from the tip upward; a fixed number of
    queries."""
    rows = list(
        EdgeMinutes.objects.filter(edge__item=item, edge__grind=item.regrinds_done, minutes__gt=0)
        .select_related("operation__machine", "operation__tip", "operation__body", "operation__material")
        .order_by("last_ended_at", "pk")
    )
    bands: dict[tuple[float, float], list[EdgeMinutes]] = defaultdict(list)
    for row in rows:
        if row.contact_high:
            bands[row.contact_low, row.contact_high].append(row)
    in_use = Edge.objects.filter(item=item, state=Edge.State.IN_USE).select_related("operation").first()
    # What was cut there last says at which duty the wear is judged.
    shares = _shares(item, rows, {band: there[-1].operation for band, there in bands.items()}, in_use)
    works = in_use.operation if in_use else None
    return [
        WornBand(
            low=band[0],
            high=band[1],
            minutes=sum(row.minutes for row in bands[band]),
            parts=sum(row.parts for row in bands[band]),
            share=shares[band],
            in_use=works is not None and band == (works.contact_low, works.contact_high),
        )
        for band in sorted(bands)
    ]


def _shares(
    item: Item, rows: Sequence[EdgeMinutes], last: dict[tuple[float, float], Operation], in_use: Edge | None
) -> dict[tuple[float, float], float | None]:
    """Life used in each band, all in one array call, as the forecast of an edge that works there says it."""
    if not last:
        return {}
    pairs = list(zip(last.values(), _laws(item, list(last.values())), strict=True))
    edge = in_use.pk if in_use else None
    try:
        used = [
            exposure(rows, at_duty_of(operation, rows, law), band, edge=edge)
            for band, (operation, law) in zip(last, pairs, strict=True)
        ]
        ages = change_points(pairs).minutes
        left = remaining(np.array(used), beliefs([law for _, law in pairs], [duty_of(one) for one, _ in pairs]))
    except (WorkingError, ArithmeticError):
        return dict.fromkeys(last)
    return {
        band: _share(operation, one, float(age), float(half))
        for band, (operation, _), one, age, half in zip(last, pairs, used, ages, left[:, 1], strict=True)
    }


def _share(operation: Operation, used: float, age: float, left: float) -> float:
    """Of the age at which a fresh edge would be changed; run to the end, of what half the edges reach."""
    whole = max(age, operation.minutes_per_part or 0.0)
    return used / max(whole if math.isfinite(whole) else used + left, 1e-9)


def _laws(item: Item, operations: Sequence[Operation]) -> list[Law]:
    """What is believed at each operation: learnt, or the starting value where nothing was."""
    return [law for law, _ in laws_at([(item.design, item.regrinds_done > 0, one) for one in operations])]
