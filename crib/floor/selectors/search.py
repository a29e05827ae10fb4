"""One search over everything that has a name, a number or a label in the shop: a fixed number of queries.

What is in the tens of thousands is ranked by the database, what is a short list here. An exact code or label comes
first, then what begins so, then words in any order; what is retired stands behind what is in use.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet

from calc.workings import all_workings
from crib.catalogue.finding import BEGINS, EXACT, EXACT_NUMBER, Asked, likely, rank_here, ranked
from crib.catalogue.models import Design, Job, Machine, Supplier, WorkMaterial
from crib.core.columns import SqueezedText
from crib.floor.models import Assembly
from crib.floor.selectors.labelled import labels_in
from crib.people.models import Person
from crib.stock.labels import make_label
from crib.stock.models import Item, Place

MOST_OF_A_KIND = 25
MOST_SUGGESTED = 8
# The last sign there is, so that “from here to here with it behind” is all that begins alike.
_LAST = "\U0010ffff"
# The two databases put what is empty at different ends.
_RETIRED_LAST = F("retired_at").asc(nulls_first=True)

KINDS = {
    "design": "Design",
    "item": "Piece",
    "person": "Person",
    "job": "Job",
    "place": "Place",
    "machine": "Machine",
    "assembly": "Built tool",
    "supplier": "Supplier",
    "material": "Material",
    "working": "Working",
}


@dataclass(frozen=True)
class Hit:
    """One thing that was found; `number` is its own among its kind, `name` what it goes by."""

    kind: str
    number: int
    name: str
    more: str
    rank: int
    retired: bool = False
    label: str = ""

    @property
    def word(self) -> str:
        return KINDS[self.kind]

    @property
    def exact(self) -> bool:
        """Whether this is what was typed in full, and no more."""
        return self.rank <= EXACT_NUMBER


@dataclass(frozen=True)
class SearchAnswer:
    """What was found for a text, best first; `said` tells of a label that was misread."""

    text: str
    hits: tuple[Hit, ...]
    said: str = ""

    def by_kind(self) -> list[tuple[str, list[Hit]]]:
        """The kinds in the order of their best hit."""
        groups: dict[str, list[Hit]] = {}
        for hit in self.hits:
            groups.setdefault(hit.word, []).append(hit)
        return list(groups.items())


def search_shop(*, text: str, most: int = MOST_OF_A_KIND) -> SearchAnswer:
    """Everything that goes by this text: at most so many of each kind."""
    asked = Asked.of(text)
    if not asked.asks:
        return SearchAnswer(asked.text, ())
    labels, said = labels_in(asked.text)
    if said:
        return SearchAnswer(asked.text, (), said)
    found = [
        *_labelled(labels),
        *_designs(asked, most),
        *_items(asked, most),
        *_people(asked, most),
        *_jobs(asked, most),
        *_places(asked, most),
        *_machines(asked, most),
        *_assemblies(asked, most),
        *_suppliers(asked, most),
        *_materials(asked, most),
        *_workings(asked, most),
    ]
    found.sort(key=lambda hit: (hit.rank, hit.retired))
    once = {(hit.kind, hit.number): hit for hit in reversed(found)}
    return SearchAnswer(asked.text, tuple(hit for hit in found if once[hit.kind, hit.number] is hit))


def suggest(*, text: str) -> SearchAnswer:
    """The best few, for the list under the box."""
    answer = search_shop(text=text, most=MOST_SUGGESTED)
    return SearchAnswer(answer.text, answer.hits[:MOST_SUGGESTED], answer.said)


def _labelled(labels: Iterable[tuple[str, int]]) -> list[Hit]:
    found = []
    for letter, number in labels:
        things, says = _BY_LETTER[letter]
        thing = things().filter(pk=number).first()
        if thing is not None:
            found.append(says(thing, EXACT))
    return found


def _best(things: QuerySet[Any], most: int, *order: Any) -> list[Any]:
    return list(things.order_by("rank", *order)[:most])


def _designs(asked: Asked, most: int) -> list[Hit]:
    found = ranked(Design.objects.defer("search_text"), asked)
    return [_design(one, one.rank) for one in _best(found, most, _RETIRED_LAST, "code")]


def _items(asked: Asked, most: int) -> list[Hit]:
    """Pieces by what their maker wrote on them: a serial number or a lot, whole or from its beginning."""
    hits = []
    for name in ("serial", "lot"):
        found = _all_items().alias(looked=SqueezedText(F(name)))
        found = found.filter(looked__gte=asked.code, looked__lt=asked.code + _LAST).order_by("looked", "pk")
        for item in found[:most]:
            hits.append(_item(item, EXACT if _same(getattr(item, name), asked) else BEGINS))
    return hits[:most]


def _same(written: str, asked: Asked) -> bool:
    return Asked.of(written).code == asked.code


def _people(asked: Asked, most: int) -> list[Hit]:
    hits = []
    for one in Person.objects.filter(is_counter=False).order_by("username"):
        rank = rank_here(asked, code=one.username, said=[one.first_name, one.last_name])
        if rank is not None:
            hits.append(_person(one, rank))
    return _first(hits, most)


def _jobs(asked: Asked, most: int) -> list[Hit]:
    every = [
        (one, rank_here(asked, code=one.code, said=[one.part]))
        for one in likely(Job.objects.all(), asked, code="code", said="part")
    ]
    return _first([_job(one, rank) for one, rank in every if rank is not None], most)


def _places(asked: Asked, most: int) -> list[Hit]:
    """The crib's own places; people, machines and suppliers are found as themselves."""
    own = _all_places().filter(kind__in=(*Place.ON_HAND, Place.Kind.REGRIND))
    every = [
        (one, rank_here(asked, code=one.code, said=[one.name])) for one in likely(own, asked, code="code", said="name")
    ]
    return _first([_place(one, rank) for one, rank in every if rank is not None], most)


