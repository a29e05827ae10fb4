"""Places: the crib's own tree, and the ones that stand for people, machines, suppliers and regrind shops."""

from __future__ import annotations

import re
from typing import Any

from django.db import IntegrityError, transaction

from crib.catalogue.models import Design, Machine, Supplier
from crib.catalogue.services import check_sound
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors
from crib.stock.errors import NobodyThere
from crib.stock.models import Place

LONGEST_CODE = 40
KINDS_KEPT_BY_HAND = (*Place.ON_HAND, Place.Kind.REGRIND)


def place_of(
    *,
    person: Person | None = None,
    machine: Machine | None = None,
    supplier: Supplier | None = None,
    regrind: str | None = None,
) -> Place:
    """The place that stands for a person, a machine, a supplier or a regrind shop by its name; made when missing."""
    given = [one for one in (person, machine, supplier, regrind) if one is not None]
    if len(given) != 1:
        raise TypeError("place_of takes one of person, machine, supplier and regrind.")
    if person is not None:
        if person.is_counter:
            raise NobodyThere("A counter tablet holds nothing itself. Scan the badge of the person.", field="person")
        if Person.place.is_cached(person):
            return person.place
        # Asked at every scan, so it is not spelt out by the mapper each time.
        for found in Place.objects.raw("SELECT * FROM crib_place WHERE person_id = %s", [person.pk]):
            return _beside(found, person)
        made = _found_or_made("P", person.username, str(person), Place.Kind.PERSON, {"person_id": person.pk})
        return _beside(made, person)
    if machine is not None:
        return _found_or_made("M", machine.code, machine.name, Place.Kind.MACHINE, {"machine": machine})
    if supplier is not None:
        return _found_or_made("S", supplier.name, supplier.name, Place.Kind.SUPPLIER, {"supplier": supplier})
    assert regrind is not None
    return _found_or_made("R", regrind, regrind, Place.Kind.REGRIND, {"name": regrind[:80], "kind": Place.Kind.REGRIND})


def _beside(place: Place, person: Person) -> Place:
    """The place knows its person, but the person not the place: an act tried again would hold on to one undone."""
    Place.person.field.set_cached_value(place, person)
    return place


def spent_place() -> Place:
    """Where used-up edges go."""
    return _one_of(Place.Kind.SPENT, "SPENT", "Spent")


def difference_place() -> Place:
    """The other side of what a count found too many or too few."""
    return _one_of(Place.Kind.DIFFERENCE, "COUNT-DIFFERENCE", "Count difference")


def opening_place() -> Place:
    """Where the stock comes from that was here before the books began: outside, but no supplier of ours."""
    name, kind = "Opening stock", Place.Kind.SUPPLIER
    found = Place.objects.filter(kind=kind, supplier=None).order_by("pk").first()
    return found or _found_or_made("OPENING", "stock", name, kind, {"kind": kind, "name": name, "supplier": None})


def _one_of(kind: Place.Kind, code: str, name: str) -> Place:
    found = Place.objects.filter(kind=kind).order_by("pk").first()
    return found or Place.objects.get_or_create(code=code, defaults={"name": name, "kind": kind})[0]


def _found_or_made(letter: str, word: str, name: str, kind: Place.Kind, by: dict[str, Any]) -> Place:
    found = Place.objects.filter(**by).first()
    if found is not None:
        return found
    stem = f"{letter}-{_code_word(word)}"[: LONGEST_CODE - 6].rstrip("-._/")
    for number in range(1, 1000):
        code = stem if number == 1 else f"{stem}-{number}"
        try:
            with transaction.atomic():
                return Place.objects.create(**({"code": code, "name": name[:80], "kind": kind} | by))
        except IntegrityError:
            # Either the code is taken by something else, or somebody made this very place meanwhile.
            meanwhile = Place.objects.filter(**by).first()
            if meanwhile is not None:
                return meanwhile
    raise Refused(f"No code is left for a place that begins with {stem}.")


def _code_word(word: str) -> str:
    plain = re.sub(r"[^A-Z0-9]+", "-", word.upper()).strip("-")
    return plain or "X"


@transaction.atomic
def create_place(
    *, code: str, name: str, kind: str, who: Person, parent: Place | None = None, home_of: Design | None = None
) -> Place:
    """Add a site, crib, cabinet, bin or regrind shop."""
    if kind not in KINDS_KEPT_BY_HAND:
        known = ", ".join(KINDS_KEPT_BY_HAND)
        raise BadInput("kind", f"Places of people, machines and suppliers are made by themselves. Choose: {known}.")
    place = Place(code=code.strip().upper(), name=name.strip(), kind=kind, parent=parent, home_of=home_of)
    return _kept(place, who=who, act="created")


@transaction.atomic
def change_place(
    *, place: Place, who: Person, name: str | None = None, parent: Place | None = None, home_of: Design | None = None
) -> Place:
    """Write a place's name, what it stands in and the design that lives there; left out means unchanged."""
    if name is not None:
        place.name = name.strip()
    if parent is not None:
        _refuse_circle(place, parent)
        place.parent = parent
    if home_of is not None:
        place.home_of = home_of
    return _kept(place, who=who, act="changed")


@transaction.atomic
def retire_place(*, place: Place, who: Person) -> Place:
    """Close a place; refused while anything stands there."""
    if place.kind not in KINDS_KEPT_BY_HAND:
        raise Refused(f"{place.code} belongs to a person, a machine or the books and stays.", field="place")
    left = selectors.balances(place=place).first()
    if left is not None:
        raise Refused(f"{left.quantity} {left.design.code} are still in {place.code}. Move them first.", field="place")
    if place.retired_at is None:
        place.retired_at = clock.now()
        place.save(update_fields=["retired_at"])
        record_change(who=who, what="place", which=place.code, act="retired")
    return place


def _refuse_circle(place: Place, parent: Place) -> None:
    above: Place | None = parent
    while above is not None:
        if above.pk == place.pk:
            raise BadInput("parent", f"{parent.code} stands in {place.code} itself. Choose another place.")
        above = above.parent


def _kept(place: Place, *, who: Person, act: str) -> Place:
    check_sound(place)
    place.save()
    details = {"name": place.name, "kind": place.kind, "parent": place.parent, "home_of": place.home_of}
    record_change(who=who, what="place", which=place.code, act=act, details=details)
    return place
