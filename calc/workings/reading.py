"""From what came in to what a working computes with: every problem found, each with a sentence naming its field."""

import math
from collections.abc import Collection, Mapping
from typing import Any

import pint

from calc.errors import WorkingError
from calc.units import System, read_number, read_quantity, said, show_number
from calc.workings.declaration import LOOKED_UP, Given, Group, Input, InputErrors, Kind, Known, Shop, Working

LONGEST_WORD = 200
MOST_ROWS = 5000
LARGEST = 1e12
SMALLEST = 1e-9
_YES = frozenset({"true", "yes", "y", "on", "1"})
_NO = frozenset({"false", "no", "n", "off", "0"})


def read_inputs(working: Working, raw: Mapping[str, object], system: System, shop: Shop | None) -> Given:
    """Read and check everything a working was given.

    Parameters
    ----------
    working : the declaration
    raw : name -> number, text, bool, list or mapping; None and empty text mean "not given"
    system : the reader's units, passed on for the texts
    shop : looks up tools, items, machines and work materials by name

    Returns
    -------
    the inputs as read

    Raises
    ------
    InputErrors : with every problem found
    """
    problems = [
        WorkingError(name, _unknown(working, name))
        for name in raw
        if name not in {entry.name for entry in working.inputs}
    ]
    given = {
        name: value
        for name, value in raw.items()
        if value is not None and not (isinstance(value, str) and not value.strip())
    }
    values: dict[str, Any] = {}
    found: list[WorkingError] = []
    for entry in working.inputs:
        if entry.name in given:
            _try_to_read(entry, given[entry.name], values, found)
    known = _look_up_all(working, values, shop, found)
    brought = _bring(working, given, values, known, found)
    for entry in working.inputs:
        if entry.required and entry.name not in given and entry.name not in brought:
            found.append(WorkingError(entry.name, entry.missing or f"{_label(entry)} is missing.{_example(entry)}"))
    for group in working.groups:
        found.extend(_group_problems(working, group, given, brought))
    order = {entry.name: place for place, entry in enumerate(working.inputs)}
    problems += sorted(found, key=lambda problem: order.get(problem.argument, len(order)))
    if problems:
        raise InputErrors(problems)
    defaulted = _fill_in_defaults(working, values)
    return Given(values, system, defaulted, known, brought)


def _look_up_all(
    working: Working, values: Mapping[str, Any], shop: Shop | None, problems: list[WorkingError]
) -> dict[str, Known]:
    """What the shop knows of each thing that was named."""
    known = {}
    words = {name: word for name in LOOKED_UP if isinstance(word := values.get(name), str)}
    for name, word in words.items():
        if shop is None:
            label = _label(working.input(name))
            problems.append(
                WorkingError(name, f"{label}: no list to look it up in is at hand here; give its numbers instead.")
            )
            continue
        try:
            known[name] = shop(name, word, words)
        except WorkingError as problem:
            problems.append(WorkingError(name, problem.sentence))
    return known


def _bring(
    working: Working,
    given: Collection[str],
    values: dict[str, Any],
    known: Mapping[str, Known],
    problems: list[WorkingError],
) -> dict[str, str]:
    """Add what the named things are known to have, where nothing else was said; of a limit the smallest counts."""
    inputs = {entry.name: entry for entry in working.inputs}
    brought: dict[str, str] = {}
    for lookup, thing in known.items():
        for name, raw in thing.values.items():
            entry = inputs.get(name)
            if entry is None or raw is None or not _is_free(working, entry, lookup, given, brought):
                continue
            try:
                value = read_one(entry, raw)
            except WorkingError as problem:
                problems.append(WorkingError(lookup, f"{thing.name}: {problem.sentence}"))
                continue
            if name not in values or (entry.limit and value < values[name]):
                values[name] = value
                brought[name] = lookup
    return brought


def _is_free(working: Working, entry: Input, lookup: str, given: Collection[str], brought: Collection[str]) -> bool:
    """Whether a value may be brought: what was typed comes first, and so does another way that was typed."""
    if not entry.from_lookup:
        return False
    if entry.name in given:
        return entry.limit
    if not entry.group:
        return True
    group = next(group for group in working.groups if group.name == entry.group)
    said_already = [
        other
        for other in working.inputs
        if other.group == entry.group and other.name != lookup and (other.name in given or other.name in brought)
    ]
    return group.needs == 1 and all(other.belongs_to_way == entry.belongs_to_way for other in said_already)


