"""Tools that come back from a regrind shop: ground anew, repaired, rejected, or as they went."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import partial

from django.db import models, transaction
from django.db.models import F

from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.core.wake import wake
from crib.floor.errors import NotOut
from crib.floor.grinds import begin_edges, edges_now
from crib.floor.models import Edge
from crib.floor.moments import moment
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors as stock
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.records import Dispatch, DispatchLine
from crib.stock.services import reverse, spent_place, transfer

LONGEST_NOTE = 160
MOST_COST = Decimal("1000000")
# A regrind takes tenths of a millimetre; below half the diameter the number is a slip. Assumed.
SMALLEST_SHARE = 0.5
HAIR = 1e-6
AS_IT_WENT = "came back as it went"


class BackAs(models.TextChoices):
    """How a tool comes back."""

    BACK = "back", "Ground or repaired"
    REJECTED = "rejected", "Rejected"
    AS_IT_WENT = "as_it_went", "As it went: take the sending back"


@dataclass(frozen=True, slots=True)
class Ground:
    """What a tool measures after the regrind, in mm; None where it was not measured, which leaves it as it was."""

    diameter_mm: float | None = None
    length_mm: float | None = None


def take_in_as(
    *,
    result: str,
    item: Item,
    who: Person,
    key: str,
    to_place: Place | None = None,
    cost: Decimal | None = None,
    diameter_mm: float | None = None,
    length_mm: float | None = None,
    note: str = "",
) -> DispatchLine:
    """Take a tool in by its result; what belongs to another result is refused and never left out in silence."""
    if result == BackAs.BACK:
        return take_in(
            item=item, who=who, key=key, to_place=to_place, cost=cost, diameter_mm=diameter_mm, length_mm=length_mm,
            note=note,
        )  # fmt: skip
    for field, value in (("diameter_mm", diameter_mm), ("length_mm", length_mm), ("to_place", to_place)):
        if value is not None:
            raise BadInput(field, "Only what was ground or repaired has a bin and measures. Leave this empty.")
    if result == BackAs.REJECTED:
        return reject(item=item, reason=note, cost=cost, who=who, key=key)
    if cost:
        raise BadInput("cost", "What came back as it went cost nothing. Leave this empty.")
    return take_back_unsent(item=item, who=who, key=key, note=note)


@transaction.atomic
def take_in(
    *,
    item: Item,
    who: Person,
    key: str,
    to_place: Place | None = None,
    cost: Decimal | None = None,
    diameter_mm: float | None = None,
    length_mm: float | None = None,
    note: str = "",
    at: datetime | None = None,
) -> DispatchLine:
    """Take a tool in again. After a regrind it has new edges and counts one regrind more; a repair leaves both."""
    item = _held(item)
    if (done := _done_before(item, key, Move.Why.REGRIND_BACK)) is not None:
        return done
    line = _open_line(item)
    work = line.dispatch.work
    place = to_place or stock.home_for(item.design)
    if place is None or place.kind not in Place.ON_HAND:
        raise BadInput("to_place", f"Say in which bin of the crib {item.label} is put.")
    ground = Ground(diameter_mm, length_mm)
    if work == Dispatch.Work.REGRIND:
        _check_ground(item, ground)
    elif diameter_mm is not None or length_mm is not None:
        raise BadInput("diameter_mm", "A repair changes no geometry. If it was ground, send it for a regrind instead.")
    back_at = moment(at, after=line.dispatch.sent_at, what="it was sent out")
    _close(line, DispatchLine.State.BACK, back_at, _checked_cost(cost, item, work), note, ground)
    becomes = item.condition
    if work == Dispatch.Work.REGRIND:
        becomes = Condition.REGROUND
        _begin_grind(item, line, who, ground)
    _bring(item, line, place, becomes, Move.Why.REGRIND_BACK, who, key, note, back_at)
    record_change(who=who, what="item", which=item.label, act=f"back from {work}", details={"cost": line.cost})
    transaction.on_commit(partial(wake, "forecasts"))
    return line


@transaction.atomic
def reject(
    *, item: Item, reason: str, who: Person, key: str, cost: Decimal | None = None, at: datetime | None = None
) -> DispatchLine:
    """Take in a tool that cannot be ground or repaired: it goes to the worn carbide, and what it cost still counts."""
    item = _held(item)
    if (done := _done_before(item, key, Move.Why.WORN_OUT)) is not None:
        return done
    line = _open_line(item)
    if not reason.strip():
        raise BadInput("note", "Say why it was rejected, so that the next one is sent earlier or not at all.")
    back_at = moment(at, after=line.dispatch.sent_at, what="it was sent out")
    _close(line, DispatchLine.State.REJECTED, back_at, _whole_cost(cost or Decimal(0)), reason, Ground())
    _end_edges(item, line, who, "Rejected by the regrind shop.")
    _bring(item, line, spent_place(), Condition.SPENT, Move.Why.WORN_OUT, who, key, reason, back_at)
    record_change(who=who, what="item", which=item.label, act="rejected", details={"reason": reason, "cost": line.cost})
    transaction.on_commit(partial(wake, "forecasts"))
    return line


@transaction.atomic
def take_back_unsent(*, item: Item, who: Person, key: str, note: str = "") -> DispatchLine:
    """Undo a sending: the tool is where it was, in the condition it had; nothing was ground and nothing paid."""
    item = _held(item)
    if (done := _done_before(item, key, Move.Why.REVERSE)) is not None:
        return done
    line = _open_line(item)
    document = line.dispatch.document
    sent = Move.objects.filter(item=item, document=document, why=Move.Why.REGRIND, reversed_by=None).latest("pk")
    why = f"{AS_IT_WENT}: {note.strip()}" if note.strip() else AS_IT_WENT
    _close(line, DispatchLine.State.BACK, moment(None), None, why, Ground())
    reverse(move=sent, who=who, key=key, note=line.note, document=document)
    return line


def _held(item: Item) -> Item:
    # Held first and read after: PostgreSQL drops a joined row whose place changed while it was waited for.
    Item.objects.select_for_update().get(pk=item.pk)
    return Item.objects.select_related("design", "place").get(pk=item.pk)


def _done_before(item: Item, key: str, why: str) -> DispatchLine | None:
    """What this key did before; refused when that was something else."""
    if not key:
        raise BadInput("key", "Taking in needs a key, so that the same scan sent twice counts once.")
    done = Move.objects.filter(key=key).first()
    if done is None:
        return None
    if (done.item_id, done.why) != (item.pk, why):
        raise KeyAlreadyUsed("This key came before with another move in it. Send a new key for new work.", field="key")
    number = done.document.rpartition(" ")[2]
    return DispatchLine.objects.select_related("dispatch__shop", "item").get(item=item, dispatch=int(number))


def _open_line(item: Item) -> DispatchLine:
    rows = DispatchLine.objects.select_for_update(of=("self",)).select_related("dispatch__shop")
    line = rows.filter(item=item, state=DispatchLine.State.OUT).first()
    if line is None:
        raise NotOut(f"{item.label} is not out: it is at {item.place.name}. Send it first.", field="item")
    line.item = item
    return line


def _check_ground(item: Item, ground: Ground) -> None:
    """Grinding only ever takes away; what is left must still be a tool of its design."""
    design = item.design
    for field, symbol, says, before in (
        ("diameter_mm", "DC", "cutting diameter", item.diameter_mm or design.diameter_mm),
        ("length_mm", "LF", "functional length", item.length_mm or design.length_mm),
    ):
        value = getattr(ground, field)
        if value is None:
            continue
        if not math.isfinite(value) or value <= 0:
            raise BadInput(field, f"The {says} {symbol} is above 0 mm; leave it empty if it did not change.")
        if before is not None and value > before + HAIR:
            raise BadInput(
                field,
                f"The {says} {symbol} was {before:g} mm, and grinding makes nothing larger. Measure again; "
                f"{value:g} mm cannot be.",
            )
        if before is not None and value < before * SMALLEST_SHARE:
            raise BadInput(
                field, f"{value:g} mm is less than half of the {says} before, {before:g} mm. Check the number and unit."
            )
    _check_still_that_tool(item, ground)


def _check_still_that_tool(item: Item, ground: Ground) -> None:
    design = item.design
    if ground.diameter_mm is not None and design.tip_flat_mm and ground.diameter_mm <= design.tip_flat_mm:
        raise BadInput(
            "diameter_mm", f"The cutting diameter DC must stay above the tip flat of {design.tip_flat_mm:g} mm."
        )
    if ground.length_mm is not None and design.max_depth_mm and ground.length_mm < design.max_depth_mm:
        raise BadInput(
            "length_mm",
            f"{ground.length_mm:g} mm is shorter than its largest depth of cut, APMX {design.max_depth_mm:g} mm, so it "
            f"is no {design.code} any more. Reject it, or measure again.",
        )


def _checked_cost(cost: Decimal | None, item: Item, work: str) -> Decimal:
    """What was paid; for a regrind that says nothing, what the design's regrinds cost."""
    if cost is None:
        cost = item.design.regrind_cost if work == Dispatch.Work.REGRIND else Decimal(0)
    return _whole_cost(cost)


