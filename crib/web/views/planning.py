"""Month ahead: what is made, what it takes, what to order, what has come."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, InvalidOperation

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from crib.core.errors import BadInput, NotFound, ShopError
from crib.planning import selectors, services
from crib.planning.calendar import is_month
from crib.planning.errors import BadPlan
from crib.planning.models import OrderLine, PurchaseOrder, Suggestion
from crib.planning.selectors.month import GridRow
from crib.stock.models import Place
from crib.web import charts
from crib.web.acting import need_acting, needs
from crib.web.formats import day as day_text
from crib.web.formats import number
from crib.web.stock_forms import ReverseForm
from crib.web.views.stock_acts import answer_form

ORDERS_ON_A_PAGE = 50


@require_safe
def month(request: HttpRequest, month: str | None = None) -> HttpResponse:
    """The month ahead; without a name, the month that is most likely meant."""
    ahead = selectors.month_ahead(month=month or selectors.month_to_plan())
    ranges = [
        charts.interval(
            row.demand.quantile_10,
            row.demand.quantile_50,
            row.demand.quantile_90,
            top=ahead.most,
            says=f"{number(row.demand.quantile_10)} to {number(row.demand.quantile_90)}",
        )
        for row in ahead.needs
    ]
    pairs = list(zip(ahead.needs, ranges, strict=True))
    shown = {
        "ahead": ahead,
        "pressing": [pair for pair in pairs if pair[0].standing != "enough"],
        "enough": [pair for pair in pairs if pair[0].standing == "enough"],
        "total": sum(row.demand.mean for row in ahead.needs),
    }
    if request.headers.get("HX-Request"):
        return render(request, "crib/planning/_month.html", shown)
    return render(request, "crib/planning/month.html", shown)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("keep_plans")
def enter_month(request: HttpRequest, month: str) -> HttpResponse:
    """The grid of jobs in which a month is entered."""
    rows = [Cells.shown(row) for row in selectors.plan_grid(month=month)]
    status, refused = 200, ""
    if request.method == "POST":
        drafts, owners = _read_grid(request, rows)
        wrong = any(row.errors for row in rows)
        try:
            # Nothing is written while a cell cannot be read, yet the readable ones are looked at as well.
            if not wrong:
                services.enter_plan(month=month, lines=drafts, who=need_acting(request))
                messages.success(request, f"The plan of {month} is entered. The tips it takes are being worked out.")
                return redirect("crib:month_ahead", month=month)
        except BadPlan as bad:
            for cell in bad.cells:
                owners[cell.line].errors.setdefault(cell.field, cell.sentence)
        except ShopError as error:
            refused = error.sentence
        status = 400
    shown = {"month": month, "rows": rows, "refused": refused, "wrong": sum(bool(row.errors) for row in rows)}
    return render(request, "crib/planning/enter.html", shown, status=status)


@dataclass(slots=True)
class Cells:
    """One row of the grid with what stands in its cells, as typed."""

    row: GridRow
    parts: str
    starts_on: str
    ends_on: str
    errors: dict[str, str] = field(default_factory=dict)

    @classmethod
    def shown(cls, row: GridRow) -> Cells:
        parts = "" if row.parts is None else str(row.parts)
        return cls(row, parts, row.starts_on.isoformat(), row.ends_on.isoformat())

    @property
    def said(self) -> tuple[str, str, str]:
        return self.parts, self.starts_on, self.ends_on


def _read_grid(request: HttpRequest, rows: list[Cells]) -> tuple[list[services.LineDraft], list[Cells]]:
    """The lines that the grid says, and the row that each came from."""
    drafts: list[services.LineDraft] = []
    owners: list[Cells] = []
    for cells in rows:
        before = cells.said
        number_ = cells.row.job.pk
        cells.parts, cells.starts_on, cells.ends_on = (
            request.POST.get(f"{name}-{number_}", "").strip() for name in ("parts", "from", "to")
        )
        if not cells.parts:
            continue
        if cells.said == before and cells.row.lines:
            # Untouched: operations that were planned apart stay so.
            found = [
                services.LineDraft(
                    operation=line.operation, parts=line.parts, starts_on=line.starts_on, ends_on=line.ends_on
                )
                for line in cells.row.lines
            ]
        else:
            found = [one for one in [_read_row(cells)] if one is not None]
        drafts += found
        owners += [cells] * len(found)
    return drafts, owners


def _read_row(cells: Cells) -> services.LineDraft | None:
    parts = cells.parts.replace(" ", "").replace("\u202f", "")
    if not (parts.removeprefix("-").isascii() and parts.removeprefix("-").isdigit() and len(parts) <= 12):
        cells.errors["parts"] = f"“{cells.parts[:20]}” is no number of parts. Write a whole number, such as 120."
    days: dict[str, date] = {}
    for name, text in (("from", cells.starts_on), ("to", cells.ends_on)):
        try:
            days[name] = date.fromisoformat(text)
        except ValueError:
            cells.errors[name] = "Write a day, such as 2026-12-01."
    if cells.errors:
        return None
    return services.LineDraft(operation=cells.row.job, parts=int(parts), starts_on=days["from"], ends_on=days["to"])


@require_safe
def design_ahead(request: HttpRequest, month: str, code: str) -> HttpResponse:
    """Why a design's number is what it is, and how its stock will go."""
    ahead = selectors.design_ahead(month=month, code=code)
    demand, projection = ahead.demand, ahead.demand.projection
    short = demand.shortage_day_95
    says = (
        f"Stock of {code} from {day_text(ahead.days[0])} to {day_text(ahead.days[-1])}: "
        f"{number(projection['likely'][0])} on the first day, {number(projection['likely'][-1])} on the last"
        + (f"; may run short from {day_text(short)}." if short else "; enough on every day.")
    )
    chart = charts.steps(
        ahead.days,
        projection["likely"],
        title=f"Stock of {code}, day by day",
        says=says,
        y_label="pieces",
        threshold=ahead.reorder_point,
        band=(projection["careful"], projection["lucky"]),
        shortage=short,
        level_words="likely",
        band_words="10–95 %",
    )
    table = charts.data_table(
        "Stock at the end of each day",
        ["Day", "Likely", "With bad luck (95 %)", "With good luck (10 %)", "Arrives"],
        [
            (day_text(day), number(likely), number(careful), number(lucky), number(arrives))
            for day, likely, careful, lucky, arrives in zip(
                ahead.days,
                projection["likely"],
                projection["careful"],
                projection["lucky"],
                projection["arrivals"],
                strict=True,
            )
        ],
    )
    return render(request, "crib/planning/design.html", {"ahead": ahead, "chart": chart, "table": table})


