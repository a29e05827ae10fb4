"""How fast `import_runs` takes in a file, and how much memory it needs: SQLite or PostgreSQL, against a raw COPY.

By hand: `python tests/benchmarks/bench_import_runs.py` for SQLite, with DATABASE_URL set for PostgreSQL. A database
named `test_…` is made for it and dropped again. One row in a hundred is bad, of every kind that there is.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

MACHINES, POCKETS = 5, 10
MINUTES_PER_RUN, RUNS_PER_EDGE = 3, 35


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=200_000)
    asked.add_argument("--repeats", type=int, default=5)
    options = asked.parse_args()

    import django

    django.setup()
    from django.test.utils import get_runner, setup_test_environment

    setup_test_environment()
    from django.conf import settings

    runner = get_runner(settings)(verbosity=0, interactive=False)
    made = runner.setup_databases()
    try:
        bench(options.rows, options.repeats)
    finally:
        runner.teardown_databases(made)


def bench(rows: int, repeats: int) -> None:
    from django.db import connection

    shop, first = tool_up(rows)
    small, whole = Path(f"{os.environ['EDGETALLY_DATA']}/small.csv"), Path(f"{os.environ['EDGETALLY_DATA']}/runs.csv")
    write_file(small, shop, first, max(rows // 10, 1000))
    bad = write_file(whole, shop, first, rows)
    forget_runs()
    _, small_memory = take_in(small, shop)
    paces, raw_paces, memory = [], [], 0.0
    for _ in range(repeats):
        forget_runs()
        answer, memory = take_in(whole, shop)
        check(answer, rows, bad)
        paces.append(rows / answer["seconds"])
        again, _ = take_in(whole, shop)
        assert (again["logged"], again["already_there"], again["refused"]) == (0, rows - bad, bad), again
        if connection.vendor == "postgresql":
            raw_paces.append(raw_copy())
    say(f"database                     {connection.vendor}")
    say(f"rows, of them bad            {rows}, {bad}")
    say(f"rows a second, median        {statistics.median(paces):.0f} (of {', '.join(f'{one:.0f}' for one in paces)})")
    say(f"the same file again          {rows / again['seconds']:.0f} rows a second, nothing added")
    say(f"peak memory, {rows // 10} / {rows} rows  {small_memory:.0f} / {memory:.0f} MB")
    if raw_paces:
        raw = statistics.median(raw_paces)
        say(
            f"raw COPY, same table         {raw:.0f} rows a second; import_runs reaches "
            f"{statistics.median(paces) / raw:.0%}"
        )


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def tool_up(rows: int) -> tuple[Any, datetime]:
    """Machines with loaded pockets whose edges followed each other long enough for so many runs."""
    from crib.catalogue.services import create_machine
    from crib.floor import services
    from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
    from tests.shop import Shop

    shop = Shop()
    per_pocket = -(-rows // (MACHINES * POCKETS)) + 1
    first = shop.long_ago - timedelta(minutes=MINUTES_PER_RUN * per_pocket)
    shop.operation  # noqa: B018  # made here, named in the file
    for number in range(MACHINES):
        create_machine(
            code=f"M-{number}", name="Mill", nose_system="7/24", nose_size="40", pockets=POCKETS, who=shop.lead
        )
    from crib.catalogue.models import Machine

    for machine in Machine.objects.filter(code__startswith="M-"):
        for pocket in range(1, POCKETS + 1):
            assembly = shop.assembly_with(shop.chamfer_tip)
            services.load_pocket(machine=machine, pocket=pocket, assembly=assembly, who=shop.setter)
            spread_edges(assembly, first, per_pocket)
    # The tools are set back in time as a whole; no service would let them be built before their parts came.
    for model, field in ((Assembly, "built_at"), (Fitting, "fitted_at"), (PocketLoad, "loaded_at")):
        model._default_manager.update(**{field: first})
    assert Edge.objects.filter(state="in_use").count() == MACHINES * POCKETS
    return shop, first


def spread_edges(assembly: Any, first: datetime, runs: int) -> None:
    """As many edges, one after the other, as the runs of a pocket wear out."""
    from crib.floor.models import Edge

    item = assembly.fittings.get().item
    Edge.objects.filter(item=item).delete()
    life = timedelta(minutes=MINUTES_PER_RUN * RUNS_PER_EDGE)
    count = -(-runs // RUNS_PER_EDGE)
    Edge.objects.bulk_create(
        Edge(
            item=item,
            number=number + 1,
            state="in_use" if number == count - 1 else "ended",
            outcome="" if number == count - 1 else "worn",
            put_in_at=first + life * number,
            ended_at=None if number == count - 1 else first + life * (number + 1),
        )
        for number in range(count)
    )


def write_file(path: Path, shop: Any, first: datetime, rows: int) -> int:
    """Write the file in the order of time; answers how many of its rows are bad."""
    from tests.floor.run_files import COLUMNS

    bad = 0
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        good = good_rows(first)
        kinds = endless_bad_rows(first)
        for number in range(rows):
            is_bad = number % 100 == 99
            bad += is_bad
            writer.writerow(next(kinds) if is_bad else next(good))
    return bad


def good_rows(first: datetime) -> Iterator[dict[str, str]]:
    number = 0
    while True:
        start = first + timedelta(minutes=MINUTES_PER_RUN * number)
        end = start + timedelta(minutes=MINUTES_PER_RUN)
        for machine in range(MACHINES):
            for pocket in range(1, POCKETS + 1):
                yield {
                    "machine": f"M-{machine}",
                    "pocket": str(pocket),
                    "operation": "J-1001/20",
                    "started_at": start.isoformat(),
                    "ended_at": end.isoformat(),
                    "minutes_in_cut": "2.5",
                    "parts": "2",
                    "source_key": f"M-{machine}/{pocket}/{number}",
                }
        number += 1


def endless_bad_rows(first: datetime) -> Iterator[dict[str, str]]:
    from crib.core import clock
    from tests.floor.run_files import bad_kinds

    twin = next(good_rows(first))
    number = 0
    while True:
        for _, column, row in bad_kinds(now=clock.now(), first=first, twin=twin):
            number += 1
            yield row if column == "source_key" else row | {"source_key": f"bad-{number}"}


def take_in(path: Path, shop: Any) -> tuple[dict[str, Any], float]:
    """Run the command as a shop does, in a process of its own; its answer and its peak memory in MB."""
    from django.db import connection

    script = (
        "import resource, sys, django; django.setup()\n"
        "from django.core.management import call_command\n"
        "from django.db import connection\n"
        "connection.settings_dict['NAME'] = sys.argv[3]\n"
        "try:\n"
        "    call_command('import_runs', sys.argv[1], '--json', '--who', sys.argv[2])\n"
        "finally:\n"
        "    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
    )
    name = str(connection.settings_dict["NAME"])
    done = subprocess.run(
        [sys.executable, "-c", script, str(path), shop.setter.username, name],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if not done.stdout:
        raise SystemExit(done.stderr)
    return json.loads(done.stdout), int(done.stderr.split()[-1]) / 1024


def check(answer: dict[str, Any], rows: int, bad: int) -> None:
    """Every good row is in once, every bad one is told, and the totals are the sums of the runs."""
    from django.db.models import Sum

    from crib.floor.models import Edge, EdgeMinutes, Run

    assert (answer["rows"], answer["logged"], answer["refused"]) == (rows, rows - bad, bad), answer["bad_rows"][:3]
    assert len({row["reason"].split("“")[0][:12] for row in answer["bad_rows"]}) >= 10, "bad rows of many kinds"
    sums = [
        model._default_manager.aggregate(parts=Sum("parts"), minutes=Sum("minutes"))
        for model in (Run, Edge, EdgeMinutes)
    ]
    assert sums[0]["parts"] == sums[1]["parts"] == sums[2]["parts"] == 2 * (rows - bad)
    assert max(one["minutes"] for one in sums) - min(one["minutes"] for one in sums) < 1e-3


def forget_runs() -> None:
    from crib.floor.models import Edge, EdgeMinutes, Run

    for model in (EdgeMinutes, Run):
        model._default_manager.all()._raw_delete("default")
    Edge.objects.update(minutes=0, parts=0, last_run_ended_at=None)


def raw_copy() -> float:
    """Rows a second of a bare COPY of the very same runs into the very same table."""
    from django.db import connection

    from crib.floor.models import Run
    from crib.floor.totals import RUN_COLUMNS

    columns = ", ".join(RUN_COLUMNS)
    held = io.BytesIO()
    with connection.cursor() as cursor:
        with cursor.copy(f"COPY (SELECT {columns} FROM crib_run ORDER BY id) TO STDOUT") as out:
            for block in out:
                held.write(block)
        Run.objects.all()._raw_delete("default")
        cursor.execute("VACUUM crib_run")
        started = time.perf_counter()
        with cursor.copy(f"COPY crib_run ({columns}) FROM STDIN") as copy:
            copy.write(held.getvalue())
        seconds = time.perf_counter() - started
        cursor.execute("SELECT count(*) FROM crib_run")
        return int(cursor.fetchone()[0]) / seconds


if __name__ == "__main__":
    main()
