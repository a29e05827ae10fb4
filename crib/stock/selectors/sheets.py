"""What a spreadsheet of an existing crib would bring, row by row, before anything is written."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from crib.catalogue.checks import check_design
from crib.catalogue.models import CODE, Design
from crib.core.errors import BadInput, NotFound, Refused, ShopError
from crib.people.models import Person
from crib.stock import sheet_columns as columns
from crib.stock.drafts import LARGEST_QUANTITY, clean_lot
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.records import SheetImport
from crib.stock.workbook import Row

CHUNK = 500
# Each becomes an item with a label of its own.
MOST_PIECES_IN_A_ROW = 500
OF_DESIGN = ("description", "makers_number", "unit_cost", "pack_size", "edges", "seats", "diameter_mm")


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that cannot be taken in, by the sheet's own column and with the reason."""

    line: int
    column: str
    reason: str


@dataclass(slots=True)
class GoodRow:
    """A row as it would be taken in; a design or place that is not here yet has no number."""

    line: int
    design: Design
    quantity: int = 0
    condition: str = Condition.NEW
    place: Place | None = None
    cabinet: Place | None = None
    person: Person | None = None
    lot: str = ""
    serial: str = ""
    key: str = ""
    already: bool = False

    @property
    def moves(self) -> bool:
        return self.quantity > 0 and not self.already

    @property
    def where(self) -> str:
        return str(self.person or self.place or "")

    @property
    def holder(self) -> str:
        """The place or the person by the name that never changes."""
        return f"person {self.person.username}" if self.person is not None else str(self.place or "")

    @property
    def condition_words(self) -> str:
        return str(Condition(self.condition).label)


@dataclass(slots=True)
class Judged:
    """What would become of every row of a sheet."""

    good: list[GoodRow] = field(default_factory=list)
    bad: list[BadRow] = field(default_factory=list)

    @property
    def new_designs(self) -> list[Design]:
        return list({row.design.code: row.design for row in self.good if row.design._state.adding}.values())

    @property
    def new_places(self) -> list[Place]:
        """The cabinets first, since bins stand in them."""
        found = [place for row in self.good for place in (row.cabinet, row.place) if place is not None]
        fresh = {place.code: place for place in found if place._state.adding}.values()
        return sorted(fresh, key=lambda place: place.kind != Place.Kind.CABINET)

    @property
    def pieces(self) -> int:
        return sum(row.quantity for row in self.good if row.moves)

    @property
    def bad_lines(self) -> list[list[Any]]:
        """The bad rows as they are kept and shown: line, column, reason."""
        return [[bad.line, bad.column, bad.reason] for bad in self.bad]

    @property
    def already(self) -> int:
        return sum(row.already for row in self.good)


def recent_sheets() -> QuerySet[SheetImport]:
    """The latest imports, without their rows."""
    return SheetImport.objects.defer("rows").select_related("who").order_by("-id")[:20]


def sheet_with(*, number: int) -> SheetImport:
    """The import with this number."""
    found = SheetImport.objects.select_related("who").filter(pk=number).first()
    if found is None:
        raise NotFound("There is no such import.")
    return found


def rows_of(*, sheet: SheetImport) -> list[Row]:
    """All rows of the worksheet that was chosen, its header among them."""
    chosen = sheet.matching.get("sheet", 0)
    return [Row(line, cells) for line, cells in sheet.rows[chosen]["rows"]] if sheet.rows else []


def judge_sheet(*, sheet: SheetImport) -> Judged:
    """Read every row below the header as it is matched now; reads, and writes nothing."""
    matched: dict[str, int] = sheet.matching.get("columns", {})
    rows = rows_of(sheet=sheet)[sheet.matching.get("header", 0) + 1 :]
    texts = [(row.line, _texts(row, matched)) for row in rows]
    judge = _Judge(sheet, [(line, cells) for line, cells in texts if cells])
    return judge.judged()


def _texts(row: Row, matched: Mapping[str, int]) -> dict[str, str]:
    return {name: row.cells[at] for name, at in matched.items() if at < len(row.cells) and row.cells[at]}


