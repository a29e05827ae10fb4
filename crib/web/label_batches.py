"""Which labels are printed together, and what each says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from crib.catalogue.models import Design, Job, Machine
from crib.core.errors import BadInput, ShopError
from crib.floor.models import Assembly
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.labels import make_label
from crib.stock.models import Item, Place
from crib.stock.records import Kit
from crib.web.papers.labels import Face

MOST_TYPED = 400


def face_of(thing: Any) -> Face:
    """What the label of anything in the shop says."""
    for kind, make in _FACES:
        if isinstance(thing, kind):
            face: Face = make(thing)
            return face
    raise TypeError(f"{thing!r} carries no label")


def _design(one: Design) -> Face:
    return Face(make_label("D", one.pk), one.code, _said(one.description, one.makers_number))


def _item(one: Item) -> Face:
    set_of = f"set of {one.pieces}" if one.pieces > 1 else ""
    more = _said(one.design.description, one.design.makers_number, set_of, one.serial and f"serial {one.serial}")
    return Face(one.label, one.design.code, more)


def _job(one: Job) -> Face:
    return Face(make_label("J", one.pk), one.code, _said(one.part))


def _assembly(one: Assembly) -> Face:
    length = f"gauge {one.gauge_length_mm:g} mm" if one.gauge_length_mm else ""
    return Face(one.label, one.name, _said(length, str(one.body.design) if one.body else ""))


def _place(one: Place) -> Face:
    if one.person is not None:
        return face_of(one.person)
    return Face(make_label("B", one.pk), one.code, _said(one.name, one.home_of and one.home_of.description))


def _kit(one: Kit) -> Face:
    return Face(one.label, f"Kit {one.pk}", _said(one.job.code, one.job.part))


def _said(*words: object) -> tuple[str, ...]:
    return tuple(str(word) for word in words if word)


_FACES: tuple[tuple[type, Callable[[Any], Face]], ...] = (
    (Design, _design),
    (Item, _item),
    (Place, _place),
    (Person, lambda one: Face(make_label("P", one.pk), str(one), _said(one.username))),
    (Job, _job),
    (Machine, lambda one: Face(make_label("M", one.pk), one.code, _said(one.name))),
    (Assembly, _assembly),
    (Kit, _kit),
)


def _in_use(things: Any) -> Iterable[Any]:
    found: Iterable[Any] = things.filter(retired_at__isnull=True)
    return found


def _assemblies() -> Iterable[Any]:
    return Assembly.objects.filter(taken_apart_at__isnull=True).select_related("body__design").order_by("name", "pk")


def _kits() -> Iterable[Any]:
    waiting = (Kit.State.STAGED, Kit.State.ISSUED)
    return Kit.objects.filter(state__in=waiting).select_related("job")


# What is printed whole, by the word in the address.
ALL_OF: dict[str, tuple[str, Callable[[], Iterable[Any]]]] = {
    "places": ("Places", lambda: selectors.places_to_keep_in().select_related("person", "home_of")),
    "people": ("People (badges)", selectors.badge_holders),
    "machines": ("Machines", lambda: _in_use(Machine.objects.order_by("code"))),
    "jobs": ("Open jobs", lambda: Job.objects.exclude(state=Job.State.DONE).order_by("code")),
    "assemblies": ("Built tools", _assemblies),
    "kits": ("Kits", _kits),
}


def _of_design(number: int) -> Sequence[Any]:
    design = selectors.design_with(number=number)
    return [design, *selectors.items_of(design=design)]


_ONE_OF: dict[str, Callable[[int], Iterable[Any]]] = {
    "design": _of_design,
    "item": lambda number: [selectors.item_with(number=number)],
    "place": lambda number: selectors.places_within(place=selectors.place_with(number=number)),
    "person": lambda number: selectors.badge_holders().filter(pk=number),
    "machine": lambda number: Machine.objects.filter(pk=number),
    "job": lambda number: Job.objects.filter(pk=number),
    "assembly": lambda number: Assembly.objects.filter(pk=number).select_related("body__design"),
    "kit": lambda number: Kit.objects.filter(pk=number).select_related("job"),
}


def faces_for(of: Sequence[str], typed: str = "") -> list[Face]:
    """The labels of whole groups, of single things, of a document's goods, and of whatever was typed; each once."""
    things = [thing for word in of if word for thing in _things(word)]
    things += [_found(word) for word in _words(typed)]
    return list({face.text: face for face in map(face_of, things)}.values())


def _things(word: str) -> Iterable[Any]:
    if word in ALL_OF:
        return ALL_OF[word][1]()
    kind, _, rest = word.partition(":")
    if kind == "document" and rest:
        return selectors.received_for(document=rest[:40])
    if kind in _ONE_OF and rest.isascii() and rest.isdigit() and len(rest) < 19:
        return _ONE_OF[kind](int(rest))
    raise BadInput(
        "of",
        "There are labels for places, people, machines, jobs, built tools, kits, and for one thing alone. Choose one.",
    )


def _found(word: str) -> Any:
    try:
        return selectors.find_label(text=word).thing
    except ShopError as unknown:
        raise BadInput("things", unknown.sentence) from unknown


def _words(typed: str) -> list[str]:
    words = [word.strip() for line in typed.splitlines() for word in line.split(",")]
    found = [word for word in words if word]
    if len(found) > MOST_TYPED:
        raise BadInput("things", f"At most {MOST_TYPED} labels or codes are typed at once. Print them in parts.")
    return found
