"""One field for a count: a bin, a design, the label of a piece, or the figure for the line at hand."""

from __future__ import annotations

from dataclasses import dataclass

from crib.catalogue.models import Design
from crib.core.errors import BadInput, ShopError
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.models import Condition, Count, Item, Place
from crib.stock.services.counts import record_count, scan_piece

# A figure so long may as well be a maker's number that a scanner read.
LONGEST_PLAIN_FIGURE = 3


@dataclass(frozen=True, kw_only=True)
class CountPosition:
    """Where somebody stands in a count, and what was said to the last scan; `tone` as the counter has it."""

    place: Place | None
    design: Design | None = None
    condition: str = Condition.NEW
    tone: str = "info"
    words: str = ""


def take_count_scan(
    *,
    count: Count,
    text: str,
    who: Person,
    at: CountPosition,
    key: str = "",
    marker: int | None = None,
) -> CountPosition:
    """Do what was scanned or typed, and answer where to go on."""
    read = text.strip()
    digits = read.removeprefix("+")
    if digits.isascii() and digits.isdigit() and len(digits) < 10 and at.design is not None:
        if digits == read:
            _refuse_number_of_something(read)
        return _write_figure(count, int(digits), who, at, key, marker)
    found = selectors.find_label(text=read)
    if isinstance(found.thing, Place):
        return _go_to(count, found.thing)
    if isinstance(found.thing, Design):
        return _begin_line(count, found.thing, at)
    if isinstance(found.thing, Item):
        piece = scan_piece(count=count, item=found.thing, who=who, place=at.place)
        elsewhere = piece.differs and not count.blind
        said = f"{piece.item.label} is here"
        more = f", though the books have it at {piece.booked.code}" if elsewhere else ""
        design = piece.item.design
        return CountPosition(
            place=piece.place, design=design, condition=piece.condition, tone="good", words=f"{said}{more}."
        )
    raise BadInput("text", f"“{read[:40]}” is a {found.says}. Scan a bin, a design or the label of a piece.")


def _refuse_number_of_something(read: str) -> None:
    """Digits that could be a figure but are also the number of a thing: it is asked which was meant."""
    if len(read) <= LONGEST_PLAIN_FIGURE:
        return
    try:
        found = selectors.find_label(text=read)
    except ShopError:
        return
    raise BadInput("text", f"“{read}” may be a figure or the {found.says}. Scan its label instead, or write +{read}.")


def _write_figure(
    count: Count, figure: int, who: Person, at: CountPosition, key: str, marker: int | None
) -> CountPosition:
    assert at.design is not None
    line = record_count(
        count=count, design=at.design, counted=figure, who=who, place=at.place, condition=at.condition,
        without_labels=True, key=key, marker=marker,
    )  # fmt: skip
    shown = selectors.line_shown(count=count, design=line.design, place=line.place, condition=line.condition)
    if shown.again:
        words = f"Count {line.design.code} in {line.place.code} again."
        return CountPosition(
            place=line.place, design=line.design, condition=line.condition, tone="caution", words=words
        )
    words = f"{line.counted} × {line.design.code} in {line.place.code} written down."
    following = selectors.next_to_count(selectors.count_sheet(count=count), place=line.place)
    if following is None:
        return CountPosition(place=line.place, tone="good", words=f"{words} Every line is counted.")
    return CountPosition(
        place=following.place, design=following.design, condition=following.condition, tone="good", words=words
    )


def _go_to(count: Count, place: Place) -> CountPosition:
    """Stand at another bin of the count, and begin with its first line."""
    if not selectors.places_of_count(count=count).filter(pk=place.pk).exists():
        raise BadInput("text", f"{place.code} does not belong to this count. Scan another bin.")
    if count.design is not None:
        return CountPosition(place=place, design=count.design, words=f"Now at {place.code}.")
    first = selectors.next_to_count(
        [one for one in selectors.count_sheet(count=count) if one.place.pk == place.pk], place=place
    )
    if first is None:
        return CountPosition(place=place, words=f"Now at {place.code}.")
    return CountPosition(place=place, design=first.design, condition=first.condition, words=f"Now at {place.code}.")


def _begin_line(count: Count, design: Design, at: CountPosition) -> CountPosition:
    if count.design is not None and count.design_id != design.pk:
        raise BadInput("text", f"This count is of {count.design.code} alone. Begin another one for {design.code}.")
    place = at.place or count.place
    if place is None:
        raise BadInput("text", "Scan the bin first: this count looks in all places of the design.")
    return CountPosition(place=place, design=design, condition=at.condition, words=f"How many {design.code}?")
