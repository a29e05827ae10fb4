"""Loads a catalogue from one CSV file: good rows once, bad rows by line, column and reason.

Each row says in `record` what it is: supplier, material, machine, design or offer. Their order is free; an empty cell
leaves a new entry at its default and a known one as it was. The same file again changes nothing. A cell that looks like
a formula is text like any other.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import IO, Any, TypeAlias

from django.db import transaction

from crib.catalogue import reading
from crib.catalogue.models import Design, Machine, Offer, Supplier, WorkMaterial
from crib.catalogue.services import things
from crib.core.errors import BadInput, ShopError
from crib.people.models import Person

LARGEST_BYTES = 20 * 1024 * 1024
MOST_ROWS = 100_000
LONGEST_CELL = 2_000

Reader: TypeAlias = Callable[[str, str], Any]


@dataclass(frozen=True)
class RefusedRow:
    """One row that was not taken, or a part of the file that could not be read."""

    line: int
    column: str
    reason: str


@dataclass
class CatalogueReport:
    """What became of each row."""

    created: int = 0
    changed: int = 0
    unchanged: int = 0
    only_checked: bool = False
    refused: list[RefusedRow] = field(default_factory=list)

    @property
    def rows(self) -> int:
        return self.created + self.changed + self.unchanged + len(self.refused)


def _text(column: str, text: str) -> str:
    return text


def _in(unit: str) -> Reader:
    return partial(_measure, unit)


def _measure(unit: str, column: str, text: str) -> float:
    return reading.read_measure(column, text, unit)


def _design(column: str, text: str) -> Design:
    found = Design.objects.filter(code=text.upper()).first()
    if found is None:
        raise BadInput(column, f"There is no design “{text[:40]}”. Add it above, or correct the code.")
    return found


def _supplier(column: str, text: str) -> Supplier:
    found = Supplier.objects.filter(name=text).first()
    if found is None:
        raise BadInput(column, f"There is no supplier “{text[:40]}”. Add it above, or correct the name.")
    return found


_whole, _money, _number, _yes = reading.read_whole, reading.read_money, reading.read_number, reading.read_yes
_prices: Reader = lambda column, text: reading.read_prices(text)  # noqa: E731  # a reader like the others
_curve: Reader = lambda column, text: reading.read_curve(text)  # noqa: E731
_shifts: Reader = lambda column, text: [things.ShiftTimes(*one) for one in reading.read_shifts(text)]  # noqa: E731

SUPPLIER: dict[str, Reader] = {"name": _text, "email": _text, "free_freight_from": _money}
MATERIAL: dict[str, Reader] = {
    "name": _text, "iso_group": _text, "hardness": _text, "kc11": _in("N/mm²"), "kc11_source": _text, "mc": _number,
    "mc_source": _text, "taylor_n": _number, "taylor_n_source": _text, "speed_low": _in("m/min"),
    "speed_high": _in("m/min"), "speed_source": _text,
}  # fmt: skip
MACHINE: dict[str, Reader] = {
    "code": _text, "name": _text, "nose_system": _text, "nose_size": _text, "pockets": _whole,
    "max_spindle_speed": _in("1/min"), "max_feed_rate": _in("mm/min"), "max_power_kw": _in("kW"),
    "power_curve": _curve, "efficiency": _number, "stop_minutes": _in("min"), "hourly_rate": _money, "feed": _text,
    "shifts": _shifts,
}  # fmt: skip
DESIGN: dict[str, Reader] = {
    "code": _text, "kind": _text, "description": _text, "family": _text, "makers_number": _text, "unit_cost": _money,
    "pack_size": _whole, "returnable": _yes, "return_days": _whole, "regrinds_allowed": _whole, "regrind_cost": _money,
    "carbide_mass_g": _number, "edges": _whole, "seats": _whole, "diameter_mm": _in("mm"), "tip_flat_mm": _in("mm"),
    "teeth": _whole, "included_angle_deg": _number, "lead_angle_deg": _number, "corner_radius_mm": _in("mm"),
    "max_depth_mm": _in("mm"), "point_angle_deg": _number, "pitch_mm": _in("mm"), "shank_mm": _in("mm"),
    "length_mm": _in("mm"), "max_spindle_speed": _in("1/min"), "hone_mm": _in("mm"), "max_chip_mm": _in("mm"),
    "clamp_torque_nm": _in("N·m"), "balance_note": _text,
    "machine_side_system": _text, "machine_side_size": _text, "work_side_system": _text, "work_side_size": _text,
}  # fmt: skip
OFFER: dict[str, Reader] = {
    "design": _design, "supplier": _supplier, "suppliers_number": _text, "pack": _whole, "minimum": _whole,
    "lead_days": _number, "lead_days_sd": _number, "prices": _prices,
}  # fmt: skip
# In the order in which they need each other.
RECORDS: dict[str, dict[str, Reader]] = {
    "supplier": SUPPLIER, "material": MATERIAL, "machine": MACHINE, "design": DESIGN, "offer": OFFER,
}  # fmt: skip
NEEDED = {
    "supplier": ("name",),
    "material": ("name", "iso_group", "kc11", "mc"),
    "machine": ("code", "name"),
    "design": ("code", "kind", "description"),
    "offer": ("design", "supplier", "lead_days", "prices"),
}


def import_columns() -> dict[str, list[str]]:
    """The columns that each kind of row may fill, for whoever writes the file."""
    return {record: list(columns) for record, columns in RECORDS.items()}


def read_rows(*, file: IO[bytes], report: CatalogueReport, record: str) -> list[dict[str, Any]]:
    """The rows of one kind as the services take them; what cannot be read stands in the report."""
    read = []
    for line, cells in _read(file, report).get(record, ()):
        try:
            read.append(_read_cells(record, cells))
        except ShopError as refused:
            report.refused.append(RefusedRow(line, refused.field or "", refused.sentence))
    return read


def import_catalogue(*, file: IO[bytes], who: Person, only_check: bool = False) -> CatalogueReport:
    """Load the rows of a CSV file; `only_check` reads all and keeps nothing."""
    report = CatalogueReport(only_checked=only_check)
    rows = _read(file, report)
    with transaction.atomic():
        for record in RECORDS:
            for line, cells in rows.get(record, ()):
                _take(record, line, cells, who, report)
        report.refused.sort(key=lambda one: one.line)
        transaction.set_rollback(only_check)
    return report


def _take(record: str, line: int, cells: Mapping[str, str], who: Person, report: CatalogueReport) -> None:
    try:
        with transaction.atomic():
            what = _keep(record, _read_cells(record, cells), who)
    except ShopError as refused:
        report.refused.append(RefusedRow(line, refused.field or "", refused.sentence))
        return
    setattr(report, what, getattr(report, what) + 1)


def _read_cells(record: str, cells: Mapping[str, str]) -> dict[str, Any]:
    columns = RECORDS[record]
    for column in cells:
        if column not in columns:
            raise BadInput(column, f"A {record} has no {column}. Leave this cell empty.")
    return {column: columns[column](column, text) for column, text in cells.items()}


def _keep(record: str, fields: dict[str, Any], who: Person) -> str:
    known = _known(record, fields)
    if known is None:
        for column in NEEDED[record]:
            if column not in fields:
                raise BadInput(column, f"A new {record} needs its {column}.")
        _create(record, fields, who)
        return "created"
    if known.retired:
        raise BadInput(NEEDED[record][0], f"This {record} is retired. Bring it back into use first.")
    differs = _differs(record, known, fields)
    if differs:
        _change(record, known, fields, who)
    return "changed" if differs else "unchanged"


def _known(record: str, fields: Mapping[str, Any]) -> Any:
    if record == "offer":
        by: dict[str, Any] = {"design": fields.get("design"), "supplier": fields.get("supplier")}
        return Offer.objects.filter(**by).first() if all(by.values()) else None
    name = "code" if record in ("machine", "design") else "name"
    if name not in fields:
        raise BadInput(name, f"A {record} needs its {name}.")
    value = fields[name].upper() if name == "code" else fields[name]
    models: dict[str, type[Supplier | WorkMaterial | Machine | Design]] = {
        "supplier": Supplier, "material": WorkMaterial, "machine": Machine, "design": Design,
    }  # fmt: skip
    return models[record].objects.filter(**{name: value}).first()


def _differs(record: str, known: Any, fields: Mapping[str, Any]) -> bool:
    for name, value in fields.items():
        if name == "prices":
            now: Any = dict(known.prices.values_list("from_quantity", "unit_price"))
        elif name == "shifts":
            now = {(one.weekday, one.starts, one.ends) for one in known.shifts.all()}
            value = {(one.weekday, one.starts, one.ends) for one in value}
        elif name == "code":
            continue
        else:
            now = getattr(known, name)
        if now != value:
            if name == "kind":
                raise BadInput("kind", f"{known} is a {known.get_kind_display().lower()}, and its kind stays.")
            return True
    return False


def _create(record: str, fields: dict[str, Any], who: Person) -> None:
    if record == "machine":
        things.keep_machine(machine=None, who=who, **fields)
        return
    makers: dict[str, Callable[..., Any]] = {
        "supplier": things.create_supplier, "material": things.create_material, "design": things.create_design,
        "offer": things.create_offer,
    }  # fmt: skip
    makers[record](who=who, **fields)


def _change(record: str, known: Any, fields: dict[str, Any], who: Person) -> None:
    changes = {name: value for name, value in fields.items() if name not in ("code", "kind", "design", "supplier")}
    match record:
        case "supplier":
            things.change_supplier(supplier=known, who=who, **_without_name(changes))
        case "material":
            things.change_material(material=known, who=who, **_without_name(changes))
        case "machine":
            things.keep_machine(machine=known, who=who, **changes)
        case "design":
            things.change_design(design=known, who=who, **changes)
        case _:
            things.change_offer(offer=known, who=who, **changes)


def _without_name(changes: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in changes.items() if name != "name"}


# --- reading the file -------------------------------------------------------------------------------


def _read(file: IO[bytes], report: CatalogueReport) -> dict[str, list[tuple[int, dict[str, str]]]]:
    """Rows by record, each with its line and its filled cells."""
    rows: dict[str, list[tuple[int, dict[str, str]]]] = {}
    lines = _lines(file)
    header = [name.strip().lower() for name in next(lines, (1, []))[1]]
    _check_header(header)
    for count, (line, cells) in enumerate(lines, start=1):
        if count > MOST_ROWS:
            raise BadInput("file", f"A file has at most {MOST_ROWS:,} rows. Divide it.")
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(header):
            report.refused.append(
                RefusedRow(line, "", "This row has more cells than the header. Look for stray commas.")
            )
            continue
        filled = {name: cell.strip() for name, cell in zip(header, cells, strict=False) if cell.strip()}
        record = filled.pop("record", "").lower()
        long = next((name for name, cell in filled.items() if len(cell) > LONGEST_CELL or "\x00" in cell), None)
        if record not in RECORDS:
            known = ", ".join(RECORDS)
            report.refused.append(RefusedRow(line, "record", f"“{record[:40]}” is no kind of row. Use: {known}."))
        elif long is not None:
            report.refused.append(RefusedRow(line, long, "This cell cannot be kept: too long, or not text."))
        else:
            rows.setdefault(record, []).append((line, filled))
    return rows


def _check_header(header: list[str]) -> None:
    if "record" not in header:
        raise BadInput("file", "The first line names the columns, and “record” is one of them. It is missing here.")
    known = {"record"}.union(*RECORDS.values())
    strange = [name for name in header if name not in known]
    if strange:
        raise BadInput("file", f"There is no column “{strange[0][:40]}”. Correct the header; README lists the columns.")
    twice = {name for name in header if header.count(name) > 1}
    if twice:
        raise BadInput("file", f"The column “{min(twice)}” is there twice.")


def _lines(file: IO[bytes]) -> Iterator[tuple[int, list[str]]]:
    content = file.read(LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        raise BadInput("file", f"A file has at most {LARGEST_BYTES // 1024 // 1024} MB. Divide it.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as unread:
        raise BadInput("file", "This file is not UTF-8 text. Save it as CSV in UTF-8.") from unread
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as unread:
        raise BadInput("file", f"Line {reader.line_num} cannot be read as CSV: {unread}.") from unread
