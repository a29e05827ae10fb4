"""Check-outs through the service by 8 writers on PostgreSQL, against the same rows in bare SQL transactions.

Run by hand from the project's folder, on a server where a scratch database may be made and dropped:
DATABASE_URL=postgres://postgres@127.0.0.1/postgres python -m tests.benchmarks.bench_checkout
Both sides write a move, two balances and the design's pulse in one transaction each; rounds take turns, figures are
medians. Afterwards the ledger is checked: nothing lost, nothing doubled.
"""

import multiprocessing
import os
import random
import statistics
import sys
import time
import uuid
from typing import Any

WRITERS, ROUNDS, EACH, DESIGNS, STOCK = 8, 5, 100, 40, 100_000
SCRATCH = "edgetally_bench"

_TAKE = """UPDATE crib_balance SET quantity = quantity - 1
WHERE design_id = %s AND condition = 'new' AND place_id = %s AND quantity >= labelled + 1"""
_PUT = """INSERT INTO crib_balance (design_id, condition, place_id, quantity, labelled, may_go_negative)
VALUES (%s, 'new', %s, 1, 0, false)
ON CONFLICT (design_id, condition, place_id) DO UPDATE SET quantity = crib_balance.quantity + 1"""
_MOVE = """INSERT INTO crib_move
(design_id, condition, becomes, quantity, from_place_id, to_place_id, who_id, at, why, note, key)
VALUES (%s, 'new', 'new', 1, %s, %s, %s, now(), 'check_out', '', %s)"""
_PULSE = """INSERT INTO crib_designpulse (design_id, revision) VALUES (%s, 1)
ON CONFLICT (design_id) DO UPDATE SET revision = crib_designpulse.revision + 1"""


def use_django() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()


def write_both_ways(writer: int, start: Any, done: Any) -> None:
    """One writer: in each round first in bare SQL, then through the service, each time together with the others."""
    use_django()
    import psycopg
    from django.db import connection

    from crib.catalogue.models import Design
    from crib.people.models import Person
    from crib.stock.models import Place

    person, place = Person.objects.get(username=f"writer{writer}"), Place.objects.get(code="BENCH")
    designs = list(Design.objects.all())
    given = connection.get_connection_params()
    wanted = {name: given[name] for name in ("dbname", "user", "password", "host", "port") if given.get(name)}
    with psycopg.connect(**wanted) as bare:
        for turn in range(ROUNDS):
            chosen = [random.choice(designs) for _ in range(EACH)]
            for way in ("bare", "service"):
                start.wait(timeout=300)
                began = time.perf_counter()
                if way == "bare":
                    in_bare_sql(bare, chosen, person, place)
                else:
                    through_the_service(chosen, person, place)
                done.put((way, turn, began, time.perf_counter()))


def through_the_service(chosen: list[Any], person: Any, place: Any) -> None:
    from crib.stock.services import check_out

    for design in chosen:
        check_out(
            design=design, quantity=1, person=person, from_place=place, who=person, key=f"bench:{uuid.uuid4().hex}"
        )


def in_bare_sql(bare: Any, chosen: list[Any], person: Any, place: Any) -> None:
    mine = person.place.pk
    with bare.cursor() as cursor:
        for design in chosen:
            cursor.execute(_TAKE, (design.pk, place.pk))
            assert cursor.rowcount == 1
            cursor.execute(_PUT, (design.pk, mine))
            cursor.execute(_MOVE, (design.pk, place.pk, mine, person.pk, f"bench:{uuid.uuid4().hex}"))
            cursor.execute(_PULSE, (design.pk,))
            bare.commit()


def measured() -> dict[str, list[float]]:
    """Transactions a second of all writers together for each round, from the first start to the last end."""
    context = multiprocessing.get_context("spawn")
    start, done = context.Barrier(WRITERS), context.Queue()
    writers = [context.Process(target=write_both_ways, args=(writer, start, done)) for writer in range(WRITERS)]
    for process in writers:
        process.start()
    times = [done.get(timeout=600) for _ in range(2 * ROUNDS * WRITERS)]
    for process in writers:
        process.join()
    speeds: dict[str, list[float]] = {"bare": [], "service": []}
    for way, found in speeds.items():
        for turn in range(ROUNDS):
            spans = [(began, ended) for kind, number, began, ended in times if (kind, number) == (way, turn)]
            found.append(WRITERS * EACH / (max(end for _, end in spans) - min(begin for begin, _ in spans)))
    return speeds


def set_up() -> None:
    from tests.shop import Shop

    shop = Shop()
    from crib.stock import services

    place = services.create_place(code="BENCH", name="Bench", kind="bin", who=shop.lead)
    for writer in range(WRITERS):
        services.place_of(person=shop.person(f"writer{writer}", "machinist"))
    for number in range(DESIGNS):
        design = shop.design(f"T-{number}")
        services.receive(
            design=design, quantity=STOCK, to_place=place, supplier=shop.supplier, who=shop.lead, key=f"bench:{number}"
        )


def main() -> int:
    use_django()
    from django.db import connection

    from crib.stock.models import Move
    from crib.stock.selectors import check_ledger

    if connection.vendor != "postgresql":
        sys.stderr.write("Set DATABASE_URL to a PostgreSQL server.\n")
        return 1
    connection.settings_dict.setdefault("TEST", {})["NAME"] = SCRATCH
    given = os.environ["DATABASE_URL"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    os.environ["DATABASE_URL"] = given.rsplit("/", 1)[0] + "/" + SCRATCH
    try:
        set_up()
        before = Move.objects.count()
        speeds = measured()
        written, wanted = Move.objects.count() - before, 2 * ROUNDS * WRITERS * EACH
        differences = check_ledger()
    finally:
        connection.creation.destroy_test_db(SCRATCH, verbosity=0)
    ours, theirs = statistics.median(speeds["service"]), statistics.median(speeds["bare"])
    sys.stdout.write(
        f"check-outs a second, {WRITERS} writers, medians of {ROUNDS}: service {ours:.0f}, bare SQL {theirs:.0f}, "
        f"{100 * ours / theirs:.0f} %\nmoves written {written} of {wanted}, ledger differences {len(differences)}\n"
    )
    return 0 if written == wanted and not differences else 1


if __name__ == "__main__":
    sys.exit(main())