def _fill_in_defaults(working: Working, values: dict[str, Any]) -> frozenset[str]:
    """Fill in what was not said; a group's defaults only count when none of its ways was given."""
    spoken_for = {working.input(name).group for name in values} - {""}
    defaulted = set()
    for entry in working.inputs:
        if entry.name not in values and entry.default is not None and entry.group not in spoken_for:
            values[entry.name] = read_one(entry, entry.default)
            defaulted.add(entry.name)
    return frozenset(defaulted)


def _try_to_read(entry: Input, raw: object, values: dict[str, Any], problems: list[WorkingError]) -> None:
    try:
        values[entry.name] = read_one(entry, raw)
    except WorkingError as problem:
        problems.append(WorkingError(entry.name, problem.sentence))


def read_one(entry: Input, raw: object, argument: str = "") -> Any:
    """Read one input by its declaration.

    Parameters
    ----------
    entry : the declaration
    raw : what came in
    argument : name the complaint carries, where it is not the input's own

    Returns
    -------
    quantity, number, text, bool, list or mapping

    Raises
    ------
    WorkingError : when it cannot be read or lies out of bounds
    """
    name = argument or entry.name
    match entry.kind:
        case Kind.QUANTITY:
            return _within_bounds(entry, name, read_quantity(name, raw, entry.unit))
        case Kind.NUMBER:
            return _within_bounds(entry, name, _sensible(name, read_number(name, raw)))
        case Kind.COUNT:
            return _whole(entry, name, _sensible(name, read_number(name, raw)))
        case Kind.BOOL:
            return _yes_or_no(name, raw)
        case Kind.LIST:
            return _rows(entry, name, raw)
        case Kind.OBJECT:
            return _members(entry, name, raw)
        case _:
            return _word(entry, name, raw)


def _sensible(name: str, value: float) -> float:
    """Bounds beyond which no price, count or factor of a shop lies, and where arithmetic begins to overflow."""
    if abs(value) > LARGEST or 0 < abs(value) < SMALLEST:
        raise WorkingError(name, f"{said(name)} of {value:.3g} is beyond anything a shop can mean; check the number.")
    return value


def _whole(entry: Input, name: str, value: float) -> int:
    if value != int(value):
        raise WorkingError(name, f"{said(name)} must be a whole number.")
    return int(_within_bounds(entry, name, value))


def _within_bounds(entry: Input, name: str, value: Any) -> Any:
    size = value.magnitude if isinstance(value, pint.Quantity) else value
    unit = f" {entry.unit}" if entry.unit and entry.kind is Kind.QUANTITY else ""
    if entry.above is not None and not size > entry.above:
        least = "zero" if entry.above == 0 else f"{show_number(entry.above)}{unit}"
        raise WorkingError(name, f"{said(name)} must be above {least}.")
    if entry.lowest is not None and size < entry.lowest:
        least = "below zero" if entry.lowest == 0 else f"less than {show_number(entry.lowest)}{unit}"
        raise WorkingError(name, f"{said(name)} cannot be {least}.")
    if entry.highest is not None and size > entry.highest:
        raise WorkingError(name, f"{said(name)} cannot be more than {show_number(entry.highest)}{unit}.")
    return value


def _yes_or_no(name: str, raw: object) -> bool:
    if isinstance(raw, bool):
        return raw
    word = raw.strip().lower() if isinstance(raw, str) else ""
    if word not in _YES | _NO:
        raise WorkingError(name, f"{said(name)} must be yes or no.")
    return word in _YES


def _word(entry: Input, name: str, raw: object) -> str:
    number = isinstance(raw, int | float) and not isinstance(raw, bool) and -math.inf < raw < math.inf
    if not isinstance(raw, str) and not number:
        raise WorkingError(name, f"{said(name)} must be a word or a line of text.")
    text = str(raw).strip()
    if len(text) > LONGEST_WORD or not text.isprintable():
        raise WorkingError(name, f"{said(name)} must be one line of at most {LONGEST_WORD} characters.")
    if entry.kind is Kind.CHOICE:
        text = text.lower()
        if text not in entry.choices:
            raise WorkingError(name, f"{said(name)} must be one of: {', '.join(entry.choices)}.")
    return text


