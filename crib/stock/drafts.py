"""A line of the ledger before it is written, and what must hold of it whatever the state of the crib."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.catalogue.models import Design, Job
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed, Refused
from crib.people.models import Person
from crib.stock.errors import ItemNeeded
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.objections import check_may_be_spent

# Nobody carries more through a counter at once; a slip of the finger on a keypad does.
LARGEST_QUANTITY = 100_000
LONGEST_KEY = 120
LONGEST_NOTE = 200
LONGEST_LOT = 40
# Clocks of tablets and machines run a little ahead.
CLOCK_SLACK = timedelta(minutes=5)


@dataclass(frozen=True, kw_only=True)
class MoveDraft:
    """One move to be posted: `becomes` is its condition on arrival, the same as `condition` when left out.

    `carries` are the labelled pieces of a move that names no single item, such as a receipt of three bodies reversed.
    `unless_limited` leaves it undone where a limit says how many may be drawn, which then is looked at first.
    """

    design: Design
    quantity: int
    from_place: Place
    to_place: Place
    key: str
    condition: str = Condition.NEW
    becomes: str | None = None
    why: str = Move.Why.TRANSFER
    item: Item | None = None
    job: Job | None = None
    at: datetime | None = None
    note: str = ""
    lot: str = ""
    who: Person | None = None
    reverses: Move | None = None
    allowed_by: Person | None = None
    document: str = ""
    carries: tuple[Item, ...] = ()
    unless_limited: bool = False

    @property
    def arrives_as(self) -> str:
        return self.condition if self.becomes is None else self.becomes

    @property
    def makes_items(self) -> bool:
        """Whether each piece becomes an item now: the first time it comes from outside."""
        coming_in = self.from_place.may_go_negative and not self.to_place.may_go_negative
        return self.design.kept_as_items and self.item is None and not self.carries and coming_in

    @property
    def labelled_pieces(self) -> tuple[Item, ...]:
        return self.carries if self.item is None else (self.item,)


def check_draft(draft: MoveDraft) -> None:
    """Refuse what no state of the crib could allow."""
    check_quantity(draft.quantity)
    for name, value in (("condition", draft.condition), ("becomes", draft.arrives_as)):
        if value not in Condition.values:
            raise BadInput(name, f"“{str(value)[:20]}” is no condition. Use one of: {', '.join(Condition.values)}.")
    if not draft.key or len(draft.key) > LONGEST_KEY:
        raise BadInput("key", f"Each move needs a key of 1 to {LONGEST_KEY} characters.")
    if len(draft.note) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
    clean_lot(draft.lot)
    if draft.at is not None and draft.at > clock.now() + CLOCK_SLACK:
        raise BadInput("at", "This time lies in the future. Use the time at which it happened.")
    if draft.from_place.pk == draft.to_place.pk and draft.condition == draft.arrives_as:
        raise BadInput("to_place", f"It is at {draft.to_place.code} already. Choose another place.")
    if draft.reverses is None:
        _check_way(draft)
    _check_item(draft)


def clean_lot(lot: str) -> str:
    """A maker's lot as it is kept; whatever else a scanner sends is refused."""
    lot = lot.strip()
    if len(lot) > LONGEST_LOT or not lot.isprintable():
        raise BadInput("lot", f"A lot has at most {LONGEST_LOT} letters and figures. Read it from the maker's box.")
    return lot


def is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def check_quantity(quantity: int) -> None:
    if not is_whole(quantity):
        raise BadInput("quantity", "A quantity is a whole number.")
    if quantity < 1:
        raise BadInput("quantity", "A quantity is 1 or more. To take a move back, reverse it.")
    if quantity > LARGEST_QUANTITY:
        raise BadInput("quantity", f"At most {LARGEST_QUANTITY:,} move at once. Check the number.")


def _check_way(draft: MoveDraft) -> None:
    if draft.to_place.retired_at is not None:
        raise Refused(f"{draft.to_place.code} is retired. Choose another place.", field="to_place")
    if draft.arrives_as == Condition.NEW and draft.condition != Condition.NEW:
        was = Condition(draft.condition).label.lower()
        raise Refused(f"It left as {was}, so it cannot come as new. Choose its real condition.", field="condition")


def _check_item(draft: MoveDraft) -> None:
    item = draft.item
    if item is None:
        if draft.design.kept_as_items and not draft.carries and not draft.from_place.may_go_negative:
            raise ItemNeeded(
                f"{draft.design.code} is kept piece by piece. Scan the label on the piece itself.", field="item"
            )
        return
    if item.design_id != draft.design.pk:
        raise BadInput("item", f"{item.label} is not a {draft.design.code}. Scan the label of the right one.")
    if item.pieces != draft.quantity:
        raise BadInput("quantity", f"{item.label} moves as a whole: {item.pieces}, not {draft.quantity}.")
    if draft.arrives_as == Condition.SPENT != draft.condition:
        check_may_be_spent(item)


def done_before(draft: MoveDraft) -> Move | None:
    """The move that carries this key already; refused when that one says something else."""
    done = Move.objects.filter(key=draft.key).first()
    return None if done is None else same_or_conflict(done, draft)


def same_or_conflict(done: Move, draft: MoveDraft) -> Move:
    if _content(done) != _draft_content(draft):
        raise KeyAlreadyUsed(
            "This key came before with another move in it. Scan again, so that a new key is made.", field="key"
        )
    return done


def _content(move: Move) -> tuple[object, ...]:
    return (
        move.design_id,
        move.quantity,
        move.from_place_id,
        move.to_place_id,
        move.condition,
        move.becomes,
        move.why,
        move.item_id,
        move.job_id,
        move.reverses_id,
    )


def _draft_content(draft: MoveDraft) -> tuple[object, ...]:
    return (
        draft.design.pk,
        draft.quantity,
        draft.from_place.pk,
        draft.to_place.pk,
        str(draft.condition),
        str(draft.arrives_as),
        str(draft.why),
        draft.item.pk if draft.item else None,
        draft.job.pk if draft.job else None,
        draft.reverses.pk if draft.reverses else None,
    )
