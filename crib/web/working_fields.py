"""A calculator's form, made from its declaration, and what was typed into it as the calculator reads it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from calc.errors import WorkingError
from calc.typed import split_number
from calc.units import System, in_unit, readers_unit, unit_named, ureg
from calc.workings import Answer, Group, Input, Kind, Working
from calc.workings.declaration import LOOKED_UP
from crib.web.formats import unit_for

YES_NO = (("true", "Yes"), ("false", "No"))
_CELLS = re.compile(r"[;,\t]")


class Choices(NamedTuple):
    """What may be chosen, under a heading where there are several kinds."""

    heading: str
    choices: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class Field:
    """One control of the form."""

    name: str
    label: str
    entry: Input
    unit: str
    value: str
    example: str = ""
    placeholder: str = ""
    hint: str = ""
    choices: tuple[Choices, ...] = ()
    required: bool = False
    filled: bool = False
    errors: list[str] = field(default_factory=list)
    brought: str = ""

    @property
    def id(self) -> str:
        """Its id in the page."""
        return "in-" + self.name.replace(".", "-")

    @property
    def is_rows(self) -> bool:
        """Whether it takes many lines."""
        return self.entry.kind is Kind.LIST

    @property
    def is_number(self) -> bool:
        """Whether a tablet should offer its number keys."""
        return self.entry.kind in (Kind.NUMBER, Kind.COUNT)


@dataclass(slots=True)
class Section:
    """Controls that belong together."""

    legend: str
    says: str
    fields: list[Field]
    folded: bool = False

    @property
    def opened(self) -> bool:
        """Whether a folded section shows its controls: once one of them is filled in."""
        return any(one.filled for one in self.fields)


@dataclass(frozen=True, slots=True)
class Asked:
    """A form with what was typed into it."""

    sections: list[Section]
    raw: dict[str, Any]
    typed: frozenset[str]

    def fields(self) -> list[Field]:
        """Every control, in order."""
        return [one for section in self.sections for one in section.fields]

    def tell_brought(self, answer: Answer) -> None:
        """Say beside each control that was left empty what the thing that was named brought for it."""
        for one in self.fields():
            name = one.name.split(".")[0]
            if name in answer.brought and not one.is_rows:
                one.brought = f"{answer.inputs[name].text} from {answer.brought[name]}"

    def place(self, errors: Mapping[str, list[str]]) -> list[tuple[str, list[str]]]:
        """Put sentences beside the controls that were filled in; hand back those of what is still missing."""
        missing = []
        for name, sentences in errors.items():
            if name not in self.typed:
                missing.append((name, sentences))
                continue
            first = next(one for one in self.fields() if one.name.split(".")[0] == name)
            first.errors += sentences
        return missing


def ask(working: Working, query: Mapping[str, str], system: System, named: Mapping[str, Sequence[Choices]]) -> Asked:
    """The form of a working as `query` fills it in, and the inputs it stands for.

    `named` holds the words that may be chosen for an input that the shop looks up.
    """
    example = working.example
    sections: dict[str, Section] = {}
    raw: dict[str, Any] = {}
    typed: set[str] = set()
    for entry in working.inputs:
        if _said_otherwise(working, entry):
            continue
        fields = _fields(entry, entry.name, query, system, example.get(entry.name), named)
        value = _read(entry, entry.name, query, system)
        if value not in (None, "", [], {}):
            raw[entry.name] = value
            if any(one.value for one in fields):
                typed.add(entry.name)
        found = _section_of(working, entry)
        sections.setdefault(found.legend, found).fields += fields
    ordered = sorted(sections.values(), key=lambda section: (section.folded, section.legend != SHOP))
    return Asked(ordered, raw, frozenset(typed))


SHOP = "From the shop"


def _section_of(working: Working, entry: Input) -> Section:
    """Where a control stands: what must be said first, what may be said folded away."""
    group = next((group for group in working.groups if group.name == entry.group), None)
    if entry.name in LOOKED_UP:
        return Section(SHOP, "Each brings its figures; what is typed below comes first.", [])
    if group is not None and group.required:
        return _section_for(working, group)
    if entry.kind is Kind.OBJECT:
        return Section(entry.label, entry.hint or ("" if entry.required else "May be left empty."), [])
    if entry.required:
        return Section("What is needed", "", [])
    if entry.limit or entry.name == "power_curve":
        return Section("Limits", "What machine and tool can do. What is past a limit is held back.", [], folded=True)
    if group is not None and not any(other.name in LOOKED_UP for other in working.inputs if other.group == group.name):
        return _section_for(working, group)
    return Section("What may be added", "Leave empty what does not matter.", [], folded=True)


def _section_for(working: Working, group: Group) -> Section:
    ways = {entry.belongs_to_way for entry in working.inputs if entry.group == group.name}
    label = group.label[0].upper() + group.label[1:]
    if len(ways) == 1:
        return Section(label, "All of these." if group.required else "All of these, or none.", [])
    count = {1: "one", 2: "two"}.get(group.needs, str(group.needs))
    enough = [" with ".join(working.input(name).label.lower() for name in names) for names in group.enough]
    less = f" Or only {', or '.join(enough)}." if enough else ""
    return Section(label, f"Give {count} of these{'' if group.required else ', or none'}.{less}", [])


def _said_otherwise(working: Working, entry: Input) -> bool:
    """An object whose members stand as inputs of their own needs no controls twice."""
    others = [other for other in working.inputs if entry.group and other.group == entry.group and other is not entry]
    return entry.kind is Kind.OBJECT and any(other.kind is not Kind.OBJECT for other in others)


def _fields(
    entry: Input,
    name: str,
    query: Mapping[str, str],
    system: System,
    example: Any,
    named: Mapping[str, Sequence[Choices]],
) -> list[Field]:
    if entry.kind is Kind.OBJECT:
        inner = example if isinstance(example, Mapping) else {}
        found = []
        for member in entry.fields:
            shown = inner.get(member.name, member.example)
            found += _fields(member, f"{name}.{member.name}", query, system, shown, named)
        return found
    return [
        Field(
            name=name,
            label=entry.label,
            entry=entry,
            unit=unit_for(entry.unit, system) if entry.kind is not Kind.LIST else "",
            value=query.get(name, "").strip() or _default_choice(entry),
            example=_in_controls(entry, example, system),
            placeholder=_placeholder(entry, example, system),
            hint="" if named.get(name) else _hint(entry, system),  # the section says it for all that are chosen
            choices=_choices(entry, named.get(name, ()), query.get(name, "").strip()),
            required=entry.required,
            filled=query.get(name, "").strip() not in ("", _default_choice(entry)),
        )
    ]


def _default_choice(entry: Input) -> str:
    """A choice always shows what it stands at."""
    if entry.kind is Kind.BOOL:
        return "true" if entry.default else "false"
    return str(entry.default or "") if entry.kind is Kind.CHOICE else ""


def _choices(entry: Input, named: Sequence[Choices], value: str) -> tuple[Choices, ...]:
    if entry.kind is Kind.BOOL:
        return (Choices("", YES_NO),)
    if named:
        known = {key.casefold() for group in named for key, _ in group.choices}
        other = ((value, value),) if value and value.casefold() not in known else ()
        return (Choices("", (("", "none"), *other)), *named)
    blank = () if entry.default is not None else (("", "choose …"),)
    words = tuple((word, word.capitalize()) for word in entry.choices)
    return (Choices("", (*blank, *words)),) if words else ()


def _hint(entry: Input, system: System) -> str:
    if entry.kind is not Kind.LIST:
        return entry.hint
    if not entry.fields:
        return entry.hint or "One number to a line."
    columns = "; ".join(_column_words(member, system) for _, member in columns_of(entry))
    return f"One to a line: {columns}."


def _column_words(member: Input, system: System) -> str:
    unit = f" ({unit_for(member.unit, system)})" if member.unit else ""
    return member.label.lower() + unit + (" yes or no" if member.kind is Kind.BOOL else "")


def columns_of(entry: Input) -> list[tuple[tuple[str, ...], Input]]:
    """The columns of a list's rows, members of members included, each with the way to it."""
    found: list[tuple[tuple[str, ...], Input]] = []
    for member in entry.fields:
        if member.kind is Kind.OBJECT:
            found += [((member.name, *way), inner) for way, inner in columns_of(member)]
        else:
            found.append(((member.name,), member))
    return found