def _rows(entry: Input, name: str, raw: object) -> list[Any]:
    if not isinstance(raw, list | tuple):
        raise WorkingError(name, f"{said(name)} must be a list.")
    if len(raw) > MOST_ROWS:
        raise WorkingError(name, f"{said(name)} can hold at most {MOST_ROWS} rows; this has {len(raw)}.")
    if entry.fields:
        return [_members(entry, f"{name}, row {number}", row) for number, row in enumerate(raw, start=1)]
    return [read_number(f"{name}, row {number}", row) for number, row in enumerate(raw, start=1)]


def _members(entry: Input, name: str, raw: object) -> dict[str, Any]:
    if isinstance(raw, list | tuple) and entry.kind is Kind.LIST and len(raw) <= len(entry.fields):
        raw = dict(zip((member.name for member in entry.fields), raw, strict=False))  # [60, 12.5]: by position
    if not isinstance(raw, Mapping):
        raise WorkingError(name, f"{said(name)} must give: {', '.join(member.name for member in entry.fields)}.")
    known = {member.name for member in entry.fields}
    for key in raw:
        if key not in known:
            raise WorkingError(name, f'{said(name)} has no "{str(key)[:40]}"; it has {", ".join(sorted(known))}.')
    found: dict[str, Any] = {}
    for member in entry.fields:
        value = raw.get(member.name)
        if value is not None:
            found[member.name] = read_one(member, value, f"{name}: {member.name}")
        elif member.required:
            raise WorkingError(name, f"{said(name)} lacks {said(member.name).lower()}.")
        elif member.default is not None:
            found[member.name] = read_one(member, member.default)
    return found


def _group_problems(
    working: Working, group: Group, given: Collection[str], brought: Collection[str]
) -> list[WorkingError]:
    """Too many ways, too few, or a way only half given; what was brought counts where nothing was typed."""
    members = [entry for entry in working.inputs if entry.group == group.name]
    ways = {
        entry.belongs_to_way: [other for other in members if other.belongs_to_way == entry.belongs_to_way]
        for entry in members
    }
    used = [way for way, parts in ways.items() if any(part.name in given for part in parts)]
    used = used or [way for way, parts in ways.items() if all(part.name in brought for part in parts)]
    if group.required:  # what was brought may be half of a way, and then asks for its other half
        used = used or [way for way, parts in ways.items() if any(part.name in brought for part in parts)]
    names = [" with ".join(_label(part).lower() for part in parts) for parts in ways.values()]
    choices = f"{', '.join(names[:-1])} or {names[-1]}"
    wanted = {1: "one", 2: "two"}.get(group.needs, str(group.needs))
    if len(used) > group.needs:
        spare = next(part for part in ways[used[group.needs]] if part.name in given)
        return [
            WorkingError(spare.name, f"{group.label.capitalize()} is said twice over: give only {wanted} of {choices}.")
        ]
    there = {*given, *brought}
    if len(used) < group.needs and (used or group.required) and not any(there >= {*enough} for enough in group.enough):
        first = next((parts[0] for way, parts in ways.items() if way not in used and not _has_default(parts)), None)
        if first is not None:
            choices += _or_else(working, group)
            return [WorkingError(first.name, f"{group.label.capitalize()} is missing: give {wanted} of {choices}.")]
    missing = [part for way in used for part in ways[way] if part.name not in there and part.default is None]
    return [
        WorkingError(part.name, part.missing or f"{_label(part)} is missing: it goes with {_partners(ways, part)}.")
        for part in missing
    ]


def _or_else(working: Working, group: Group) -> str:
    """The sets of inputs that would do instead of the group's ways."""
    sets = [" with ".join(_label(working.input(name)).lower() for name in enough) for enough in group.enough]
    return "".join(f", or {words}" for words in sets)


def _has_default(parts: list[Input]) -> bool:
    return all(part.default is not None for part in parts)


def _partners(ways: Mapping[str, list[Input]], part: Input) -> str:
    return " and ".join(_label(other).lower() for other in ways[part.belongs_to_way] if other is not part)


def _label(entry: Input) -> str:
    return entry.label or said(entry.name)


def _example(entry: Input) -> str:
    if entry.example is None or entry.kind in (Kind.LIST, Kind.OBJECT):
        return ""
    return f" For example {entry.example} {entry.unit if entry.kind is Kind.QUANTITY else ''}".rstrip() + "."


def _unknown(working: Working, name: str) -> str:
    known = ", ".join(entry.name for entry in working.inputs)
    return f'There is no input "{str(name)[:40]}" in {working.name}. Its inputs are: {known}.'
