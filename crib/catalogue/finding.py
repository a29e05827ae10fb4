"""Ranks what is looked through against what was typed: the same rule in the database and, for short lists, here.

Texts are searched with the database's plain “where in this text” and never by patterns, so that no sign that somebody
types means anything but itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from operator import and_, or_
from typing import TypeVar, cast

from django.db.models import Case, F, IntegerField, Model, Q, QuerySet, Value, When
from django.db.models.functions import Length, StrIndex
from django.db.models.lookups import Exact, GreaterThan

from crib.catalogue.words import pieces_of, search_text, squeezed, words_of
from crib.core.columns import SqueezedText

M = TypeVar("M", bound=Model)

LONGEST_QUERY = 100
MOST_WORDS = 8
# Fewer letters than this stand inside nearly every code.
INSIDE_FROM = 3
MOST_LIKELY = 300

EXACT, EXACT_NUMBER, BEGINS, NUMBER_BEGINS, WORDS, INSIDE = range(6)


@dataclass(frozen=True)
class Asked:
    """What was typed into the search box, made ready for comparing."""

    text: str
    words: tuple[str, ...]
    code: str
    # As they were typed, for what stands in the database with its accents.
    raw: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> Asked:
        read = " ".join(text[: 4 * LONGEST_QUERY].split())[:LONGEST_QUERY].strip()
        return cls(
            read, tuple(dict.fromkeys(words_of(read)))[:MOST_WORDS], squeezed(read), tuple(read.split())[:MOST_WORDS]
        )

    @property
    def asks(self) -> bool:
        return bool(self.code)


def ranked(things: QuerySet[M], asked: Asked) -> QuerySet[M]:
    """The things whose `search_text` fits, each with its `rank`; the order is the caller's."""
    looked = things.alias(looked=F("search_text"))
    word, begins = f" {asked.code} ", f" {asked.code}"
    spelt = reduce(and_, (_begins_a_word(one) for one in asked.words))
    ranks = [
        (_at(word, 1), EXACT),
        (_within(word), EXACT_NUMBER),
        (_at(begins, 1), BEGINS),
        (_within(begins), NUMBER_BEGINS),
        (spelt, WORDS),
    ]
    # Every row is read for this, so nothing is asked twice: what begins so holds it as well.
    fits = spelt | _within(asked.code if len(asked.code) >= INSIDE_FROM else begins)
    whens = [When(condition, then=Value(rank)) for condition, rank in ranks]
    rank = Case(*whens, default=Value(INSIDE), output_field=IntegerField())
    return cast("QuerySet[M]", looked.filter(fits).annotate(rank=rank))


def likely(things: QuerySet[M], asked: Asked, *, code: str, said: str) -> list[M]:
    """Those that may fit, the shortest codes first, for lists that keep no text of their own; `rank_here` then says."""
    looked = things.alias(looked=SqueezedText(F(code)))
    fits = _within(asked.code)
    for words in {asked.words, asked.raw}:
        fits |= reduce(and_, (Q(**{f"{code}__icontains": word}) | Q(**{f"{said}__icontains": word}) for word in words))
    return list(looked.filter(fits).order_by(Length(code), code)[:MOST_LIKELY])


def rank_here(asked: Asked, *, code: str, said: Iterable[str] = ()) -> int | None:
    """The rank of one thing of a short list, or None when it does not fit."""
    text = search_text(code=code, said=said)
    word, begins = f" {asked.code} ", f" {asked.code}"
    if text.startswith(word):
        return EXACT
    if word in text:
        return EXACT_NUMBER
    if text.startswith(begins):
        return BEGINS
    if begins in text:
        return NUMBER_BEGINS
    if all(f" {one}" in text or all(f" {piece}" in text for piece in pieces_of(one)) for one in asked.words):
        return WORDS
    return INSIDE if len(asked.code) >= INSIDE_FROM and asked.code in text else None


def _begins_a_word(word: str) -> Q:
    ways = [_within(f" {word}")]
    pieces = pieces_of(word)
    if len(pieces) > 1:
        ways.append(reduce(and_, (_within(f" {piece}") for piece in pieces)))
    return reduce(or_, ways)


def _within(part: str) -> Q:
    return Q(GreaterThan(StrIndex("looked", Value(part)), 0))


def _at(part: str, place: int) -> Q:
    return Q(Exact(StrIndex("looked", Value(part)), place))
