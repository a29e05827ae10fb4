"""Writing catalogue entries: sound or not at all, and every write kept with its writer."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from crib.catalogue.models import Retirable
from crib.core import clock
from crib.core.errors import BadInput
from crib.people.models import Person
from crib.people.services import record_change

M = TypeVar("M", bound=models.Model)
R = TypeVar("R", bound=Retirable)

WORDS = {
    "null": "This must be filled in.",
    "blank": "This must be filled in.",
    "unique": "This is taken by another entry. Choose another, or change that one.",
}


def nothing_more(thing: models.Model) -> None:
    """The fields' own rules are all there is."""


def check_sound(thing: M, check: Callable[[M], None] = nothing_more) -> None:
    """Refuse a thing with a field that cannot stand, by the sentence for the first such field.

    `check` comes before the database's own constraints, which know no sentences.
    """
    for field in thing._meta.concrete_fields:
        value = getattr(thing, field.attname)
        if isinstance(value, float) and not math.isfinite(value):
            raise BadInput(field.name, "This is no number that can be kept.")
    _clean(lambda: thing.full_clean(validate_constraints=False))
    check(thing)
    _clean(thing.validate_constraints)


def _clean(step: Callable[[], None]) -> None:
    try:
        step()
    except ValidationError as unsound:
        name, errors = next(iter(unsound.error_dict.items()))
        raise BadInput("body" if name == "__all__" else name, _sentence(errors[0])) from unsound


def _sentence(error: ValidationError) -> str:
    code = error.code or ""
    if code == "unique" or code not in WORDS:
        said = " ".join(error.messages)
        return WORDS["unique"] if code in ("unique", "unique_together") else said
    return WORDS[code]


def create(thing: M, check: Callable[[M], None], *, who: Person, what: str, which: str, fields: Mapping[str, Any]) -> M:
    """Keep a new entry that is sound in itself and by `check`; the caller holds the transaction."""
    check_sound(thing, check)
    _save(thing)
    record_change(who=who, what=what, which=which, act="created", details=fields)
    return thing


def change(thing: M, check: Callable[[M], None], *, who: Person, what: str, which: str, fields: Mapping[str, Any]) -> M:
    """Write the fields that differ and keep what they were; nothing different writes nothing.

    The check is made on a copy, so that a refusal leaves the thing in hand as it was.
    """
    copy = type(thing).from_db(None, *_columns(thing))
    for name, value in fields.items():
        setattr(copy, name, value)
    check_sound(copy, check)
    changed = {
        name: [getattr(thing, name), getattr(copy, name)]
        for name in fields
        if getattr(thing, name) != getattr(copy, name)
    }
    for name, (_, value) in changed.items():
        setattr(thing, name, value)
    if changed:
        _save(thing, update_fields=list(changed))
        record_change(who=who, what=what, which=which, act="changed", details=changed)
    return thing


def retire(thing: R, *, who: Person, what: str, which: str) -> R:
    """Take an entry out of use; retiring it again changes nothing."""
    if thing.retired_at is None:
        thing.retired_at = clock.now()
        thing.save(update_fields=["retired_at"])
        record_change(who=who, what=what, which=which, act="retired")
    return thing


def reinstate(thing: R, *, who: Person, what: str, which: str) -> R:
    """Bring a retired entry into use again."""
    if thing.retired_at is not None:
        thing.retired_at = None
        thing.save(update_fields=["retired_at"])
        record_change(who=who, what=what, which=which, act="brought back into use")
    return thing


def _columns(thing: models.Model) -> tuple[list[str], list[Any]]:
    names = [field.attname for field in thing._meta.concrete_fields]
    return names, [getattr(thing, name) for name in names]


def _save(thing: models.Model, **kwargs: Any) -> None:
    try:
        with transaction.atomic():
            thing.save(**kwargs)
    except IntegrityError as taken:
        # Somebody else entered the same name between the check and the writing.
        raise BadInput("body", "Another entry with this name was made just now. Look at that one.") from taken
