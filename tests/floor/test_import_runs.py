"""`import_runs`: good rows in once, each bad one told by line, column and reason, whatever the file holds."""

from __future__ import annotations

import io
import json
import tracemalloc
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from crib.core import clock
from crib.core.errors import BadInput
from crib.floor import services
from crib.floor.models import Run
from crib.floor.run_file import BadRow
from tests.floor.run_files import bad_kinds, csv_of, sound_rows
from tests.shop import Shop

HEAD = "machine,pocket,operation,started_at,ended_at,minutes_in_cut,parts,source_key\n"


def take_in(shop: Shop, data: str | bytes, **options: Any) -> tuple[services.FileReport, list[BadRow]]:
    raw = data.encode() if isinstance(data, str) else data
    bad: list[BadRow] = []
    report = services.import_run_file(file=io.BytesIO(raw), who=shop.setter, tell_bad=bad.append, **options)
    return report, bad


def row(shop: Shop, hour: float = 0, **changes: str) -> str:
    """One sound row, or one with some fields changed."""
    draft = shop.run_draft(hour=hour)
    fields = {
        "machine": "VM-1", "pocket": "3", "operation": "J-1001/20", "started_at": draft.started_at.isoformat(),
        "ended_at": draft.ended_at.isoformat(), "minutes_in_cut": "", "parts": "5", "source_key": draft.source_key,
    }  # fmt: skip
    return ",".join((fields | changes).values()) + "\n"


def test_the_same_file_again_adds_nothing(shop: Shop) -> None:
    data = HEAD + "".join(row(shop, hour) for hour in range(20))
    first, _ = take_in(shop, data)
    again, bad = take_in(shop, data)
    assert (first.logged, first.already_there) == (20, 0)
    assert (again.logged, again.already_there, bad) == (0, 20, [])
    assert (Run.objects.count(), shop.edge.minutes, shop.edge.parts) == (20, 200.0, 100)


def test_bad_rows_of_every_kind_are_told_and_the_good_ones_stand(shop: Shop) -> None:
    shop.load_tool()
    good = sound_rows(300, machine="VM-1", pocket=3, operation="J-1001/20", first=shop.long_ago, minutes=30)
    kinds = bad_kinds(now=clock.now(), first=shop.long_ago, twin=good[0])
    rows, expected = list(good), {}
    for number, (reason, column, bad) in enumerate(kinds):
        place = 5 + number * 7
        rows.insert(place, bad)
        expected[place + 2] = (column, reason)
    report, told = take_in(shop, csv_of(rows))
    assert {(one.line, one.column) for one in told} == {(line, column) for line, (column, _) in expected.items()}
    for one in told:
        assert expected[one.line][1] in one.reason, f"line {one.line}: {one.reason}"
    assert (report.logged, report.refused) == (len(good), len(kinds))
    assert Run.objects.count() == len(good)
    again, _ = take_in(shop, csv_of(rows))
    assert (again.logged, again.already_there, again.refused) == (0, len(good), len(kinds))
    assert Run.objects.count() == len(good)


def test_an_edge_stands_in_for_machine_and_pocket_and_columns_in_any_order(shop: Shop) -> None:
    shop.load_tool()
    draft = shop.run_draft()
    data = (
        "\ufeffSource_Key, parts,edge,ended_at,started_at,operation\r\n"
        f'"k,1",5,{shop.edge.item.label}/1,{draft.ended_at.isoformat()},{draft.started_at.isoformat()},J-1001/20\r\n'
        "\r\n,,,,,\r\n"
    )
    report, bad = take_in(shop, data)
    assert (report.logged, bad) == (1, [])
    run = Run.objects.get()
    assert (run.source_key, run.pocket, run.machine) == ("k,1", 3, shop.machine)


def test_a_time_without_an_offset_is_the_shops_own(shop: Shop) -> None:
    local = timezone.localtime(shop.run_draft().started_at)
    data = HEAD + row(shop, started_at=f"{local:%Y-%m-%d %H:%M:%S}")
    take_in(shop, data)
    assert Run.objects.get().started_at == local


