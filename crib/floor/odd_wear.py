"""Wear lands that cannot well be: what is odd about a reading, so that somebody looks twice before it counts."""

from __future__ import annotations

import math
from collections.abc import Iterable

from calc.life.wear_forecast import GAUGE_SD
from crib.catalogue.models import Design
from crib.floor.errors import OddReading
from crib.floor.models import Inspection
from crib.floor.run_checks import said_minutes

# Beyond it a wear land is hardly any edge's; ten times the usual criterion.
WIDEST_MM = 3.0
# Two readings of one land differ by more than this many standard deviations once in some hundred times.
SURE = 3.0
# A land that grows so many times as fast as it did before has chipped, or was misread.
TIMES_AS_FAST = 10.0
ASSUMED_GAUGE_MM = GAUGE_SD
WAY_OUT = "Look twice, at the number, its unit and the edge; if it is right, say that you looked twice."


def question(
    *, design: Design, wear_land_mm: float, at_minutes: float, before: Iterable[Inspection], gauge_mm: float
) -> None:
    """Refuse a reading that is odd beside the tip or beside the edge's other readings, with what is odd about it."""
    half = design.diameter_mm / 2 if design.diameter_mm else math.inf
    if wear_land_mm > min(half, WIDEST_MM):
        beside = f"half of the tip's diameter is {half:g} mm" if half < WIDEST_MM else "0.3 mm is common"
        raise OddReading("wear_land_mm", f"A wear land of {wear_land_mm:g} mm is odd: {beside}. {WAY_OUT}")
    looks = sorted(before, key=lambda one: one.at_minutes)
    earlier = [one for one in looks if one.at_minutes <= at_minutes]
    later = [one for one in looks if one.at_minutes > at_minutes]
    new = (at_minutes, wear_land_mm)
    for one in earlier:
        _compare((one.at_minutes, one.wear_land_mm), new, new, gauge_mm)
    for one in later:
        _compare(new, (one.at_minutes, one.wear_land_mm), new, gauge_mm)


def _compare(
    first: tuple[float, float], second: tuple[float, float], new: tuple[float, float], gauge_mm: float
) -> None:
    """A land never falls, and does not begin to grow ten times as fast."""
    error = SURE * math.sqrt(2) * gauge_mm
    (was_at, was), (is_at, now) = first, second
    other_at, other = first if new == second else second
    beside = f"at {said_minutes(other_at)} minutes it was {other:.2f} mm"
    if now < was - error:
        raise OddReading(
            "wear_land_mm",
            f"{new[1]:.2f} mm at {said_minutes(new[0])} minutes is odd: {beside}, and wear never falls. {WAY_OUT}",
        )
    if was_at > 0 and now - was > error + TIMES_AS_FAST * (was + error) / was_at * (is_at - was_at):
        raise OddReading(
            "wear_land_mm",
            f"{new[1]:.2f} mm at {said_minutes(new[0])} minutes is odd: {beside}, and no edge wears so fast. {WAY_OUT}",
        )
