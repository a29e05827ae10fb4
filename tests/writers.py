"""Writers that act at the same time, some of them killed: each act that was answered must be there exactly once.

A writer notes the key of an act after it was answered. One that was killed goes on with the acts that are left and
sends its last key again first, as a tablet does that had no answer.
"""

from __future__ import annotations

import multiprocessing
import random
import signal
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from django.db import connections

from crib.catalogue.models import Design
from crib.core import wake
from crib.core.errors import Refused
from crib.people.models import Person
from crib.stock import services
from crib.stock.models import Move, Place
from crib.stock.selectors import check_ledger
from tests.shop import Shop

MANY, LOOK_SECONDS, REFUSED = 100_000, 0.01, "refused"


@dataclass(frozen=True)
class Outcome:
    """What the writers' notes and the ledger say when all of them are done."""

    seconds: float
    killed: int
    broken: int
    answered: int
    acknowledged: int
    missing: tuple[str, ...]
    doubled: tuple[str, ...]
    unnoted: int
    differences: tuple[str, ...]


def lay_out(shop: Shop, *, writers: int, designs: int) -> None:
    """Two bins, enough of every design in the first, and the people who draw from it."""
    place = services.create_place(code="BENCH", name="Bench", kind="bin", who=shop.lead)
    services.create_place(code="OTHER", name="Other", kind="bin", who=shop.lead)
    for writer in range(writers):
        services.place_of(person=shop.person(f"writer{writer}", "machinist"))
    for number in range(designs):
        services.receive(
            design=shop.design(f"T-{number}"), quantity=MANY, to_place=place, supplier=shop.supplier, who=shop.lead,
            key=f"stock:{number}",
        )  # fmt: skip


def run_writers(*, writers: int, acts: int, kills: int, folder: Path) -> Outcome:
    """Run them all to their end, killing one at random whenever so many more acts were answered."""
    began = time.perf_counter()
    killed, broken = _run(writers, acts, kills, folder)
    seconds = time.perf_counter() - began
    lines = [line for book in folder.iterdir() for line in book.read_text().splitlines()]
    said = [line for line in lines if line != REFUSED]
    there = Counter(Move.objects.filter(key__startswith="bench:").values_list("key", flat=True))
    return Outcome(
        seconds=seconds,
        killed=killed,
        broken=broken,
        answered=len(lines),
        acknowledged=len(said),
        missing=tuple(sorted(set(said) - set(there))),
        doubled=tuple(sorted(key for counts in (there, Counter(said)) for key, times in counts.items() if times > 1)),
        unnoted=len(set(there) - set(said)),
        differences=tuple(difference.sentence for difference in check_ledger()),
    )


def _run(writers: int, acts: int, kills: int, folder: Path) -> tuple[int, int]:
    # Forked and not begun anew: a new program would take seconds to start. No connection may be open meanwhile.
    connections.close_all()
    context = multiprocessing.get_context("fork")

    def start(writer: int) -> Any:
        process = context.Process(target=_write, args=(writer, acts, folder / f"{writer}.txt"))
        process.start()
        return process

    at_work = {writer: start(writer) for writer in range(writers)}
    draw, killed, broken = random.Random(7), 0, 0
    while at_work:
        time.sleep(LOOK_SECONDS)
        for writer, process in list(at_work.items()):
            if process.is_alive():
                continue
            process.join()
            del at_work[writer]
            if process.exitcode == 0:
                continue
            broken += process.exitcode != -signal.SIGKILL
            if broken <= writers:
                at_work[writer] = start(writer)
        answered = sum(book.read_bytes().count(b"\n") for book in folder.iterdir())
        if at_work and killed < kills and answered > writers * acts * (killed + 1) // (kills + 2):
            at_work[draw.choice(sorted(at_work))].kill()
            killed += 1
    return killed, broken


def _write(writer: int, acts: int, noted: Path) -> None:
    """Act number n of a writer is the same whenever it is sent; what was answered is noted line by line."""
    person = Person.objects.get(username=f"writer{writer}")
    places = Place.objects.in_bulk(["BENCH", "OTHER"], field_name="code")
    designs = list(Design.objects.filter(code__startswith="T-").order_by("pk"))
    done = noted.read_text().count("\n") if noted.exists() else 0
    # The queue has its own tests; importing it anew in every writer would only take time.
    with noted.open("a") as book, mock.patch.object(wake, "_sender_of_this_process"):
        for number in range(done, acts):
            try:
                said = _act(writer, number, person, places, designs)
            except Refused:
                said = REFUSED
            book.write(f"{said}\n")
            book.flush()


def _act(writer: int, number: int, person: Person, places: dict[str, Place], designs: list[Design]) -> str:
    draw = random.Random(writer * 1_000_003 + number)
    key, design = f"bench:{writer}:{number}", draw.choice(designs)
    given: dict[str, Any] = {"design": design, "quantity": 1, "who": person, "key": key}
    crib, other, own = places["BENCH"], places["OTHER"], services.place_of(person=person)
    match number % 5:
        case 0 | 1:
            services.check_out(**given, person=person, from_place=crib)
        case 2:
            services.take_back(**given, person=person, to_place=crib, condition="part_used")
        case 3:
            services.transfer(**given, from_place=draw.choice((crib, own)), to_place=other)
        case _:
            services.transfer(**given, from_place=other, to_place=crib)
    return key