@require_POST
@needs("keep_plans")
def set_budget(request: HttpRequest, month: str) -> HttpResponse:
    """What the month may cost."""
    text = request.POST.get("amount", "").strip().replace(" ", "").replace("\u202f", "")
    try:
        amount = Decimal(text)
    except InvalidOperation as unread:
        raise BadInput("amount", f"“{text[:20]}” is no amount of money. Write it as 2500 or 2500.00.") from unread
    services.set_budget(month=month, amount=amount, who=need_acting(request))
    messages.success(request, f"The budget of {month} is set.")
    return redirect("crib:month_ahead", month=month)


@require_POST
@needs("place_orders")
def order_suggestion(request: HttpRequest, pk: int) -> HttpResponse:
    """Order what is suggested, in the suggested quantity or another one."""
    suggestion = Suggestion.objects.filter(pk=pk).first() if pk < 2**63 else None
    if suggestion is None:
        raise NotFound("This suggestion is gone. Load the page again.", field="suggestion")
    text = request.POST.get("quantity", "").strip()
    if text and not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput("quantity", f"“{text[:20]}” is no quantity. Write a whole number of pieces.")
    line = services.order_suggestion(
        suggestion=suggestion, who=need_acting(request), quantity=int(text) if text else None
    )
    messages.success(
        request,
        f"{line.quantity} {line.design.code} ordered from {line.order.supplier.name} on {line.order.number}, "
        f"expected {day_text(line.expected_on)}.",
    )
    month = request.POST.get("month", "")
    if month and is_month(month):
        return redirect("crib:month_ahead", month=month)
    return redirect("crib:order", number=line.order.number)


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """Every order, the newest first."""
    page = Paginator(selectors.orders(), ORDERS_ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request, "crib/planning/orders.html", {"page": page, "rows": [(one, selectors.worth(one)) for one in page]}
    )


