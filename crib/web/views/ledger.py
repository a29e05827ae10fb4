"""The ledger: every move, what stands behind a figure, the export, and whether the books agree."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from crib.catalogue.models import Design
from crib.core.errors import BadInput
from crib.stock import selectors
from crib.stock.models import Move, Place
from crib.stock.selectors import MoveFilter
from crib.web.acting import needs
from crib.web.scan_field import Scan
from crib.web.sheets import streamed_sheet

# So many moves are read at once for a file.
CHUNK = 2000
HEADS = [
    "move", "at", "design", "label", "quantity", "condition", "becomes", "from", "to", "why", "who", "job", "lot",
    "note", "reverses", "document",
]  # fmt: skip


class LedgerForm(forms.Form):
    """Which moves are wanted."""

    what = Scan(letters="DB", words="a design or a place", required=False, label="Design or place")
    why = forms.ChoiceField(choices=[("", "Whatever for"), *Move.Why.choices], required=False, label="Why")
    since = forms.DateField(required=False, label="From the day", widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(required=False, label="To the day", widget=forms.DateInput(attrs={"type": "date"}))

    def wanted(self) -> MoveFilter:
        given = self.cleaned_data
        what = given["what"]
        return MoveFilter(
            design=what if isinstance(what, Design) else None,
            place=what if isinstance(what, Place) else None,
            why=given["why"],
            since=_begins(given["since"]),
            until=_begins(given["until"] and given["until"] + timedelta(days=1)),
        )


def _begins(day: Any) -> datetime | None:
    return None if day is None else datetime.combine(day, time(), tzinfo=timezone.get_default_timezone())


@require_safe
def ledger(request: HttpRequest) -> HttpResponse:
    """Every move, newest first, or those that are asked for."""
    form = LedgerForm(request.GET)
    sound = form.is_valid()
    wanted = form.wanted() if sound else MoveFilter()
    context = {
        "form": form,
        "ledger": selectors.ledger_of(wanted=wanted, before=request.GET.get("before", "")),
        "asked": urlencode([(name, value) for name, value in request.GET.items() if name in form.fields and value]),
    }
    return render(request, "crib/stock/ledger.html", context, status=200 if sound else 400)


@require_safe
def export(request: HttpRequest) -> HttpResponseBase:
    """The moves that are asked for, for a spreadsheet; sent as they are read."""
    form = LedgerForm(request.GET)
    if not form.is_valid():
        field, errors = next(iter(form.errors.items()))
        raise BadInput(field, str(errors[0]))
    return streamed_sheet("ledger", HEADS, _rows(form.wanted()))


def _rows(wanted: MoveFilter) -> Iterator[list[object]]:
    """By the number from which to go on, so that no cursor stays open while a slow reader reads."""
    below: int | None = None
    while True:
        found = wanted.moves().select_related("design", "item", "from_place", "to_place", "who", "job")
        chunk = list(found.filter(pk__lt=below)[:CHUNK] if below else found[:CHUNK])
        for move in chunk:
            yield _row(move)
        if len(chunk) < CHUNK:
            return
        below = chunk[-1].pk


def _row(move: Move) -> list[object]:
    return [
        move.pk, timezone.localtime(move.at).isoformat(timespec="seconds"), move.design.code,
        move.item.label if move.item else None, move.quantity, move.condition, move.becomes, move.from_place.code,
        move.to_place.code, move.why, move.who.username, move.job.code if move.job else None, move.lot or None,
        move.note or None, move.reverses_id, move.document or None,
    ]  # fmt: skip


@require_safe
def move(request: HttpRequest, number: int) -> HttpResponse:
    """One line of the ledger, what reverses it and what it was posted for."""
    found = selectors.find_move(number=str(number))
    return render(request, "crib/stock/one_move.html", {"move": found})


@require_safe
def balance(request: HttpRequest, number: int) -> HttpResponse:
    """One balance, opened down to its moves."""
    found = selectors.balance_behind(number=number, before=request.GET.get("before", ""))
    return render(request, "crib/stock/balance.html", {"behind": found, "balance": found.balance})


@require_safe
def figure(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """The balances behind one figure of a design."""
    design = selectors.design_with(number=number)
    return render(
        request,
        "crib/stock/figure.html",
        {"design": design, "figure": selectors.figure_behind(design=design, name=name)},
    )


@require_safe
@needs("keep_stock")
def check(request: HttpRequest) -> HttpResponse:
    """Whether balances, moves and pieces agree; if not, by how much and what may have come of it."""
    asked = request.GET.get("now") == "1"
    found = selectors.check_ledger() if asked else None
    return render(request, "crib/stock/check_ledger.html", {"asked": asked, "found": found})
