"""Taking an existing crib in from a spreadsheet: choose, match, look, take in; and taking it back."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from crib.core.errors import BadInput, ShopError
from crib.stock import selectors, services
from crib.stock.records import SheetImport
from crib.stock.workbook import LARGEST_BYTES
from crib.web.acting import need_acting, need_right, needs
from crib.web.sheet_forms import MatchForm, SheetForm
from crib.web.sheets import sheet as csv_file
from crib.web.views.stock_acts import answer_form, form_page, posted

SHOWN = 50
PAGES = "crib/stock/"


@needs("keep_stock")
@form_page
def import_crib(request: HttpRequest) -> HttpResponse:
    """Read a spreadsheet; nothing of it is in the crib until it was looked at."""
    form = SheetForm(posted(request), request.FILES or None)

    def act() -> HttpResponse:
        file = form.cleaned_data["file"]
        if file.size > LARGEST_BYTES:
            raise BadInput("file", f"A file has at most {LARGEST_BYTES // 1024 // 1024} MB. Divide it.")
        started = services.start_sheet(name=file.name, content=file.read(), who=need_acting(request))
        return redirect("crib:sheet_import", number=started.pk)

    return answer_form(request, form, act, PAGES + "import_crib.html", {"recent": selectors.recent_sheets()})


@needs("keep_stock")
@form_page
def sheet_import(request: HttpRequest, number: int) -> HttpResponse:
    """One import: how its columns are matched, what each row would do, and what became of it."""
    sheet = selectors.sheet_with(number=number)
    if sheet.state != SheetImport.State.OPEN:
        document = services.document_of(sheet=sheet)
        return render(request, PAGES + "sheet_done.html", {"sheet": sheet, "document": document, "shown": SHOWN})
    form = MatchForm(sheet, posted(request))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                services.match_sheet(sheet=sheet, who=need_acting(request), **form.matched())
                return redirect("crib:sheet_import", number=number)
            except ShopError as refused:
                form.refuse(refused.field, refused.sentence)
                status = refused.status
    judged = selectors.judge_sheet(sheet=sheet)
    context: dict[str, Any] = {"sheet": sheet, "form": form, "judged": judged, "shown": SHOWN}
    return render(request, PAGES + "sheet_import.html", context, status=status)


@require_POST
@needs("keep_stock")
def take_in_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """All rows at once, or all but the bad ones that the button named."""
    sheet = selectors.sheet_with(number=number)
    if sheet.state == SheetImport.State.OPEN and selectors.judge_sheet(sheet=sheet).new_designs:
        need_right(request, "keep_catalogue")
    said = request.POST.get("leave_out", "0")
    if not (said.isascii() and said.isdigit() and len(said) < 7):
        raise BadInput("leave_out", "Say how many rows are left out.")
    done = services.take_in_sheet(sheet=sheet, who=need_acting(request), leave_out=int(said))
    messages.success(request, f"{done.result['rows']:,} rows of {done.name} are in the crib.")
    return redirect("crib:sheet_import", number=number)


@require_POST
@needs("keep_stock")
def drop_sheet(request: HttpRequest, number: int) -> HttpResponse:
    sheet = services.drop_sheet(sheet=selectors.sheet_with(number=number), who=need_acting(request))
    messages.success(request, f"{sheet.name} is dropped. Nothing of it was taken in.")
    return redirect("crib:import_crib")


@require_POST
@needs("keep_stock")
def undo_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """Reverse all moves of an import, or none."""
    sheet = services.undo_sheet(sheet=selectors.sheet_with(number=number), who=need_acting(request))
    messages.success(request, f"{sheet.name} is taken back: {sheet.result['taken_back']:,} moves are reversed.")
    return redirect("crib:sheet_import", number=number)


@needs("keep_stock")
@require_safe
def sheet_bad_rows(request: HttpRequest, number: int) -> HttpResponse:
    """The rows that are or were left out, for the spreadsheet that they are corrected in."""
    sheet = selectors.sheet_with(number=number)
    if sheet.state == SheetImport.State.OPEN:
        bad = selectors.judge_sheet(sheet=sheet).bad_lines
    else:
        bad = sheet.result.get("bad", [])
    return csv_file(f"bad-rows-{sheet.pk}", ["Row", "Column", "Reason"], bad)