class _Judge:
    """Looks up what the rows name, a few queries for all, and reads them one after the other."""

    def __init__(self, sheet: SheetImport, texts: Sequence[tuple[int, dict[str, str]]]) -> None:
        self.header: list[str] = sheet.header
        self.matched: dict[str, int] = sheet.matching.get("columns", {})
        self.given: dict[str, Any] = sheet.matching.get("given", {})
        self.texts = texts
        said = {columns.tidy_code(cells["code"]) for _, cells in texts if "code" in cells}
        places = {
            columns.tidy_code(cells[name]) for _, cells in texts for name in ("place", "cabinet") if name in cells
        }
        self.designs: dict[str, Design] = {one.code: one for one in _by_code(Design.objects.all(), said)}
        self.places: dict[str, Place] = {one.code: one for one in _by_code(Place.objects.all(), places)}
        self.people = _people() if "held_by" in self.matched else {}
        self.spots: Counter[str] = Counter()
        self.serials: set[tuple[str, str]] = set()

    def judged(self) -> Judged:
        judged = Judged()
        for line, cells in self.texts:
            try:
                judged.good.append(self._row(line, cells))
            except ShopError as refused:
                judged.bad.append(BadRow(line, self._column(refused.field), refused.sentence))
        self._look_at_keys(judged)
        judged.bad.sort(key=lambda one: one.line)
        return judged

    def _column(self, name: str | None) -> str:
        at = self.matched.get(name or "")
        if at is not None and at < len(self.header) and self.header[at]:
            return str(self.header[at])
        known = columns.BY_NAME.get(name or "")
        return known.says if known else ""

    def _row(self, line: int, cells: dict[str, str]) -> GoodRow:
        if "code" not in cells:
            raise BadInput("code", "There is no code in this row. Give it one, or leave the row out.")
        design = self._design(cells)
        row = GoodRow(line=line, design=design)
        row.quantity = columns.read_count("quantity", cells["quantity"]) if "quantity" in cells else 0
        if row.quantity > LARGEST_QUANTITY:
            raise BadInput("quantity", f"At most {LARGEST_QUANTITY:,} of a design lie in one place. Check the number.")
        row.condition = columns.read_condition(cells["condition"]) if "condition" in cells else Condition.NEW
        if "cabinet" in cells:
            row.cabinet = self._place("cabinet", cells["cabinet"], Place.Kind.CABINET)
        where = cells.get("place") or self.given.get("place") or ""
        if where:
            row.place = self._place("place", where, Place.Kind.BIN, parent=row.cabinet)
        if "held_by" in cells:
            row.person = self._person(cells["held_by"])
        if row.quantity:
            self._check_stock(row, cells)
        # Remembered only once the whole row is sound, so that a row left out brings neither design nor place.
        self.designs.setdefault(design.code, design)
        for place in (row.cabinet, row.place):
            if place is not None:
                self.places.setdefault(place.code, place)
        return row

    def _design(self, cells: Mapping[str, str]) -> Design:
        code = columns.tidy_code(cells["code"])
        known = self.designs.get(code)
        kind = columns.read_kind(cells["kind"]) if "kind" in cells else ""
        if known is not None:
            if known.retired:
                raise Refused(f"{code} is retired. Bring it back into use first.", field="code")
            if kind and kind != known.kind:
                was = known.get_kind_display().lower()
                raise BadInput("kind", f"{code} is a {was} here, and its kind stays. Correct the row.")
            return known
        kind = kind or self.given.get("kind") or ""
        if not kind:
            raise BadInput("kind", f"{code} is new here, so its kind is needed. Name it, or choose one for all above.")
        design = Design(code=code, kind=kind, description=code)
        for name, read in _READERS.items():
            if name in cells:
                setattr(design, name, read(name, cells[name]))
        if kind in (Design.Kind.TIP, Design.Kind.INSERT) and "edges" not in cells:
            design.edges = self.given.get("edges") or 0
        if kind == Design.Kind.BODY and "seats" not in cells:
            design.seats = self.given.get("seats") or 0
        design.returnable = kind in (Design.Kind.BODY, Design.Kind.HOLDER)
        _check_fields(design)
        check_design(design)
        return design

    def _place(self, name: str, text: str, kind: Place.Kind, parent: Place | None = None) -> Place:
        code = columns.tidy_code(text)
        known = self.places.get(code)
        if known is None:
            place = Place(code=code, name=text[:80], kind=kind, parent=parent)
            _check_code(name, code)
            return place
        if known.kind not in Place.ON_HAND:
            raise BadInput(name, f"{code} is no place in the crib. Choose a bin, cabinet or crib.")
        if known.retired_at is not None:
            raise Refused(f"{code} is retired. Choose another place.", field=name)
        return known

    def _person(self, text: str) -> Person:
        found = self.people.get(columns.plain(text), [])
        if len(found) != 1:
            why = "is no one’s name here" if not found else "is more than one person’s name"
            raise BadInput("held_by", f"“{text[:40]}” {why}. Use the user name, or add the person first.")
        if not found[0].is_active:
            raise BadInput("held_by", f"{found[0]} no longer works here. Say where the pieces really are.")
        return found[0]

    def _check_stock(self, row: GoodRow, cells: Mapping[str, str]) -> None:
        if row.place is None and row.person is None:
            raise BadInput("place", f"{row.quantity} pieces need a bin. Name it, or choose one for all above.")
        row.lot = clean_lot(cells.get("lot", ""))
        row.serial = cells.get("serial", "")
        if row.design.kept_as_items and row.quantity > MOST_PIECES_IN_A_ROW:
            raise BadInput(
                "quantity",
                f"Each {row.design.code} gets a label, at most {MOST_PIECES_IN_A_ROW} by one row. Divide it.",
            )
        if row.serial:
            self._check_serial(row)
        spot = "\n".join((row.design.code, row.condition, row.holder, row.lot, row.serial))
        self.spots[spot] += 1
        row.key = hashlib.sha256(f"{spot}\n{self.spots[spot]}".encode()).hexdigest()[:40]

    def _check_serial(self, row: GoodRow) -> None:
        if not row.design.kept_as_items or row.quantity != 1:
            raise BadInput("serial", "A serial number belongs to one body or holder. Give each a row, others none.")
        if len(row.serial) > 40:
            raise BadInput("serial", "A serial number has at most 40 letters and figures.")
        one = (row.design.code, row.serial)
        if one in self.serials:
            raise BadInput("serial", f"Serial number {row.serial} stands twice in this sheet. Correct one of them.")
        self.serials.add(one)

    def _look_at_keys(self, judged: Judged) -> None:
        """Find what an earlier import opened already; what was taken back since may come again under a new key."""
        waiting = {f"opening:{row.key}:1": row for row in judged.good if row.key}
        generation = 1
        while waiting:
            done = {move.key: move for move in _moves_with(list(waiting))}
            again: dict[str, GoodRow] = {}
            for key, row in waiting.items():
                move = done.get(key)
                row.key = key
                if move is not None and hasattr(move, "reversed_by"):
                    again[f"{key.rsplit(':', 1)[0]}:{generation + 1}"] = row
                elif move is not None and move.quantity == row.quantity:
                    row.already = True
                elif move is not None:
                    reason = f"An earlier import opened this with {move.quantity}. Count the bin instead."
                    judged.bad.append(BadRow(row.line, self._column("quantity"), reason))
            waiting, generation = again, generation + 1
        self._known_serials(judged)
        refused = {bad.line for bad in judged.bad}
        judged.good = [row for row in judged.good if row.line not in refused]

    def _known_serials(self, judged: Judged) -> None:
        fresh = {(row.design.pk, row.serial): row for row in judged.good if row.serial and row.moves and row.design.pk}
        serials = [serial for _, serial in fresh]
        for start in range(0, len(serials), CHUNK):
            inside = Item.objects.filter(serial__in=serials[start : start + CHUNK]).exclude(
                place__kind__in=Place.OUTSIDE
            )
            for item in inside:
                row = fresh.get((item.design_id, item.serial))
                if row is not None:
                    reason = f"{row.design.code} with serial number {row.serial} is here already: {item.label}."
                    judged.bad.append(BadRow(row.line, self._column("serial"), reason))


