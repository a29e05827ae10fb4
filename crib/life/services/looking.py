"""A look at the wear of an edge, questioned by what the shop's own gauges are known to miss."""

from __future__ import annotations

from datetime import datetime

from crib.floor import services as floor
from crib.floor.models import Edge, Inspection
from crib.life.laws import key_at
from crib.life.selectors.groups import models_by_key
from crib.life.wear import gauge_of
from crib.people.models import Person


def look_at_edge(
    *,
    edge: Edge,
    wear_land_mm: float,
    who: Person,
    at_minutes: float | None = None,
    note: str = "",
    at: datetime | None = None,
    looked_twice: bool = False,
) -> Inspection:
    """Write down the wear land seen; an odd one is refused until somebody has looked twice."""
    return floor.record_inspection(
        edge=edge,
        wear_land_mm=wear_land_mm,
        who=who,
        at_minutes=at_minutes,
        note=note,
        at=at,
        looked_twice=looked_twice,
        gauge_mm=_gauge_of(edge),
    )


def _gauge_of(edge: Edge) -> float:
    """How far a reading is off here, learnt or assumed."""
    operation = edge.operation
    if operation is None:
        return gauge_of({})
    key = key_at(operation, edge)
    model = models_by_key([key]).get(key)
    return gauge_of(model.wear if model else {})