def _placeholder(entry: Input, example: Any, system: System) -> str:
    """What stands in an empty control: what will be taken then, or an example in the reader's units."""
    if entry.kind is Kind.LIST:
        return ""
    if entry.default is not None:
        return f"{_in_controls(entry, entry.default, system)} if empty"
    return f"e.g. {_in_controls(entry, example, system)}" if example is not None else ""


def _in_controls(entry: Input, value: Any, system: System) -> str:
    if entry.kind is Kind.LIST and value is not None:
        return "\n".join(_example_row(entry, row, system) for row in value)
    return _in_readers_units(entry, value, system)


def _example_row(entry: Input, row: Any, system: System) -> str:
    if not entry.fields:
        return str(row)
    members = columns_of(entry)
    cells = list(row) if isinstance(row, list | tuple) else [_dig(row, way) for way, _ in members]
    while cells and cells[-1] is None:
        cells.pop()
    pairs = zip(members, cells, strict=False)
    return "; ".join(_in_readers_units(member, cell, system) for (_, member), cell in pairs)


def _dig(row: Any, way: tuple[str, ...]) -> Any:
    for name in way:
        row = row.get(name) if isinstance(row, Mapping) else None
    return row


def _in_readers_units(entry: Input, value: Any, system: System) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    unit = readers_unit(entry.unit, system)
    if entry.kind is Kind.QUANTITY and unit != entry.unit and not isinstance(value, str):
        return f"{in_unit(ureg.Quantity(value, unit_named(entry.unit)), unit).magnitude:.3g}"
    return str(value)


