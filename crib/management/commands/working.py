"""`manage.py working NAME key=value …`."""

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import DatabaseError

from calc.errors import WorkingError
from calc.units import System, show_number
from calc.workings import Answer, Input, InputErrors, Kind, Working, all_workings, get, run
from calc.workings.sweep import Sweep, sweep
from crib.life.known import look_up
from crib.management.base import ShopCommand


class Command(ShopCommand):
    help = "A calculator in the terminal; without a name, lists them; with a name alone, shows what it takes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", help='such as "milling"')
        parser.add_argument("inputs", nargs="*", metavar="key=value", help='such as diameter="5/8 in" teeth=6')
        parser.add_argument("--json", action="store_true", help="the answer as the API gives it")
        parser.add_argument(
            "--sweep",
            metavar="INPUT=FROM..TO",
            help='results along a range, such as axial_depth=1..20 or "diameter=5 mm..1 in"',
        )
        parser.add_argument("--of", metavar="RESULT", action="append", help="a result of the sweep; all when not given")
        parser.add_argument("--points", type=int, default=11, help="of the sweep")
        parser.add_argument("--inch", action="store_true", help="write the answer in inch units")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["name"] is None:
            self._print(_listed())
            return
        try:
            working = get(options["name"])
            if not options["inputs"] and not options["json"]:
                self._print(_described(working))
                return
            system: System = "inch" if options["inch"] else "metric"
            asked = _read_pairs(working, options["inputs"])
            if options["sweep"]:
                self._sweep(working, asked, system, options)
                return
            answer = run(working.name, asked, system, look_up)
        except DatabaseError as missing:
            raise CommandError(
                "Tools, machines and materials cannot be looked up, as the database is not ready: run "
                "manage.py migrate, or give their numbers instead."
            ) from missing
        except InputErrors as wrong:
            raise CommandError("\n".join(problem.sentence for problem in wrong.problems)) from wrong
        except WorkingError as wrong:
            raise CommandError(wrong.sentence) from wrong
        if options["json"]:
            self.stdout.write(json.dumps(answer.as_dict(), indent=2, ensure_ascii=False))
        else:
            self._print(_readable(answer))

    def _sweep(self, working: Working, asked: dict[str, Any], system: System, options: dict[str, Any]) -> None:
        over, start, stop = _read_range(options["sweep"])
        swept = sweep(working.name, asked, over, start, stop, options["points"], system, look_up)
        if options["json"]:
            self.stdout.write(json.dumps(swept.as_dict(), indent=2, ensure_ascii=False))
        else:
            self._print(_swept(swept, options["of"]))

    def _print(self, lines: list[str]) -> None:
        self.stdout.write("\n".join(lines))


def _read_pairs(working: Working, pairs: list[str]) -> dict[str, Any]:
    kinds = {entry.name: entry.kind for entry in working.inputs}
    found: dict[str, Any] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals:
            raise CommandError(f"“{pair}” is not of the form key=value, such as diameter=10.")
        if key in found:
            raise CommandError(f"{key} is given twice.")
        found[key] = _read_json(key, value) if kinds.get(key) in (Kind.LIST, Kind.OBJECT) else value
    return found


def _read_range(text: str) -> tuple[str, str, str]:
    over, equals, ends = text.partition("=")
    start, dots, stop = ends.partition("..")
    if not equals or not dots:
        raise CommandError(f"“{text}” is not of the form INPUT=FROM..TO, such as axial_depth=1..20.")
    return over, start, stop


def _read_json(key: str, value: str) -> Any:
    try:
        return json.loads(value)
    except ValueError:
        raise CommandError(f"{key} must be JSON, such as [1, 2] or {{…}}, in quotes of the shell.") from None


def _listed() -> list[str]:
    wide = max(len(working.name) for working in all_workings())
    lines: list[str] = []
    family = ""
    for working in all_workings():
        if working.family != family:
            family = working.family
            lines += ["", family] if lines else [family]
        lines.append(f"  {working.name:<{wide}}  {working.says}")
    return [*lines, "", "manage.py working NAME shows what one takes."]


