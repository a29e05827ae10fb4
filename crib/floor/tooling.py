"""What a built tool may bear and how long it comes out: from the designs of its parts, without asking the database."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from crib.catalogue.models import Design, Machine
from crib.core.errors import BadInput
from crib.floor.duty import AT_LIMIT, TURNED, spindle_speed_of
from crib.floor.errors import TooFast
from crib.floor.models import Assembly, Operation
from crib.stock.models import Item

LONGEST_MM = 2_000.0
HIGHEST_TORQUE_NM = 2_000.0
LONGEST_NOTE = 200
# How far the torque applied may lie from the maker's before somebody looks again: common practice, no source.
TORQUE_APART = 0.1
# How far a measured gauge length may lie from what its parts come to: the collet's nut and the clamped length vary.
LENGTH_APART_MM = 5.0


@dataclass(frozen=True, slots=True)
class SpeedLimit:
    """How fast it may turn at most, in 1/min, and what says so."""

    speed: float
    owner: str


def speed_limit(parts: Iterable[Design], machine: Machine | None = None) -> SpeedLimit | None:
    """The least of what the parts and the machine may turn at; None where none of them says."""
    limits = [SpeedLimit(part.max_spindle_speed, part.code) for part in parts if part.max_spindle_speed]
    if machine is not None and machine.max_spindle_speed:
        limits.append(SpeedLimit(machine.max_spindle_speed, machine.code))
    return min(limits, key=lambda limit: limit.speed, default=None)


def turns_at(operation: Operation, machine: Machine, item: Item | None = None) -> float | None:
    """What the spindle turns for an operation, in 1/min: no machine turns faster than it can. None where work turns.

    An `item` that was reground is turned by its own diameter.
    """
    asked = None if operation.kind_of_cut in TURNED else spindle_speed_of(operation, item)
    if asked is None or not machine.max_spindle_speed:
        return asked
    return min(asked, machine.max_spindle_speed)


def said_too_fast(operation: Operation, machine: Machine, parts: Iterable[Design], item: Item | None = None) -> str:
    """The sentence when a part may not turn as fast as the work asks; empty when all may."""
    speed, limit = turns_at(operation, machine, item), speed_limit(parts)
    if speed is None or limit is None or speed <= limit.speed * AT_LIMIT:
        return ""
    return f"{operation} turns {speed:.0f} 1/min, but {limit.owner} may turn {limit.speed:.0f} 1/min at most."


def check_speed(
    operations: Iterable[Operation],
    machine: Machine,
    parts: Iterable[Design],
    *,
    field: str,
    item: Item | None = None,
) -> None:
    """Refuse a tool of which some part is too slow for all that it may be asked to do here.

    When only some of the operations are too fast it may go in: the pocket then shows the caution.
    """
    parts = list(parts)
    known = {one: speed for one in operations if (speed := turns_at(one, machine, item)) is not None}
    if not known:
        return
    slowest = min(known, key=lambda one: known[one])
    if said := said_too_fast(slowest, machine, parts, item):
        raise TooFast(f"{said} Build it with a faster part, or lower the operation's surface speed.", field=field)


# --- clamping -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Torque:
    """The maker's torque of one screw or nut, in N·m: whose it is, and what it holds."""

    owner: str
    holds: str
    newton_metres: float


def torques_of(*, holder: Design, body: Design | None, tip: Design | None = None) -> list[Torque]:
    """What is to be tightened and how far, where a maker's torque is known."""
    chain = [one for one in (holder, body) if one is not None]
    held = [*chain[1:], tip]
    return [
        Torque(carrier.code, carried.code if carried else "the tip" if carrier is body else "the tool", torque)
        for carrier, carried in zip(chain, held, strict=True)
        if (torque := carrier.clamp_torque_nm)
    ]


def said_torque(assembly: Assembly) -> str:
    """A caution when what was applied is far from the maker's torque of the holder."""
    maker, applied = assembly.holder.design.clamp_torque_nm, assembly.tightened_nm
    if not maker or applied is None or abs(applied - maker) <= TORQUE_APART * maker:
        return ""
    way = "less" if applied < maker else "more"
    return (
        f"It was tightened to {applied:g} N·m, {way} than the {maker:g} N·m that the maker of "
        f"{assembly.holder.design.code} asks for. Check it before it turns."
    )


# --- lengths ------------------------------------------------------------------------------------------


def likely_gauge_length(*, holder: Design, stick_out_mm: float | None, body: Design | None = None) -> float | None:
    """What the gauge length comes to in mm: the holder's own length and what stands out of it.

    Before anything is measured the whole body counts, which is more than will stand out of a holder with a bore.
    """
    out = stick_out_mm or (body.length_mm if body else None)
    return holder.length_mm + out if holder.length_mm and out else None


def said_lengths(assembly: Assembly) -> str:
    """A caution when gauge length and stick-out do not go together with the holder's own length."""
    likely = likely_gauge_length(holder=assembly.holder.design, stick_out_mm=assembly.stick_out_mm)
    measured = assembly.gauge_length_mm
    if likely is None or measured is None or assembly.stick_out_mm is None:
        return ""
    if abs(measured - likely) <= LENGTH_APART_MM:
        return ""
    return (
        f"{assembly.holder.design.code} is {assembly.holder.design.length_mm:g} mm long and the tool stands out "
        f"{assembly.stick_out_mm:g} mm, which comes to {likely:g} mm; measured were {measured:g} mm. Measure it again."
    )


def check_written(
    *,
    holder: Design,
    gauge_length_mm: float | None,
    stick_out_mm: float | None,
    tightened_nm: float | None,
    note: str,
) -> None:
    """Refuse what cannot have been measured on a tool in this holder."""
    for field, says, value in (
        ("gauge_length_mm", "gauge length", gauge_length_mm),
        ("stick_out_mm", "stick-out", stick_out_mm),
    ):
        if value is not None and not (math.isfinite(value) and 0 < value <= LONGEST_MM):
            raise BadInput(
                field, f"The {says} lies above 0 and up to {LONGEST_MM:g} mm; leave it empty if it was not measured."
            )
    if gauge_length_mm is not None and stick_out_mm is not None and stick_out_mm > gauge_length_mm:
        raise BadInput("stick_out_mm", "The stick-out cannot be longer than the gauge length, which it is part of.")
    own = holder.length_mm
    if gauge_length_mm is not None and own and gauge_length_mm < own:
        raise BadInput(
            "gauge_length_mm",
            f"{holder.code} alone is {own:g} mm long, so no tool in it has a gauge length of {gauge_length_mm:g} mm. "
            "Measure it from the gauge line to the cutting point.",
        )
    if tightened_nm is not None and not (math.isfinite(tightened_nm) and 0 < tightened_nm <= HIGHEST_TORQUE_NM):
        raise BadInput(
            "tightened_nm",
            f"A torque lies above 0 and up to {HIGHEST_TORQUE_NM:g} N·m; leave it empty if no torque wrench was used.",
        )
    if len(note) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