@require_safe
def order(request: HttpRequest, number: str) -> HttpResponse:
    """One order with what has come of it."""
    return _show_order(request, selectors.find_order(number=number))


def _show_order(
    request: HttpRequest,
    found: PurchaseOrder,
    *,
    said: dict[str, str] | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    receipts = [receipt for line in found.lines.all() for receipt in line.receipts.all()]
    shown = {
        "order": found,
        "lines": [
            (
                line,
                line.quantity - line.received,
                (said or {}).get(f"came-{line.pk}", str(line.quantity - line.received)),
            )
            for line in found.lines.all()
        ],
        "worth": selectors.worth(found),
        "open": selectors.is_open(found),
        "shelves": Place.objects.filter(kind__in=Place.ON_HAND, retired_at=None).order_by("code"),
        "key": (said or {}).get("key") or uuid.uuid4().hex,
        "refused": refused,
        "receipts": receipts,
        "something_came": any(not one.taken_back for one in receipts),
    }
    return render(request, "crib/planning/order.html", shown, status=status)


@require_POST
@needs("receive_goods")
def receive_order(request: HttpRequest, number: str) -> HttpResponse:
    """Put on the shelf what came."""
    found = selectors.find_order(number=number)
    person = need_acting(request)
    try:
        goods = _read_goods(request, list(found.lines.all()))
        receipts = services.receive_order(
            order=found,
            goods=goods,
            who=person,
            key=f"page:{person.pk}:{request.POST.get('key', '')[:40]}",
            to_place=_read_place(request),
        )
    except ShopError as error:
        said = {name: value for name, value in request.POST.items() if isinstance(value, str)}
        return _show_order(request, found, said=said, refused=error.sentence, status=error.status)
    pieces = ", ".join(f"{one.quantity} {one.line.design.code} in {one.to_place.code}" for one in receipts)
    messages.success(request, f"Received {pieces}.")
    return redirect("crib:order", number=number)


@needs("receive_goods")
@require_http_methods(["GET", "HEAD", "POST"])
def take_back_receipt(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take back what was received by mistake: off the shelf, and to come once more."""
    found = selectors.find_order(number=number)
    receipt = next((one for line in found.lines.all() for one in line.receipts.all() if one.pk == pk), None)
    if receipt is None:
        raise NotFound(f"{number} has no such receipt. Choose one of those on its page.", field="receipt")
    form = ReverseForm(request.POST if request.method == "POST" else None)

    def act() -> HttpResponse:
        services.take_back_receipt(receipt=receipt, who=need_acting(request), **form.cleaned_data)
        messages.success(
            request, f"{receipt.quantity} {receipt.line.design.code} are off the shelf and stand as still to come."
        )
        return redirect("crib:order", number=number)

    return answer_form(request, form, act, "crib/planning/take_back.html", {"order": found, "receipt": receipt})


def _read_goods(request: HttpRequest, lines: list[OrderLine]) -> list[services.Goods]:
    goods = []
    for line in lines:
        text = request.POST.get(f"came-{line.pk}", "").strip()
        if not text or text == "0":
            continue
        if not (text.isascii() and text.isdigit() and len(text) < 10):
            raise BadInput("quantity", f"“{text[:20]}” is no number of {line.design.code}. Write a whole number.")
        goods.append(
            services.Goods(line=line, quantity=int(text), lot=request.POST.get(f"lot-{line.pk}", "").strip()[:40])
        )
    return goods


def _read_place(request: HttpRequest) -> Place | None:
    code = request.POST.get("place", "").strip()
    if not code:
        return None
    place = Place.objects.filter(code=code).first()
    if place is None:
        raise BadInput("to_place", f"There is no place {code[:40]}. Choose one from the list.")
    return place


@require_POST
@needs("place_orders")
def send_order(request: HttpRequest, number: str) -> HttpResponse:
    """Say that the order has gone out."""
    services.send_order(order=selectors.find_order(number=number), who=need_acting(request))
    messages.success(request, f"{number} is marked as sent. What is ordered from now on goes on another order.")
    return redirect("crib:order", number=number)


@require_POST
@needs("place_orders")
def cancel_order(request: HttpRequest, number: str) -> HttpResponse:
    """Take the order back."""
    services.cancel_order(order=selectors.find_order(number=number), who=need_acting(request))
    messages.success(request, f"{number} is cancelled.")
    return redirect("crib:order", number=number)