def _whole_cost(cost: Decimal) -> Decimal:
    if not cost.is_finite() or cost < 0 or cost > MOST_COST:
        raise BadInput("cost", "A cost is 0 or more. Give it for this one tool.")
    return cost.quantize(Decimal("0.01"))


def _close(line: DispatchLine, state: str, at: datetime, cost: Decimal | None, note: str, ground: Ground) -> None:
    if len(note.strip()) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
    line.state, line.ended_at, line.cost, line.note = state, at, cost, note.strip()
    line.diameter_mm, line.length_mm = ground.diameter_mm, ground.length_mm
    line.save(update_fields=["state", "ended_at", "cost", "note", "diameter_mm", "length_mm"])


def _begin_grind(item: Item, line: DispatchLine, who: Person, ground: Ground) -> None:
    _end_edges(item, line, who, "Reground before its end.")
    item.regrinds_done = item.regrinds_done + 1
    item.diameter_mm = ground.diameter_mm or item.diameter_mm
    item.length_mm = ground.length_mm or item.length_mm
    item.save(update_fields=["regrinds_done", "diameter_mm", "length_mm"])
    begin_edges(item)


def _end_edges(item: Item, line: DispatchLine, who: Person, note: str) -> None:
    """The edges so far are gone: one at work lasted at least until it was sent, one that never worked says nothing."""
    left = edges_now(item).exclude(state=Edge.State.ENDED)
    ended = {
        "state": Edge.State.ENDED, "outcome": Edge.Outcome.TAKEN_OFF_EARLY, "ended_at": line.dispatch.sent_at,
        "ended_by": who, "end_note": note, "revision": F("revision") + 1,
    }  # fmt: skip
    left.update(**ended)


def _bring(
    item: Item, line: DispatchLine, to_place: Place, becomes: str, why: str, who: Person, key: str, note: str,
    at: datetime,
) -> None:  # fmt: skip
    transfer(
        design=item.design, quantity=item.pieces, from_place=item.place, to_place=to_place, who=who, key=key,
        condition=item.condition, becomes=becomes, item=item, why=why, note=note.strip(),
        document=line.dispatch.document, at=at,
    )  # fmt: skip