@pytest.mark.parametrize(
    ("changes", "column", "reason"),
    [
        ({"parts": "=1+1"}, "parts", "“=1+1” is not a whole number"),
        ({"parts": "+5"}, "parts", "is not a whole number"),
        ({"parts": ""}, "parts", "is empty"),
        ({"parts": "5.5"}, "parts", "is not a whole number"),
        ({"parts": "９"}, "parts", "is not a whole number"),
        ({"parts": "9" * 50}, "parts", "is not a whole number"),
        ({"pocket": "three"}, "pocket", "is not a whole number"),
        ({"minutes_in_cut": "1_0"}, "minutes_in_cut", "is not a number of minutes"),
        ({"minutes_in_cut": "nan"}, "minutes_in_cut", "must be a number"),
        ({"minutes_in_cut": "-inf"}, "minutes_in_cut", "must be a number"),
        ({"started_at": "25/11/2026 10:00"}, "started_at", "is not a time"),
        ({"started_at": "2026-11-25"}, "started_at", "is not a time"),
        ({"ended_at": "9999-12-31T23:59:59-12:00"}, "ended_at", "year 9999"),
        ({"started_at": "0001-01-01T00:00:00+14:00"}, "started_at", "year 1 "),
        ({"source_key": ""}, "source_key", "source key of its own"),
        ({"source_key": "k\x07"}, "source_key", "cannot be printed"),
        ({"machine": "@SUM(A1)"}, "machine", "no machine"),
        ({"machine": "<script>" * 30}, "machine", "240 characters"),
        ({"operation": "J-1001/99999999999999999999"}, "operation", "no operation"),
        ({"operation": "/"}, "operation", "no operation"),
        ({"machine": "VM-1,VM-1"}, "line", "9 fields"),
        ({"machine": '"VM-1'}, "line", "quotes in the line do not close"),
        ({"machine": "V\x00M"}, "line", "NUL"),
    ],
)  # fmt: skip
def test_hostile_fields_are_told_and_the_row_after_them_stands(
    shop: Shop, changes: dict[str, str], column: str, reason: str
) -> None:
    report, bad = take_in(shop, HEAD + row(shop, 0, **changes) + row(shop, hour=4))
    assert [(one.line, one.column) for one in bad] == [(2, column)]
    assert reason in bad[0].reason
    assert report.logged == 1


def test_a_formula_in_a_key_is_only_text(shop: Shop) -> None:
    take_in(shop, HEAD + row(shop, source_key="=cmd()"))
    assert Run.objects.get().source_key == "=cmd()"


def test_a_line_in_another_encoding_is_told(shop: Shop) -> None:
    data = HEAD.encode() + row(shop).replace("VM-1", "Fräse").encode("latin-1") + row(shop, hour=2).encode()
    report, bad = take_in(shop, data)
    assert [(one.line, one.column) for one in bad] == [(2, "line")]
    assert "UTF-8" in bad[0].reason
    assert report.logged == 1


