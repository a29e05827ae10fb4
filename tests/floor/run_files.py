"""Files of runs for the tests and the benchmark: sound rows, and one bad row of every kind."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import datetime, timedelta

COLUMNS = ("machine", "pocket", "operation", "started_at", "ended_at", "minutes_in_cut", "parts", "source_key")
Row = dict[str, str]


def sound_rows(
    count: int,
    *,
    machine: str,
    pocket: int,
    operation: str,
    first: datetime,
    minutes: float,
    parts: int = 4,
    stem: str = "k",
) -> list[Row]:
    """Runs that follow each other without a gap; their minutes are half the clock's."""
    rows = []
    for number in range(count):
        start = first + timedelta(minutes=minutes) * number
        rows.append(
            {
                "machine": machine,
                "pocket": str(pocket),
                "operation": operation,
                "started_at": start.isoformat(),
                "ended_at": (start + timedelta(minutes=minutes)).isoformat(),
                "minutes_in_cut": f"{minutes / 2:.3f}",
                "parts": str(parts),
                "source_key": f"{stem}-{machine}-{pocket}-{number}",
            }
        )
    return rows


def bad_kinds(*, now: datetime, first: datetime, twin: Row) -> list[tuple[str, str, Row]]:
    """(words of the reason, column, row): one for each thing that can be wrong with a row of its own."""
    sound = {**twin, "source_key": ""}
    soon = now + timedelta(hours=2)
    early = first - timedelta(hours=5)
    changes: list[tuple[str, str, Row]] = [
        ("before it starts", "ended_at", {"ended_at": (first - timedelta(hours=1)).isoformat()}),
        ("cannot be made", "parts", {"parts": "-3"}),
        ("are below zero", "minutes_in_cut", {"minutes_in_cut": "-1.5"}),
        ("more than the", "minutes_in_cut", {"minutes_in_cut": "4000"}),
        ("no machine", "machine", {"machine": "NOWHERE"}),
        ("has pockets 1 to", "pocket", {"pocket": "999"}),
        ("no operation", "operation", {"operation": "J-NONE/10"}),
        (
            "lies in the future",
            "started_at",
            {"started_at": soon.isoformat(), "ended_at": (soon + timedelta(hours=1)).isoformat()},
        ),
        ("shift by shift", "ended_at", {"ended_at": (first + timedelta(hours=30)).isoformat()}),
        ("which this one overlaps", "started_at", {}),
        ("came before with another run", "source_key", {"source_key": twin["source_key"], "parts": "1"}),
        (
            "Nothing was loaded",
            "pocket",
            {"started_at": early.isoformat(), "ended_at": (early + timedelta(minutes=30)).isoformat()},
        ),
        ("is not a time", "started_at", {"started_at": "yesterday at ten"}),
        ("is not a whole number", "parts", {"parts": "=2+3"}),
        ("is not a number of minutes", "minutes_in_cut", {"minutes_in_cut": "ten"}),
        ("nothing to log", "parts", {"parts": "0", "minutes_in_cut": ""}),
    ]
    bad = []
    for number, (reason, column, change) in enumerate(changes):
        bad.append((reason, column, {**sound, "source_key": f"bad-{number}", **change}))
    return bad


def csv_of(rows: Iterable[Row]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
