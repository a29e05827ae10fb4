"""Every input of every working over the API, given what nobody should give: an answer or a sentence, never a crash.

Built from the register: a working or an input that is added is tried here without a line being written.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from rest_framework.test import APIClient

from calc.workings import Group, Input, Kind, Working, all_workings
from tests.api.hostile import assert_sentences, hostile_client, strict_json
from tests.shop import Shop

pytestmark = pytest.mark.once

BASE = "/api/v1/workings/"
GARBAGE = (
    "nan", "-Infinity", "1e999", "12 parsecs", "ten", "1,234", "5/0 in", "0x10", "∞", "😀", "\x00", "12\n13", "mm",
    "1 mm mm", "--5", "x" * 5000, "'; drop table", "<b>1</b>", "=1+1", "10**10**10", "1 mm**999999999", "\u202e21 mm",
)  # fmt: skip
"""Texts that are no number in any unit."""
ODD_NUMBERS = ("१२", "１２ mm", "9" * 59, "1e-320", " 7 ", "+7", "7.", ".7")
SHAPES: tuple[Any, ...] = ([], {}, [[]], [{}], {"value": 1}, {"a": {"b": {}}}, [1, [2, [3]]], [None], [True], ["a"])
NUMBERS = (0, -0.0, -1, 1e-300, 5e-324, 1e-9, 0.1, 90, 1e6, 1e9, 1e12, 1e308, -1e308, 2**63, 10**400)
UNITS = (
    "mm", "in", "sfm", "in/min", "rpm", "rad/s", "deg", "h", "kW", "psi", "g", "%", "degC", "V", "teeth",
)  # fmt: skip
MEMBERS: tuple[Any, ...] = (None, "nan", "x", True, -1, 0, 1e308, 5e-324, 10**400, "3 kW", [], {}, "3 in")
NUMERIC = (Kind.QUANTITY, Kind.NUMBER, Kind.COUNT)
DEEP = 60_000
"""Brackets in brackets, far beyond what Python's reader follows."""

every_working = pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)


class Asker:
    """Sends bodies to one working, and looks at what comes back."""

    def __init__(self, client: APIClient, working: Working) -> None:
        self.client, self.working = client, working
        self.names = {entry.name for entry in working.inputs}

    def ask(self, body: object, units: str = "metric") -> set[str] | None:
        """Ask; None for an answer, else the inputs that the refusal names, each with a sentence."""
        return self.ask_raw(json.dumps(body), units)

    def ask_raw(self, text: str, units: str = "metric") -> set[str] | None:
        address = f"{BASE}{self.working.name}/?units={units}"
        response = self.client.post(address, text, content_type="application/json")
        sent = text[:300]
        assert response.status_code in (200, 400), (sent, response.content[:300])
        body = strict_json(response.content)
        if response.status_code == 200:
            for result in body["results"].values():
                said = result["text"].lower().split()
                assert not {"nan", "inf", "-inf", "infinity"} & set(said), (sent, result)
            return None
        assert response["Content-Type"] == "application/problem+json", sent
        assert body["detail"].endswith("."), sent
        for name, sentences in body["errors"].items():
            assert_sentences(sentences, 700, sent)
            assert sentences, (sent, name)
        return set(body["errors"])

    def refused(self, body: object) -> set[str]:
        """Ask what cannot be answered; the refusal names inputs of this working."""
        named = self.ask(body)
        assert named, body
        return named

    def ask_well_named(self, body: object, units: str = "metric") -> set[str] | None:
        """Ask; what is refused is refused by the name of an input that is there."""
        named = self.ask(body, units)
        assert named is None or (named and named <= self.names), (repr(body)[:300], named)
        return named


@pytest.fixture
def client(shop: Shop) -> Iterator[APIClient]:
    with hostile_client(shop.setter) as client:
        yield client


def surely_no_good(entry: Input) -> Iterator[Any]:
    """What can never be a value of this input, whatever the others are."""
    if entry.kind in NUMERIC:
        yield from GARBAGE
    if entry.kind not in (Kind.LIST, Kind.OBJECT):
        yield from SHAPES
    else:
        yield from (*GARBAGE, *NUMBERS)
    if entry.kind is not Kind.BOOL:
        yield from (True, False)
    if entry.kind in (Kind.CHOICE, Kind.BOOL):
        yield from GARBAGE


def who_knows(entry: Input) -> Iterator[Any]:
    """What may do, or not."""
    yield from (None, "", "   ", *ODD_NUMBERS)
    if entry.kind is Kind.TEXT:
        yield from GARBAGE
    if entry.kind is Kind.BOOL:
        yield from (True, False, "yes", "no")
    if entry.kind in (Kind.LIST, Kind.OBJECT):
        yield from (*SHAPES, [[1]] * 3, [[-1, -1]], [[1, 1], [1, 1]], [[1, 2], [1, 3]])
    else:
        yield from NUMBERS
    if entry.kind is Kind.QUANTITY:
        yield from (f"3 {unit}" for unit in UNITS)
        yield from (f"{number} {unit}" for number in ("-3", "0", "1e308", "1e-300") for unit in (entry.unit, "in"))


