"""16 writers of 500 mixed acts each, killed at random in between: every acknowledged act is there once, ledger clean.

Run by hand from the project's folder: python -m tests.benchmarks.bench_writers [writers] [acts]
With DATABASE_URL it makes and drops a scratch database on that server, else it makes one in a temporary folder.
A writer notes the key of an act after it was answered; one that was killed goes on with the acts that are left, and
sends its last key again first, as a tablet does that had no answer.
"""

import multiprocessing
import os
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

KILLS, STOCK, SCRATCH = 20, 100_000, "edgetally_bench_writers"


def use_django() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()


def write(writer: int, acts: int, folder: str, name: str) -> None:
    """Act number n of a writer is the same whenever it is sent; what was answered is noted line by line."""
    use_django()
    from django.db import connection

    connection.settings_dict["NAME"] = name
    from crib.catalogue.models import Design
    from crib.core.errors import Refused
    from crib.people.models import Person
    from crib.stock import services
    from crib.stock.models import Place

    person, place = Person.objects.get(username=f"writer{writer}"), Place.objects.get(code="BENCH")
    other, mine = Place.objects.get(code="OTHER"), services.place_of(person=person)
    designs = list(Design.objects.order_by("pk"))
    noted = Path(folder) / f"{writer}.txt"
    done = len(noted.read_text().splitlines()) if noted.exists() else 0
    with noted.open("a") as book:
        for number in range(done, acts):
            draw = random.Random(writer * 1_000_003 + number)
            key, design = f"bench:{writer}:{number}", draw.choice(designs)
            given: dict[str, Any] = {"design": design, "quantity": 1, "who": person, "key": key}
            try:
                match number % 4:
                    case 0 | 1:
                        services.check_out(**given, person=person, from_place=place)
                    case 2:
                        services.take_back(**given, person=person, to_place=place, condition="part_used")
                    case _:
                        services.transfer(**given, from_place=draw.choice((place, mine)), to_place=other)
                said = key
            except Refused:
                said = "refused"
            book.write(f"{said}\n")
            book.flush()


def stress(writers: int, acts: int, folder: str, name: str) -> int:
    """Run them all, killing one at random now and then; answers how many were killed."""
    context = multiprocessing.get_context("spawn")

    def start(writer: int) -> Any:
        process = context.Process(target=write, args=(writer, acts, folder, name))
        process.start()
        return process

    at_work = {writer: start(writer) for writer in range(writers)}
    draw, killed = random.Random(7), 0
    while at_work:
        time.sleep(0.5)
        for writer, process in list(at_work.items()):
            if not process.is_alive():
                at_work.pop(writer)
                if process.exitcode:
                    at_work[writer] = start(writer)
        begun = [writer for writer in at_work if (Path(folder) / f"{writer}.txt").exists()]
        if begun and killed < KILLS:
            at_work[draw.choice(begun)].kill()
            killed += 1
    return killed


def set_up(writers: int) -> None:
    from crib.stock import services
    from tests.shop import Shop

    shop = Shop()
    place = services.create_place(code="BENCH", name="Bench", kind="bin", who=shop.lead)
    services.create_place(code="OTHER", name="Other", kind="bin", who=shop.lead)
    for writer in range(writers):
        services.place_of(person=shop.person(f"writer{writer}", "machinist"))
    for number in range(20):
        services.receive(
            design=shop.design(f"T-{number}"), quantity=STOCK, to_place=place, supplier=shop.supplier, who=shop.lead,
            key=f"stock:{number}",
        )  # fmt: skip


def main() -> int:
    writers, acts = [int(word) for word in [*sys.argv[1:3], *("16", "500")[len(sys.argv) - 1 :]]]
    os.environ.setdefault("EDGETALLY_DATA", tempfile.mkdtemp(prefix="edgetally-bench-"))
    use_django()
    from django.db import connection

    from crib.stock.models import Move
    from crib.stock.selectors import check_ledger

    if connection.vendor == "postgresql":
        connection.settings_dict.setdefault("TEST", {})["NAME"] = SCRATCH
    before = str(connection.settings_dict["NAME"])
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    name = str(connection.settings_dict["NAME"])
    try:
        set_up(writers)
        with tempfile.TemporaryDirectory() as folder:
            began = time.perf_counter()
            killed = stress(writers, acts, folder, name)
            took = time.perf_counter() - began
            lines = [line for book in Path(folder).iterdir() for line in book.read_text().splitlines()]
        said = [line for line in lines if line != "refused"]
        there = list(Move.objects.filter(key__startswith="bench:").values_list("key", flat=True))
        lost, doubled = set(said) - set(there), len(there) - len(set(there))
        differences = check_ledger()
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)
    sys.stdout.write(
        f"{connection.vendor}: {writers} writers, {acts} acts each, {killed} killed, {took:.0f} s\n"
        f"answered {len(lines)}, acknowledged {len(said)}, of them missing {len(lost)}, doubled {doubled}\n"
        f"done but not acknowledged {len(set(there) - set(said))}, ledger differences {len(differences)}\n"
    )
    return 0 if not lost and not doubled and not differences and len(lines) == writers * acts else 1


if __name__ == "__main__":
    sys.exit(main())
