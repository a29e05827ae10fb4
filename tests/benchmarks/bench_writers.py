"""16 writers of 500 mixed acts each, killed at random in between: every acknowledged act is there once, ledger clean.

Run by hand from the project's folder: python -m tests.benchmarks.bench_writers [writers] [acts]
With DATABASE_URL it makes and drops a scratch database on that server, else it makes one in a temporary folder.
"""

import os
import sys
import tempfile
from pathlib import Path

KILLS, SCRATCH, DESIGNS = 20, "edgetally_bench_writers", 20


def main() -> int:
    writers, acts = [int(word) for word in [*sys.argv[1:3], *("16", "500")[len(sys.argv) - 1 :]]]
    os.environ.setdefault("EDGETALLY_DATA", tempfile.mkdtemp(prefix="edgetally-bench-"))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from django.db import connection

    from tests.shop import Shop
    from tests.writers import lay_out, run_writers

    if connection.vendor == "postgresql":
        connection.settings_dict.setdefault("TEST", {})["NAME"] = SCRATCH
    before = str(connection.settings_dict["NAME"])
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        lay_out(Shop(), writers=writers, designs=DESIGNS)
        with tempfile.TemporaryDirectory() as folder:
            done = run_writers(writers=writers, acts=acts, kills=KILLS, folder=Path(folder))
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)
    sys.stdout.write(
        f"{connection.vendor}: {writers} writers, {acts} acts each, {done.killed} killed, {done.broken} broken off, "
        f"{done.seconds:.0f} s, {done.answered / done.seconds:.0f} acts a second\n"
        f"answered {done.answered}, acknowledged {done.acknowledged}, of them missing {len(done.missing)}, "
        f"doubled {len(done.doubled)}\n"
        f"done but not acknowledged {done.unnoted}, ledger differences {len(done.differences)}\n"
    )
    sound = not done.missing and not done.doubled and not done.differences and not done.broken
    return 0 if sound and done.answered == writers * acts else 1


if __name__ == "__main__":
    sys.exit(main())
