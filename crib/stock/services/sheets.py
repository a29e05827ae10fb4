"""Taking in an existing crib from a spreadsheet: read, match, look, and then all of it in one act or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django.db import transaction

from crib.catalogue.models import Design
from crib.catalogue.services import create_design
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors
from crib.stock import sheet_columns as columns
from crib.stock.drafts import MoveDraft
from crib.stock.models import Item, Move, Place
from crib.stock.records import SheetImport
from crib.stock.selectors.sheets import GoodRow, Judged
from crib.stock.services.bulk import post_moves
from crib.stock.services.places import create_place, opening_place, place_of
from crib.stock.workbook import read_workbook

KEPT_BAD_ROWS = 20_000
UNTOUCHED = "This import is done with. Start another one."


def document_of(*, sheet: SheetImport) -> str:
    """What the moves of an import are posted for: they are taken back there, together."""
    return f"IMPORT-{sheet.pk}"


@transaction.atomic
def start_sheet(*, name: str, content: bytes, who: Person) -> SheetImport:
    """Read a spreadsheet and keep its rows while its columns are matched; nothing of it is in the crib yet."""
    sheets = read_workbook(content, name)
    guessed = [len(columns.guess_columns(one.rows[columns.find_header(one.rows)].cells)) for one in sheets]
    sheet = SheetImport(
        name="".join(one for one in name if one.isprintable())[:120] or "sheet",
        who=who,
        rows=[{"name": one.name, "rows": [[row.line, row.cells] for row in one.rows]} for one in sheets],
    )
    _begin(sheet, guessed.index(max(guessed)))
    sheet.save()
    record_change(who=who, what="sheet", which=f"{sheet.pk} {sheet.name}", act="read")
    return sheet


def _begin(sheet: SheetImport, chosen: int, header: int | None = None) -> None:
    """Guess anew for another worksheet or header row."""
    sheet.matching = {"sheet": chosen, "given": sheet.matching.get("given", {})}
    rows = selectors.rows_of(sheet=sheet)
    at = columns.find_header(rows) if header is None else header
    sheet.header = rows[at].cells
    sheet.matching |= {"header": at, "columns": columns.guess_columns(sheet.header)}


@transaction.atomic
def match_sheet(
    *,
    sheet: SheetImport,
    who: Person,
    worksheet: int,
    header_line: int,
    matched: Mapping[str, int],
    given: Mapping[str, Any],
) -> SheetImport:
    """Say which worksheet and row name the columns, what each column holds, and what holds where a cell is empty."""
    sheet = _open(sheet)
    if not 0 <= worksheet < len(sheet.rows):
        raise BadInput("worksheet", "There is no such worksheet in the file.")
    moved = worksheet != sheet.matching["sheet"]
    sheet.matching = sheet.matching | {"sheet": worksheet, "given": dict(given)}
    lines = [row.line for row in selectors.rows_of(sheet=sheet)]
    if moved:
        _begin(sheet, worksheet)
    elif header_line not in lines:
        raise BadInput("header_line", "That row is empty. Name the row that stands over the columns.")
    elif lines.index(header_line) != sheet.matching["header"]:
        _begin(sheet, worksheet, lines.index(header_line))
    else:
        sheet.matching |= {"columns": _sound(matched, max(len(sheet.header), 1))}
    sheet.save(update_fields=["matching", "header"])
    return sheet


def _sound(matched: Mapping[str, int], width: int) -> dict[str, int]:
    taken: dict[int, str] = {}
    for name, column in matched.items():
        if name not in columns.BY_NAME or not 0 <= column < width:
            raise BadInput(name, "There is no such column. Choose one of the sheet’s own.")
        if column in taken:
            other = columns.BY_NAME[taken[column]].says
            raise BadInput(name, f"This column is “{other}” already. Each column holds one thing.")
        taken[column] = name
    if "code" not in matched:
        raise BadInput("code", "Say which column holds the code of the design.")
    return dict(matched)


def _open(sheet: SheetImport) -> SheetImport:
    locked = SheetImport.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if locked.state != SheetImport.State.OPEN:
        raise Refused(UNTOUCHED, field="sheet")
    return locked


@transaction.atomic
def take_in_sheet(*, sheet: SheetImport, who: Person, leave_out: int = 0) -> SheetImport:
    """Make the designs, places, moves and labels of all rows in one act; the second press of the button does nothing.

    While bad rows stand it is refused, unless `leave_out` says how many are left out knowingly.
    """
    locked = SheetImport.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if locked.state == SheetImport.State.DONE:
        return locked
    sheet = _open(locked)
    judged = selectors.judge_sheet(sheet=sheet)
    if len(judged.bad) != leave_out:
        if not leave_out:
            raise Refused(
                f"{len(judged.bad)} rows cannot be taken in. Correct them, or leave them out knowingly.",
                field="leave_out",
            )
        raise Refused(
            f"{len(judged.bad)} rows are bad now, not {leave_out}. Look at them again first.", field="leave_out"
        )
    if not judged.good:
        raise Refused("No row of this sheet can be taken in. Match its columns first.", field="sheet")
    sheet.result = _taken_in(sheet, judged, who)
    sheet.state, sheet.rows = SheetImport.State.DONE, []
    sheet.save(update_fields=["state", "rows", "result"])
    details = {name: value for name, value in sheet.result.items() if name != "bad"}
    record_change(who=who, what="sheet", which=f"{sheet.pk} {sheet.name}", act="taken in", details=details)
    return sheet


def _taken_in(sheet: SheetImport, judged: Judged, who: Person) -> dict[str, Any]:
    new_designs, new_places = judged.new_designs, judged.new_places
    designs = {design.code: _made_design(design, who) for design in new_designs}
    places: dict[str, Place] = {}
    for place in new_places:
        parent = places.get(place.parent.code, place.parent) if place.parent else None
        places[place.code] = create_place(code=place.code, name=place.name, kind=place.kind, parent=parent, who=who)
    moving = [row for row in judged.good if row.moves]
    drafts = _drafts(sheet, moving, designs, places, who)
    post_moves(drafts=drafts, who=who)
    _write_serials(moving, drafts)
    return {
        "rows": len(judged.good),
        "designs": len(new_designs),
        "places": len(new_places),
        "moves": len(drafts),
        "pieces": judged.pieces,
        "already": judged.already,
        "bad": judged.bad_lines[:KEPT_BAD_ROWS],
    }


def _made_design(design: Design, who: Person) -> Design:
    given: dict[str, Any] = {name: getattr(design, name) for name in selectors.OF_DESIGN}
    return create_design(code=design.code, kind=design.kind, who=who, **given)


def _drafts(
    sheet: SheetImport, rows: list[GoodRow], designs: Mapping[str, Design], places: Mapping[str, Place], who: Person
) -> list[MoveDraft]:
    opening, now = opening_place(), clock.now()
    of_people = {row.person.pk: place_of(person=row.person) for row in rows if row.person is not None}
    drafts = []
    for number, row in enumerate(rows):
        held = row.person is not None
        where = of_people[row.person.pk] if row.person is not None else row.place
        assert where is not None
        drafts.append(
            MoveDraft(
                design=designs.get(row.design.code, row.design),
                quantity=row.quantity,
                condition=row.condition,
                from_place=opening,
                to_place=places.get(where.code, where),
                why=Move.Why.CHECK_OUT if held else Move.Why.RECEIVE,
                key=row.key,
                note=f"Opening stock, row {row.line} of {sheet.name}"[:200],
                lot=row.lot,
                document=document_of(sheet=sheet),
                # A moment of its own for each row, by which its pieces are found again.
                at=now + timedelta(microseconds=number),
                who=who,
            )
        )
    return drafts


def _write_serials(rows: list[GoodRow], drafts: list[MoveDraft]) -> None:
    for row, draft in zip(rows, drafts, strict=True):
        if row.serial and draft.at is not None:
            made = Item.objects.filter(design=draft.design, place=draft.to_place, since=draft.at)
            made.update(serial=row.serial)


@transaction.atomic
def drop_sheet(*, sheet: SheetImport, who: Person) -> SheetImport:
    """Leave a sheet that was only looked at; its rows are forgotten."""
    sheet = _open(sheet)
    sheet.state, sheet.rows = SheetImport.State.DROPPED, []
    sheet.save(update_fields=["state", "rows"])
    record_change(who=who, what="sheet", which=f"{sheet.pk} {sheet.name}", act="dropped")
    return sheet


@transaction.atomic
def undo_sheet(*, sheet: SheetImport, who: Person) -> SheetImport:
    """Take an import back by reversing all its moves, or none when something has moved on since.

    The designs and places that it made stay; what is not wanted is retired.
    """
    sheet = SheetImport.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if sheet.state != SheetImport.State.DONE:
        raise Refused("Only an import that was taken in can be taken back.", field="sheet")
    moves = list(
        Move.objects.filter(document=document_of(sheet=sheet), reverses=None, reversed_by=None)
        .select_related("design", "from_place", "to_place")
        .order_by("pk")
    )
    post_moves(drafts=[_back(move) for move in moves], who=who)
    sheet.state = SheetImport.State.DROPPED
    sheet.result = sheet.result | {"taken_back": len(moves)}
    sheet.save(update_fields=["state", "result"])
    record_change(who=who, what="sheet", which=f"{sheet.pk} {sheet.name}", act="taken back")
    return sheet


def _back(move: Move) -> MoveDraft:
    pieces: tuple[Item, ...] = ()
    if move.design.kept_as_items:
        made = Item.objects.filter(design=move.design, place=move.to_place, condition=move.becomes, since=move.at)
        pieces = tuple(made.filter(moves__isnull=True).order_by("pk"))
        if len(pieces) < move.quantity:
            raise Refused(
                f"Of {move.quantity} {move.design.code} only {len(pieces)} stand untouched in {move.to_place.code}. "
                "The import can no longer be taken back; put single things right by a count.",
                field="sheet",
            )
    return MoveDraft(
        design=move.design, quantity=move.quantity, from_place=move.to_place, to_place=move.from_place,
        condition=move.becomes, becomes=move.condition, why=Move.Why.REVERSE, key=f"{move.key}:back", reverses=move,
        lot=move.lot, document=move.document, carries=pieces,
    )  # fmt: skip
