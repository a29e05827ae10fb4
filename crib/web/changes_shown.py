"""The changes ahead as pages show them: stops with their words, and what to lay ready."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from django.conf import settings

from crib.catalogue.models import Machine
from crib.core import clock
from crib.life import selectors
from crib.life.words import parts_in_words
from crib.web import formats


@dataclass(frozen=True, slots=True)
class ShownChange:
    """One change as a row: what comes off, after how many parts, and what goes in."""

    pocket: int | None
    tip: str
    edge: str
    work: str
    after: str
    early: str
    do: str


@dataclass(frozen=True, slots=True)
class ShownStop:
    """A stop with its rows and what it saves."""

    stop: selectors.Stop
    rows: list[ShownChange]
    saves: str

    @property
    def due_now(self) -> bool:
        return any(change.due_now for change in self.stop.changes)


@dataclass(frozen=True, slots=True)
class ShownMachine:
    """A machine's two shifts with their stops."""

    ahead: selectors.MachineAhead
    this: list[ShownStop]
    next: list[ShownStop]
    saves: str

    @property
    def shifts(self) -> list[tuple[str, list[ShownStop]]]:
        """Either shift with its hours in words."""
        return list(zip(_shift_words(self.ahead), (self.this, self.next), strict=True))


@dataclass(frozen=True, slots=True)
class MachineLine:
    """What this shift and the next bring on one machine, a line each."""

    machine: Machine
    says: list[str]


def of_machine(machine: Machine) -> ShownMachine:
    """The stops of one machine, also when there are none."""
    [one] = selectors.changes_ahead(machine=machine).machines
    return shown(one)


def shown(ahead: selectors.MachineAhead) -> ShownMachine:
    """Every word of a machine's changes."""
    saves = ""
    if ahead.stops_saved:
        count = ahead.stops_saved
        money = f" and {formats.money(ahead.saved, settings.CURRENCY)}" if ahead.saved >= 0.005 else ""
        saves = (
            f"Sharing stops saves {count} stop{'' if count == 1 else 's'}: "
            f"{formats.minutes(ahead.minutes_saved)}\u00a0min{money}."
        )
    return ShownMachine(
        ahead, [_stop(ahead, stop) for stop in ahead.this], [_stop(ahead, stop) for stop in ahead.next], saves
    )


def _stop(ahead: selectors.MachineAhead, stop: selectors.Stop) -> ShownStop:
    saves = ""
    if stop.stops_saved:
        minutes = formats.minutes(stop.stops_saved * ahead.machine.stop_minutes)
        money = f", {formats.money(stop.saved, settings.CURRENCY)}" if stop.saved >= 0.005 else ""
        saves = f"one stop for {len(stop.changes)}: saves {minutes}\u00a0min{money}"
    return ShownStop(stop, [_change(change) for change in stop.changes], saves)


def _change(change: selectors.Change) -> ShownChange:
    edge, slot = change.edge, change.slot
    return ShownChange(
        pocket=change.pocket,
        tip=slot.design.code,
        edge=f"edge {edge.number}" if not change.repeat else "one that follows",
        work=f"{slot.operation} {slot.operation.name}",
        after="now" if change.due_now else parts_in_words(change.parts),
        early=f"{parts_in_words(change.early)} before its time" if change.early else "",
        do="Turn to the next edge" if change.turn else f"Fetch {change.pieces} {slot.design.code}",
    )


def in_short(needs: Sequence[selectors.TipNeed]) -> str:
    """Turns and tips to fetch in a line."""
    turns = sum(need.turn for need in needs)
    said = [f"{turns} to turn"] if turns else []
    said += [f"{need.fetch} {need.design.code} to fetch" for need in needs if need.fetch]
    return ", ".join(said)


_kept: dict[tuple[str, str], list[MachineLine]] = {}
_kept_lock = Lock()


def machine_lines() -> list[MachineLine]:
    """Every machine that changes something in this shift or the next; worked out once a minute while nothing changes,
    since many screens ask for it every few seconds."""
    asked = (selectors.board_stamp(), f"{clock.now():%Y-%m-%d %H:%M}")
    with _kept_lock:  # whoever asks meanwhile waits for the answer instead of working it out as well
        if asked not in _kept:
            found = [_line(one) for one in selectors.changes_ahead().machines if one.stops]
            _kept.clear()
            _kept[asked] = found
        return _kept[asked]


def _line(ahead: selectors.MachineAhead) -> MachineLine:
    this, after = _shift_words(ahead)
    shifts = ((this, ahead.this, ahead.this_needs), (after, ahead.next, ahead.next_needs))
    return MachineLine(ahead.machine, [_in_a_line(*one) for one in shifts if one[1]])


def _shift_words(ahead: selectors.MachineAhead) -> tuple[str, str]:
    """Both shifts with their hours; a shift that is still to begin is not said to run."""
    runs = ahead.this_shift.starts <= clock.now()
    names = ("This shift", "Next shift") if runs else ("Coming shift", "The shift after")
    this, after = (
        f"{name}, {formats.hours(*shift)}"
        for name, shift in zip(names, (ahead.this_shift, ahead.next_shift), strict=True)
    )
    return this, after


def _in_a_line(words: str, stops: Sequence[selectors.Stop], needs: Sequence[selectors.TipNeed]) -> str:
    count = sum(len(stop.changes) for stop in stops)
    changes = f"{count} change{'' if count == 1 else 's'} in {len(stops)} stop{'' if len(stops) == 1 else 's'}"
    return f"{words}: {changes}; {in_short(needs)}."
