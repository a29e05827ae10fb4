"""Reads the demo shop's files under `fixtures/shop` into typed rows, and says plainly which line is wrong."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings

T = TypeVar("T")
Row = dict[str, str]


class ScenarioError(Exception):
    """A line of a fixture that cannot be read: the product's own files are wrong, not anybody's input."""


@dataclass(frozen=True, slots=True)
class Part:
    """What a machine makes: the part that a job is a batch of."""

    code: str
    name: str
    machine: str
    material: str
    cycle_minutes: float


@dataclass(frozen=True, slots=True)
class Step:
    """One operation of a part, as the shop runs it at the usual speed."""

    part: str
    number: int
    name: str
    tip: str
    body: str
    kind_of_cut: str
    surface_speed: float
    feed: float
    depth: float | None
    width: float | None
    length_of_cut: float
    passes: int
    work_diameter: float | None
    coolant: str
    accepted_risk: float
    cost_of_lost_part: str
    chance_part_lost: float
    change_minutes: float
    fixed_count: int
    bands: tuple[tuple[float, float], ...]

    def band_of(self, edge: int) -> tuple[float, float]:
        """The band of the flute in which the edge of this number works, counted from 1."""
        return self.bands[(edge - 1) % len(self.bands)]


@dataclass(frozen=True, slots=True)
class Batch:
    """A job: so many weeks of one part, counted back from today, with the engineer's changes of speed and feed."""

    part: str
    number: str
    from_week: float
    to_week: float
    speed_factor: float
    feed_factor: float
    state: str

    @property
    def code(self) -> str:
        return f"{self.part}-{self.number}"


@dataclass(frozen=True, slots=True)
class Law:
    """The law that a design's past lives are drawn from; see fixtures/README.md."""

    design: str
    material: str
    life_minutes: float
    surface_speed: float
    feed: float
    depth: float
    speed_exponent: float
    feed_exponent: float
    depth_exponent: float
    shape: float
    breakage_per_1000_minutes: float


@dataclass(frozen=True, slots=True)
class ShiftRow:
    """One stretch of the week in a pattern of shifts."""

    pattern: str
    weekdays: tuple[int, ...]
    starts: time
    ends: time


@dataclass(frozen=True, slots=True)
class Scenario:
    """The whole of the demo shop as its files tell it."""

    people: list[Row]
    designs: list[Row]
    machines: list[Row]
    suppliers: list[Row]
    offers: list[Row]
    places: list[Row]
    priors: list[Row]
    shifts: list[ShiftRow]
    parts: dict[str, Part]
    steps: dict[str, list[Step]]
    batches: list[Batch]
    laws: dict[tuple[str, str], Law]
    story: dict[str, Any]

    @property
    def design_rows(self) -> dict[str, Row]:
        return {row["code"]: row for row in self.designs}

    def law_of(self, design: str, material: str) -> Law:
        return self.laws.get((design, material)) or self.laws[design, ""]


def folder() -> Path:
    return Path(settings.BASE_DIR) / "fixtures" / "shop"


def read_scenario() -> Scenario:
    """Read every file of the demo shop."""
    steps: dict[str, list[Step]] = {}
    for step in _rows("operations.csv", _step):
        steps.setdefault(step.part, []).append(step)
    return Scenario(
        people=_rows("people.csv", dict),
        designs=_rows("designs.csv", dict),
        machines=_rows("machines.csv", dict),
        suppliers=_rows("suppliers.csv", dict),
        offers=_rows("offers.csv", dict),
        places=_rows("places.csv", dict),
        priors=_rows("priors.csv", dict),
        shifts=_rows("shifts.csv", _shift),
        parts={part.code: part for part in _rows("parts.csv", _part)},
        steps=steps,
        batches=_rows("jobs.csv", _batch),
        laws={(law.design, law.material): law for law in _rows("laws.csv", _law)},
        story=json.loads((folder() / "history.json").read_text(encoding="utf-8")),
    )


def read_people() -> list[Row]:
    """Only who is in the shop, for the page that asks nothing else."""
    return _rows("people.csv", dict)


def _rows(name: str, read: Callable[[Row], T]) -> list[T]:
    return list(_read(name, read))


def _read(name: str, read: Callable[[Row], T]) -> Iterator[T]:
    with (folder() / name).open(encoding="utf-8", newline="") as file:
        for number, row in enumerate(csv.DictReader(file), start=2):
            try:
                yield read(row)
            except (KeyError, ValueError, TypeError) as wrong:
                raise ScenarioError(f"fixtures/shop/{name}, line {number}: {wrong}") from wrong


def _number(text: str) -> float | None:
    return float(text) if text else None


def _part(row: Row) -> Part:
    return Part(row["part"], row["name"], row["machine"], row["material"], float(row["cycle_minutes"]))


def _step(row: Row) -> Step:
    return Step(
        part=row["part"],
        number=int(row["number"]),
        name=row["name"],
        tip=row["tip"],
        body=row["body"],
        kind_of_cut=row["kind_of_cut"],
        surface_speed=float(row["surface_speed"]),
        feed=float(row["feed"]),
        depth=_number(row["depth"]),
        width=_number(row["width"]),
        length_of_cut=float(row["length_of_cut"]),
        passes=int(row["passes"]),
        work_diameter=_number(row["work_diameter"]),
        coolant=row["coolant"],
        accepted_risk=float(row["accepted_risk"]),
        cost_of_lost_part=row["cost_of_lost_part"],
        chance_part_lost=float(row["chance_part_lost"]),
        change_minutes=float(row["change_minutes"]),
        fixed_count=int(row["fixed_count"]),
        bands=tuple(_band(text) for text in row["bands"].split(";") if text),
    )


def _band(text: str) -> tuple[float, float]:
    low, high = text.split("-")
    return float(low), float(high)


def _batch(row: Row) -> Batch:
    return Batch(
        part=row["part"],
        number=row["batch"],
        from_week=float(row["from_week"]),
        to_week=float(row["to_week"]),
        speed_factor=float(row["speed_factor"]),
        feed_factor=float(row["feed_factor"]),
        state=row["state"],
    )


def _law(row: Row) -> Law:
    figures = {name: float(value) for name, value in row.items() if name not in ("design", "material")}
    return Law(design=row["design"], material=row["material"], **figures)


def _shift(row: Row) -> ShiftRow:
    days = tuple(int(day) for day in row["weekdays"])
    return ShiftRow(row["shifts"], days, time.fromisoformat(row["starts"]), time.fromisoformat(row["ends"]))