def _described(working: Working) -> list[str]:
    lines = [
        working.title,
        working.says,
        "",
        "Takes (key=value; a number in the unit shown, or with a unit of its own):",
    ]
    lines += _table([(entry.name, entry.unit, _says(working, entry)) for entry in working.inputs])
    lines += ["", "Gives:"]
    lines += _table([(result.name, result.unit, result.label) for result in working.results])
    example = " ".join(f"{name}={_typed(value)}" for name, value in working.example.items())
    return [*lines, "", "For example:", f"  manage.py working {working.name} {example}"]


def _typed(example: Any) -> str:
    if isinstance(example, list | dict):
        return f"'{json.dumps(example)}'"
    return f'"{example}"' if " " in str(example) else str(example)


def _says(working: Working, entry: Input) -> str:
    words = [entry.label + (f" ({entry.symbol})" if entry.symbol else "")]
    if entry.required:
        words.append("needed")
    if entry.group:
        group = next(group for group in working.groups if group.name == entry.group)
        words.append(f"one way to say {group.label}")
    if entry.choices:
        words.append(" or ".join(entry.choices))
    if entry.default is not None:
        words.append(f"{_plain(entry.default)} if not given")
    return "; ".join(words)


def _plain(value: Any) -> str:
    return ("no", "yes")[value] if isinstance(value, bool) else str(value)


def _table(rows: list[tuple[str, str, str]]) -> list[str]:
    first = max(len(row[0]) for row in rows)
    second = max(len(row[1]) for row in rows)
    return [f"  {name:<{first}}  {unit:<{second}}  {says}".rstrip() for name, unit, says in rows]


def _readable(answer: Answer) -> list[str]:
    working = answer.working
    lines = [working.title, ""]
    labels = [(result, answer.results[result.name].text) for result in working.results if result.name in answer.results]
    named = [(" ".join(filter(None, (result.label, result.symbol))), text) for result, text in labels]
    wide = max(len(name) for name, _ in named)
    lines += [f"  {name:<{wide}}  {text or '–'}" for name, text in named]
    lines += ["", "The working"]
    for step in answer.steps:
        lines += [f"  {step.says}: {step.formula}", f"    = {step.with_numbers} = {step.result}  [{step.source}]"]
    for heading, sentences in (("Assumed", answer.assumed), ("Take care", (*answer.warnings, *answer.cautions))):
        if sentences:
            lines += ["", heading, *(f"  {sentence}" for sentence in sentences)]
    return [*lines, "", f"Sources: {', '.join(answer.sources)} (calc/references.md)"]


def _swept(swept: Sweep, wanted: list[str] | None) -> list[str]:
    """A table in the listed units: the input, then each result."""
    known = {curve.name: curve for curve in swept.curves}
    if unknown := [name for name in wanted or () if name not in known]:
        raise CommandError(f"There is no result “{unknown[0]}” in this sweep. There are: {', '.join(known)}.")
    curves = [known[name] for name in wanted or known]
    heads = [(swept.over.name, swept.over.unit), *((curve.name, curve.result.unit) for curve in curves)]
    columns = [swept.at, *(curve.values for curve in curves)]
    rows = [["–" if value is None else show_number(value) for value in row] for row in zip(*columns, strict=True)]
    table = [[f"{name} {unit}".strip() for name, unit in heads], *rows]
    wide = [max(len(row[place]) for row in table) for place in range(len(heads))]
    lines = ["  ".join(f"{cell:>{width}}" for cell, width in zip(row, wide, strict=True)) for row in table]
    limits = [f"{show_number(one.start)} to {show_number(one.stop)}: {one.says}" for one in swept.stretches]
    return [*lines, *([""] if limits or swept.ends else []), *limits, *swept.ends]