def test_an_endless_line_is_told_without_being_held(shop: Shop) -> None:
    endless = b"x" * 30_000_000
    data = io.BytesIO(HEAD.encode() + endless + b"\n" + row(shop).encode())
    bad: list[BadRow] = []
    tracemalloc.start()
    services.import_run_file(file=data, who=shop.setter, tell_bad=bad.append)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert [(one.line, one.column) for one in bad] == [(2, "line")]
    assert peak < 8_000_000
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n", "empty"),
        ("machine;pocket;operation".encode("utf-16"), "UTF-16"),
        (b"machine;pocket;operation;started_at\n", "semicolons"),
        (b"machine,pocket\n", "missing: operation, started_at, ended_at, parts, source_key"),
        (b"operation,started_at,ended_at,parts,source_key\n", "missing: machine, pocket"),
        (HEAD.replace("parts", "machine").encode(), "stands twice"),
        (HEAD.replace("parts", "partz").encode(), "no column “partz”"),
        (b"PK\x03\x04\xff\xff\x00\x00", "cannot be read"),
        (b'"machine\n', "cannot be read"),
        (b"x" * 100_000, "cannot be read"),
    ],
)
def test_a_first_line_that_cannot_be_used_refuses_the_file(shop: Shop, data: bytes, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        take_in(shop, data)


def test_a_check_writes_nothing_and_finds_what_the_import_would(shop: Shop) -> None:
    shop.load_tool()
    good = sound_rows(1200, machine="VM-1", pocket=3, operation="J-1001/20", first=shop.long_ago, minutes=10)
    overlapping = {**good[2], "source_key": "late"}
    clash = {**good[1], "parts": "1"}
    data = csv_of([*good, overlapping, clash, good[5]])
    checked, told = take_in(shop, data, only_check=True)
    assert not Run.objects.exists()
    assert (checked.logged, checked.already_there, checked.refused) == (1200, 1, 2)
    done, told_then = take_in(shop, data)
    assert (done.logged, done.already_there, done.refused) == (1200, 1, 2)
    assert told == told_then
    assert [one.column for one in told] == ["started_at", "source_key"]


# --- the command --------------------------------------------------------------------------------------


@pytest.fixture
def run_command(tmp_path: Path) -> Callable[..., tuple[int, str, str]]:
    def run(data: str, *options: str) -> tuple[int, str, str]:
        file = tmp_path / "runs.csv"
        file.write_text(data, encoding="utf-8")
        out, err = io.StringIO(), io.StringIO()
        try:
            call_command("import_runs", str(file), *options, stdout=out, stderr=err)
        except SystemExit as ended:
            return int(ended.code or 0), out.getvalue(), err.getvalue()
        return 0, out.getvalue(), err.getvalue()

    return run


def test_the_command_lists_bad_rows_and_ends_with_one(
    shop: Shop, run_command: Callable[..., tuple[int, str, str]]
) -> None:
    data = HEAD + row(shop) + row(shop, hour=3, parts="-4")
    code, out, _ = run_command(data, "--who", shop.setter.username)
    assert code == 1
    assert "line 3, parts: -4 parts cannot be made" in out
    assert "2 rows: 1 logged, 0 there already, 1 refused." in out
    assert Run.objects.get().logged_by == shop.setter


def test_the_command_answers_as_json(shop: Shop, run_command: Callable[..., tuple[int, str, str]]) -> None:
    assert shop.lead.pk
    data = HEAD + row(shop) + row(shop, hour=3, machine="VM-9")
    code, out, _ = run_command(data, "--json", "--check")
    answer = json.loads(out)
    assert (code, answer["logged"], answer["would_log"], answer["refused"]) == (1, 0, 1, 1)
    assert answer["bad_rows"] == [{"line": 3, "column": "machine", "reason": "There is no machine “VM-9”."}]
    code, out, _ = run_command(HEAD + row(shop), "--json")
    assert (code, json.loads(out)["logged"]) == (0, 1)
    assert Run.objects.get().logged_by == shop.lead


def test_the_command_says_how_far_it_is(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("crib.management.commands.import_runs.SECONDS_BETWEEN_WORDS", 0.0)
    err = io.StringIO()
    data = io.TextIOWrapper(io.BytesIO((HEAD + row(shop)).encode()))
    monkeypatch.setattr("sys.stdin", data)
    call_command("import_runs", "-", "--who", shop.setter.username, stdout=io.StringIO(), stderr=err)
    assert "1 rows read, 0 refused" in err.getvalue()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--who", "nobody"), "nobody with the user name"),
        (("--who", "pia"), "does not let them log runs"),
    ],
)
def test_the_command_needs_somebody_who_may(
    shop: Shop, run_command: Callable[..., tuple[int, str, str]], options: tuple[str, ...], words: str
) -> None:
    assert shop.planner.pk
    with pytest.raises(CommandError, match=words):
        run_command(HEAD, *options)


def test_the_command_says_what_is_wrong_with_the_file(
    shop: Shop, run_command: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
    with pytest.raises(CommandError, match="no lead"):
        run_command(HEAD)
    assert shop.lead.pk
    for name in ("absent.csv", "."):
        with pytest.raises(CommandError, match="cannot be read"):
            call_command("import_runs", str(tmp_path / name))
    with pytest.raises(CommandError, match="no column “price”"):
        run_command("price\n")


def test_sound_rows_do_not_overlap(shop: Shop) -> None:
    rows = sound_rows(3, machine="VM-1", pocket=3, operation="J-1001/20", first=shop.long_ago, minutes=30)
    assert rows[1]["started_at"] == (shop.long_ago + timedelta(minutes=30)).isoformat()