def _text(name: str, text: str) -> str:
    return text


def _measure(name: str, text: str) -> float:
    number = float(columns.read_amount(name, text))
    if number <= 0:
        raise BadInput(name, f"“{text[:40]}” is no size. Write it in mm, or leave it empty.")
    return number


def _money(name: str, text: str) -> Decimal:
    amount = columns.read_amount(name, text)
    exponent = amount.as_tuple().exponent
    if isinstance(exponent, int) and exponent < -2:
        amount = amount.quantize(Decimal("0.01"))
    return amount


_READERS: dict[str, Callable[[str, str], Any]] = {
    "description": _text,
    "makers_number": _text,
    "unit_cost": _money,
    "pack_size": columns.read_count,
    "edges": columns.read_count,
    "seats": columns.read_count,
    "diameter_mm": _measure,
}


def _check_fields(design: Design) -> None:
    try:
        design.clean_fields()
    except ValidationError as unsound:
        name, errors = next(iter(unsound.error_dict.items()))
        raise BadInput(name, " ".join(errors[0].messages)) from unsound


def _check_code(name: str, code: str) -> None:
    try:
        CODE(code)
    except ValidationError as unsound:
        raise BadInput(name, " ".join(unsound.messages)) from unsound
    if len(code) > 40:
        raise BadInput(name, "A code has at most 40 characters.")


def _by_code(things: QuerySet[Any], codes: Iterable[str]) -> list[Any]:
    wanted = sorted(codes)
    return [
        one for start in range(0, len(wanted), CHUNK) for one in things.filter(code__in=wanted[start : start + CHUNK])
    ]


def _moves_with(keys: Sequence[str]) -> list[Move]:
    return [
        move
        for start in range(0, len(keys), CHUNK)
        for move in Move.objects.filter(key__in=keys[start : start + CHUNK]).select_related("reversed_by")
    ]


def _people() -> dict[str, list[Person]]:
    found: dict[str, list[Person]] = {}
    for person in Person.objects.filter(is_counter=False):
        first, last = person.first_name, person.last_name
        for name in {columns.plain(one) for one in (person.username, f"{first} {last}", f"{last} {first}")} - {""}:
            found.setdefault(name, []).append(person)
    return found