def _machines(asked: Asked, most: int) -> list[Hit]:
    every = [(one, rank_here(asked, code=one.code, said=[one.name])) for one in Machine.objects.order_by("code")]
    return _first([_machine(one, rank) for one, rank in every if rank is not None], most)


def _assemblies(asked: Asked, most: int) -> list[Hit]:
    standing = _all_assemblies().filter(taken_apart_at=None)
    every = [
        (one, rank_here(asked, code=one.name, said=[one.holder.design.code]))
        for one in likely(standing, asked, code="name", said="holder__design__code")
    ]
    return _first([_assembly(one, rank) for one, rank in every if rank is not None], most)


def _suppliers(asked: Asked, most: int) -> list[Hit]:
    every = [(one, rank_here(asked, code=one.name)) for one in Supplier.objects.order_by("name")]
    return _first([_supplier(one, rank) for one, rank in every if rank is not None], most)


def _materials(asked: Asked, most: int) -> list[Hit]:
    every = [(one, rank_here(asked, code=one.name)) for one in WorkMaterial.objects.order_by("name")]
    return _first(
        [Hit("material", one.pk, one.name, one.get_iso_group_display(), rank, one.retired)
         for one, rank in every if rank is not None], most,
    )  # fmt: skip


def _workings(asked: Asked, most: int) -> list[Hit]:
    every = [
        (number, one, rank_here(asked, code=one.name, said=[one.title, one.says]))
        for number, one in enumerate(all_workings(), start=1)
    ]
    return _first(
        [Hit("working", number, one.name, one.title, rank) for number, one, rank in every if rank is not None], most
    )


def _first(hits: list[Hit], most: int) -> list[Hit]:
    return sorted(hits, key=lambda hit: (hit.rank, hit.retired))[:most]


def _all_items() -> QuerySet[Item]:
    return Item.objects.select_related("design", "place", "place__person")


def _all_places() -> QuerySet[Place]:
    return Place.objects.select_related("home_of")


def _all_assemblies() -> QuerySet[Assembly]:
    return Assembly.objects.select_related("holder", "holder__design")


def _badge_holders() -> QuerySet[Person]:
    return Person.objects.filter(is_counter=False)


def _design(one: Design, rank: int) -> Hit:
    more = f"{one.description}, maker's number {one.makers_number}" if one.makers_number else one.description
    return Hit("design", one.pk, one.code, more, rank, one.retired, make_label("D", one.pk))


def _item(one: Item, rank: int) -> Hit:
    where = str(one.place.person or one.place.name)
    numbers = [f"{word} {value}" for word, value in (("serial", one.serial), ("lot", one.lot)) if value]
    more = ", ".join([one.design.code, one.get_condition_display().lower(), f"at {where}", *numbers])
    return Hit("item", one.pk, one.label, more, rank, one.place.kind in Place.OUTSIDE, one.label)


def _person(one: Person, rank: int) -> Hit:
    # Their label is the badge, which acts in their name at a tablet; it is not handed round.
    return Hit("person", one.pk, one.username, str(one), rank, not one.is_active)


def _job(one: Job, rank: int) -> Hit:
    more = f"{one.part}, {one.get_state_display().lower()}"
    return Hit("job", one.pk, one.code, more, rank, one.retired, make_label("J", one.pk))


def _place(one: Place, rank: int) -> Hit:
    home = f", home of {one.home_of.code}" if one.home_of else ""
    return Hit(
        "place", one.pk, one.code, f"{one.name}{home}", rank, one.retired_at is not None, make_label("B", one.pk)
    )


def _machine(one: Machine, rank: int) -> Hit:
    return Hit("machine", one.pk, one.code, one.name, rank, one.retired, make_label("M", one.pk))


def _assembly(one: Assembly, rank: int) -> Hit:
    apart = one.taken_apart_at is not None
    return Hit("assembly", one.pk, one.name, f"on {one.holder.label}", rank, apart, make_label("A", one.pk))


def _supplier(one: Supplier, rank: int) -> Hit:
    return Hit("supplier", one.pk, one.name, "", rank, one.retired)


_BY_LETTER: dict[str, tuple[Any, Any]] = {
    "I": (_all_items, _item),
    "D": (Design.objects.all, _design),
    "P": (_badge_holders, _person),
    "B": (_all_places, _place),
    "J": (Job.objects.all, _job),
    "M": (Machine.objects.all, _machine),
    "A": (_all_assemblies, _assembly),
}
