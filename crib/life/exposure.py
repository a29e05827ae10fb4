"""What an edge, or a band of its flute, has been through: minutes cut, turned into minutes at one duty."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calc.life.flute_wear import profile, worst_within
from crib.floor.flute import band_of
from crib.floor.models import EdgeMinutes, Operation
from crib.life.laws import Law, duty_of
from crib.life.models import LifeModel

# Beyond e^50 a duty means nothing any more, and its exponential overflows soon.
MOST_LOG = 50.0
# Beyond these nothing is meant any more, and they still fit the columns.
LONGEST_MINUTES = 1e7


def at_duty_of(operation: Operation, rows: Sequence[EdgeMinutes], law: Law) -> list[float]:
    """The minutes of each row as minutes at the operation's duty, by the law."""
    now = law.log_scale(duty_of(operation))
    return [row.minutes * math.exp(min(now - _log_scale_then(row.operation, operation, law), MOST_LOG)) for row in rows]


def _log_scale_then(then: Operation, now: Operation, law: Law) -> float:
    """Of an earlier stretch; work in another metal counts as at the reference, as in the refit."""
    same = then.material_id == now.material_id and then.kind_of_cut == now.kind_of_cut
    return law.log_scale(duty_of(then)) if same else float(law.mean[0])


def exposure(
    rows: Sequence[EdgeMinutes], amounts: Sequence[float], band: tuple[float, float] | None, *, edge: int | None
) -> float:
    """What counts for an edge that works in a band: the most that any height of it has done, by whichever edge.

    Minutes of this edge whose band is not known count at every height. Without a band all its own minutes count, and
    nobody else's.
    """
    pairs = list(zip(rows, amounts, strict=True))
    own = [(row, amount) for row, amount in pairs if row.edge_id == edge]
    if band is None:
        return sum(amount for _, amount in own)
    everywhere = sum(amount for row, amount in own if not row.contact_high)
    known = [(row.contact_low, row.contact_high, amount) for row, amount in pairs if row.contact_high]
    if not known:
        return everywhere
    lows, highs, done = zip(*known, strict=True)
    return everywhere + float(worst_within(profile(lows, highs, done), *band))


def used_and_counted(
    edge: int, operation: Operation, law: Law, rows: Sequence[EdgeMinutes], model: LifeModel | None
) -> tuple[float, float]:
    """Minutes that count so far, turned into minutes at the present duty; and those that the fit had seen already."""
    band = band_of(operation)
    used = exposure(rows, at_duty_of(operation, rows, law), band, edge=edge)
    counted = seen_by_fit(edge, operation, law, model) if model else 0.0
    if band is not None:
        # The fit may have seen the edge in another band, which says nothing against this one.
        counted = min(counted, used)
    return min(used, LONGEST_MINUTES), min(counted, LONGEST_MINUTES)


def seen_by_fit(edge: int, operation: Operation, law: Law, model: LifeModel) -> float:
    """Minutes at the present duty that the fit had seen of an edge when it was in use."""
    now = min(law.log_scale(duty_of(operation)), MOST_LOG)
    return float(model.parameters["seen"].get(str(edge), 0.0)) * math.exp(now)