def _read(entry: Input, name: str, query: Mapping[str, str], system: System) -> Any:
    """What was typed, as the calculator takes it; nothing when nothing was typed."""
    if entry.kind is Kind.OBJECT:
        found = {member.name: _read(member, f"{name}.{member.name}", query, system) for member in entry.fields}
        return {key: value for key, value in found.items() if value not in (None, "", [])}
    text = query.get(name, "").strip()
    if entry.kind is Kind.LIST:
        return [_row(entry, line, system) for line in text.splitlines() if line.strip()]
    return with_unit(entry, text, system)


def with_unit(entry: Input, text: str, system: System) -> str:
    """A bare number of an inch reader is in inches, as the unit beside the control says."""
    unit = readers_unit(entry.unit, system)
    if entry.kind is not Kind.QUANTITY or unit == entry.unit or not text:
        return text
    try:
        _, written = split_number(entry.name, text)
    except WorkingError:
        return text
    return text if written else f"{text} {unit}"


def _row(entry: Input, line: str, system: System) -> Any:
    cells = [cell.strip() for cell in _CELLS.split(line)]
    if not entry.fields:
        return cells[0] if len(cells) == 1 else line
    columns = columns_of(entry)
    if len(cells) > len(columns):
        return line
    row: dict[str, Any] = {}
    for (way, member), cell in zip(columns, cells, strict=False):
        if cell:
            place = row
            for name in way[:-1]:
                place = place.setdefault(name, {})
            place[way[-1]] = with_unit(member, cell, system)
    return row


def example_query(working: Working, system: System) -> dict[str, str]:
    """The working's example as its form takes it, for a link that fills it in."""
    fields = ask(working, {}, system, {}).fields()
    return {one.name: one.example for one in fields if one.example and one.name.split(".")[0] in working.example}