def spoilt(entry: Input, example: Any) -> Iterator[Any]:
    """An object, or a list of one row, with one member after another spoilt, left out, or not known."""
    row = example[0] if isinstance(example, list) and example else example
    if not isinstance(row, dict):
        row = {member.name: 1 for member in entry.fields}
    rows: list[dict[str, Any]] = [{**row, member.name: value} for member in entry.fields for value in MEMBERS]
    rows += [{key: value for key, value in row.items() if key != member.name} for member in entry.fields]
    rows.append({**row, "colour": 1})
    for one in rows:
        yield [one] if entry.kind is Kind.LIST else one
        if entry.kind is Kind.LIST:
            yield [one, row]


@every_working
def test_every_input_may_be_hostile(client: APIClient, working: Working) -> None:
    asker, example = Asker(client, working), working.example
    for entry in working.inputs:
        others = {name: value for name, value in example.items() if name != entry.name}
        for value in surely_no_good(entry):
            named = asker.ask_well_named({**others, entry.name: value})
            assert named, (entry.name, value)
            # Of two faults in a group, the one that is told may be that too much was said.
            assert entry.name in named or any(working.input(name).group == entry.group for name in named), (
                entry.name, value, named,
            )  # fmt: skip
        for value in who_knows(entry):
            asker.ask_well_named({**others, entry.name: value}, "inch")
        for value in spoilt(entry, example.get(entry.name)):
            asker.ask_well_named({**others, entry.name: value})


@every_working
def test_bare_numbers_and_texts_with_their_unit_say_the_same(client: APIClient, working: Working) -> None:
    asker, example = Asker(client, working), working.example
    plain = client.post(f"{BASE}{working.name}/", json.dumps(example), content_type="application/json").json()
    texts = {
        name: f"{value} {working.input(name).unit}" if working.input(name).kind is Kind.QUANTITY else value
        for name, value in example.items()
    }
    said = client.post(f"{BASE}{working.name}/", json.dumps(texts), content_type="application/json").json()
    assert said["results"] == plain["results"]
    assert asker.ask(texts, "inch") is None


@every_working
def test_what_is_missing_is_named(client: APIClient, working: Working) -> None:
    asker, example = Asker(client, working), working.example
    required = {entry.name for entry in working.inputs if entry.required}
    for entry in working.inputs:
        without = {name: value for name, value in example.items() if name != entry.name}
        named = asker.ask_well_named(without)
        if entry.required:
            assert named == {entry.name}
    for body in ({}, dict.fromkeys(asker.names), dict.fromkeys(asker.names, "  ")):
        assert required <= asker.refused(body)
    for name in ("colour", "", "Diameter", "\x00", "a" * 500, "😀", "__class__"):
        named = asker.ask({**example, name: 1})
        assert named == {name}, named


def ways(working: Working, group: Group) -> dict[str, list[Input]]:
    members = [entry for entry in working.inputs if entry.group == group.name]
    return {
        way: [entry for entry in members if entry.belongs_to_way == way]
        for way in dict.fromkeys(entry.belongs_to_way for entry in members)
    }


def some_value(entry: Input) -> Any:
    """Any value that can be read as this input."""
    if entry.example is not None:
        return entry.example
    return {
        Kind.TEXT: "M10", Kind.CHOICE: next(iter(entry.choices), ""), Kind.BOOL: True, Kind.LIST: [],
        Kind.OBJECT: {member.name: 1 for member in entry.fields},
    }.get(entry.kind, max(1, entry.lowest or 0))  # fmt: skip


@pytest.mark.parametrize(
    ("working", "group"),
    [(working, group) for working in all_workings() for group in working.groups],
    ids=lambda entry: entry.name,
)
def test_what_is_said_too_often_or_by_halves_is_named(client: APIClient, working: Working, group: Group) -> None:
    asker = Asker(client, working)
    own = {name: value for name, value in working.example.items() if working.input(name).group != group.name}
    by_way = ways(working, group)
    everything = {entry.name: some_value(entry) for entries in by_way.values() for entry in entries}
    if len(by_way) > group.needs:
        named = asker.refused({**own, **everything})
        assert {working.input(name).group for name in named} == {group.name}
    if group.required:
        assert {working.input(name).group for name in asker.refused(own)} == {group.name}
    for entries in by_way.values():
        for entry in entries:
            if len(entries) > 1 and any(other.default is None for other in entries if other is not entry):
                named = asker.refused({**own, entry.name: some_value(entry)})
                assert {working.input(name).group for name in named} == {group.name}


@every_working
def test_a_body_that_cannot_be_read_is_refused(client: APIClient, working: Working) -> None:
    asker = Asker(client, working)
    name = working.inputs[0].name
    for text in (
        "", "[]", "[1, 2]", '"milling"', "null", "3", "{", "{}}", "\ufeff{}", '{"a": 1, "a"', "NaN", "true",
        f'{{"{name}": NaN}}', f'{{"{name}": Infinity}}', f'{{"{name}": -Infinity}}', f'{{"{name}": {"9" * 5000}}}',
        "[" * DEEP, '{"a":' * DEEP, "[" * DEEP + "]" * DEEP, f'{{"{name}": {"[" * DEEP}{"]" * DEEP}}}',
        f'{{"{name}": "\\ud800 mm"}}', f'{{"\\uDFFF": 1, "{name}": 1}}',
    ):  # fmt: skip
        assert asker.ask_raw(text) is not None, text[:40]
