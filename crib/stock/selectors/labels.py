"""Finds what was scanned or typed: a label, or a code, a maker's number, a user name or a serial number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

from django.db.models import QuerySet

from crib.catalogue.models import Design, Job, Machine
from crib.core.errors import BadInput
from crib.people.models import Person
from crib.stock.errors import SeveralFit, UnknownLabel
from crib.stock.labels import BadLabel, looks_like_label, parse_label
from crib.stock.models import Item, Move, Place
from crib.stock.records import Kit

LONGEST_TEXT = 200

Thing: TypeAlias = Item | Design | Person | Place | Job | Machine | Kit


@dataclass(frozen=True)
class Found:
    """What a text stands for; `letter` is the kind letter of its label."""

    letter: str
    thing: Thing
    text: str

    @property
    def says(self) -> str:
        return f"{KINDS[self.letter]} {self.thing}"


KINDS = {"I": "item", "D": "design", "P": "person", "B": "place", "J": "job", "M": "machine", "K": "kit"}


def find_label(*, text: str) -> Found:
    """The thing behind a scanned label or a typed code; the refusal repeats what was read."""
    read = text.strip()
    if not read:
        raise BadInput("text", "Nothing was read. Scan a label, or type a code.")
    if len(read) > LONGEST_TEXT or not read.isprintable():
        raise BadInput("text", f"“{_short(read)}” is no label of this shop. Scan again.")
    if looks_like_label(read):
        return _by_label(read)
    return _by_word(read)


def _by_label(read: str) -> Found:
    try:
        label = parse_label(read)
    except BadLabel as misread:
        raise BadInput("text", f"“{_short(read)}” was read. {misread.sentence}") from misread
    letter = label.kind
    if letter not in _KINDS_BY_LETTER:
        raise UnknownLabel(f"“{_short(read)}” is the label of a built tool; the crib handles its pieces.", field="text")
    thing = _KINDS_BY_LETTER[letter]().filter(pk=label.number).first()
    if thing is None:
        raise UnknownLabel(
            f"“{_short(read)}” is a sound label, but this shop has no {KINDS[letter]} with that number.", field="text"
        )
    return Found(letter, thing, read)


def _by_word(read: str) -> Found:
    for by in (_by_code, _by_number):
        found = by(read)
        if len(found) > 1:
            said = " and ".join(dict.fromkeys(one.says for one in found[:3]))
            raise SeveralFit(
                f"“{_short(read)}” fits more than one thing: {said}. Scan the label instead.", field="text"
            )
        if found:
            return found[0]
    raise UnknownLabel(f"“{_short(read)}” is not known here. Scan it again, or type the code.", field="text")


def _by_code(read: str) -> list[Found]:
    return [
        *_all("D", _designs().filter(code__iexact=read), read),
        *_all("B", _places().filter(code__iexact=read), read),
        *_all("J", _jobs().filter(code__iexact=read), read),
        *_all("M", _machines().filter(code__iexact=read), read),
        *_all("P", _people().filter(username__iexact=read), read),
    ]


def _by_number(read: str) -> list[Found]:
    return [
        *_all("D", _designs().filter(makers_number__iexact=read), read),
        *_all("I", _items().filter(serial__iexact=read), read),
    ]


def _all(letter: str, found: QuerySet[Any], read: str) -> list[Found]:
    return [Found(letter, thing, read) for thing in found[:3]]


def _items() -> QuerySet[Item]:
    return Item.objects.select_related("design", "place", "place__person")


def _designs() -> QuerySet[Design]:
    return Design.objects.all()


def _people() -> QuerySet[Person]:
    return Person.objects.filter(is_counter=False)


def _places() -> QuerySet[Place]:
    return Place.objects.select_related("person")


def _jobs() -> QuerySet[Job]:
    return Job.objects.all()


def _machines() -> QuerySet[Machine]:
    return Machine.objects.all()


def _kits() -> QuerySet[Kit]:
    return Kit.objects.select_related("job", "issued_to")


_KINDS_BY_LETTER: dict[str, Callable[[], QuerySet[Any]]] = {
    "I": _items,
    "D": _designs,
    "P": _people,
    "B": _places,
    "J": _jobs,
    "M": _machines,
    "K": _kits,
}


def _short(read: str) -> str:
    plain = "".join(one if one.isprintable() else "?" for one in read)
    return plain if len(plain) <= 40 else plain[:39] + "…"


def received_for(*, document: str) -> list[Item | Design]:
    """What came in for an order or an import: its pieces where they were put, and the designs of what came loose."""
    moves = Move.objects.filter(document=document, reverses=None, reversed_by=None).select_related("design")
    came = list(moves.order_by("design__code", "pk"))
    kept = {(move.design_id, move.to_place_id, move.at) for move in came if move.design.kept_as_items}
    near = Item.objects.filter(design__in={one[0] for one in kept}, place__in={one[1] for one in kept})
    pieces = [
        item
        for item in near.filter(since__in={one[2] for one in kept}).select_related("design", "place").order_by("pk")
        if (item.design_id, item.place_id, item.since) in kept
    ]
    loose = {move.design_id: move.design for move in came if not move.design.kept_as_items}
    return [*pieces, *loose.values()]
