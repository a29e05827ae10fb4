"""A calculator's form, made from its declaration, and what was typed into it as the calculator reads it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from calc.errors import WorkingError
from calc.typed import split_number
from calc.units import System, in_unit, unit_named, ureg
from calc.workings import Group, Input, Kind, Working
from crib.web.formats import unit_for

YES_NO = (("true", "Yes"), ("false", "No"))
_CELLS = re.compile(r"[;,\t]")
# What a bare number means to a reader of inches; the words are those the calculator's boundary reads.
_INCH_WORDS = {
    "mm": "in", "µm": "uin", "m/min": "ft/min", "mm/min": "in/min", "kW": "hp", "N·m": "lbf*ft", "N/mm²": "ksi",
    "cm³/min": "in^3/min", "N": "lbf",
}  # fmt: skip


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
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = False
    errors: list[str] = field(default_factory=list)

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


@dataclass(frozen=True, slots=True)
class Asked:
    """A form with what was typed into it."""

    sections: list[Section]
    raw: dict[str, Any]
    typed: frozenset[str]

    def fields(self) -> list[Field]:
        """Every control, in order."""
        return [one for section in self.sections for one in section.fields]

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


def ask(working: Working, query: Mapping[str, str], system: System, materials: list[str]) -> Asked:
    """The form of a working as `query` fills it in, and the inputs it stands for."""
    example = working.example
    known = {group.name: group for group in working.groups}
    sections: list[Section] = [Section("What is needed", "", [])]
    more = Section("What may be added", "Leave empty what does not matter.", [])
    grouped: dict[str, Section] = {}
    raw: dict[str, Any] = {}
    typed: set[str] = set()
    for entry in working.inputs:
        if _said_otherwise(working, entry):
            continue
        fields = _fields(entry, entry.name, query, system, example.get(entry.name), materials)
        value = _read(entry, entry.name, query, system)
        if value not in (None, "", [], {}):
            raw[entry.name] = value
            if any(one.value for one in fields):
                typed.add(entry.name)
        section = _section_of(working, entry, known, grouped, sections, more)
        section.fields += fields
    sections += [*grouped.values(), more]
    return Asked([section for section in sections if section.fields], raw, frozenset(typed))


def _section_of(
    working: Working,
    entry: Input,
    known: Mapping[str, Group],
    grouped: dict[str, Section],
    sections: list[Section],
    more: Section,
) -> Section:
    if entry.group:
        return grouped.setdefault(entry.group, _section_for(working, known[entry.group]))
    if entry.kind is Kind.OBJECT:
        says = "" if entry.required else "May be left empty."
        sections.append(Section(entry.label, entry.hint or says, []))
        return sections[-1]
    return sections[0] if entry.required else more


def _section_for(working: Working, group: Group) -> Section:
    ways = {entry.belongs_to_way for entry in working.inputs if entry.group == group.name}
    label = group.label[0].upper() + group.label[1:]
    if len(ways) == 1:
        return Section(label, "All of these." if group.required else "All of these, or none.", [])
    count = {1: "one", 2: "two"}.get(group.needs, str(group.needs))
    return Section(label, f"Give {count} of these." if group.required else f"Give {count} of these, or none.", [])


def _said_otherwise(working: Working, entry: Input) -> bool:
    """An object whose members stand as inputs of their own needs no controls twice."""
    others = [other for other in working.inputs if entry.group and other.group == entry.group and other is not entry]
    return entry.kind is Kind.OBJECT and any(other.kind is not Kind.OBJECT for other in others)


def _fields(
    entry: Input, name: str, query: Mapping[str, str], system: System, example: Any, materials: list[str]
) -> list[Field]:
    if entry.kind is Kind.OBJECT:
        inner = example if isinstance(example, Mapping) else {}
        found = []
        for member in entry.fields:
            shown = inner.get(member.name, member.example)
            found += _fields(member, f"{name}.{member.name}", query, system, shown, materials)
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
            hint=_hint(entry, system),
            choices=_choices(entry, name, materials),
            required=entry.required,
        )
    ]


def _default_choice(entry: Input) -> str:
    """A choice always shows what it stands at."""
    if entry.kind is Kind.BOOL:
        return "true" if entry.default else "false"
    return str(entry.default or "") if entry.kind is Kind.CHOICE else ""


def _choices(entry: Input, name: str, materials: list[str]) -> tuple[tuple[str, str], ...]:
    if entry.kind is Kind.BOOL:
        return YES_NO
    if name == "material":
        return (("", "–"), *((material, material) for material in materials))
    blank = () if entry.default is not None else (("", "–"),)
    return (*blank, *((word, word.capitalize()) for word in entry.choices)) if entry.choices else ()


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
    if entry.kind is Kind.QUANTITY and system == "inch" and entry.unit in _INCH_WORDS and not isinstance(value, str):
        inch = in_unit(ureg.Quantity(value, unit_named(entry.unit)), _INCH_WORDS[entry.unit])
        return f"{inch.magnitude:.3g}"
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
    if system == "metric" or entry.kind is not Kind.QUANTITY or entry.unit not in _INCH_WORDS or not text:
        return text
    try:
        _, written = split_number(entry.name, text)
    except WorkingError:
        return text
    return text if written else f"{text} {_INCH_WORDS[entry.unit]}"


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
    fields = ask(working, {}, system, []).fields()
    return {one.name: one.example for one in fields if one.example and one.name.split(".")[0] in working.example}
