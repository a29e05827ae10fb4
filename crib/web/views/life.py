"""Edges in use with what is expected of them, and what the shop has learnt of lives."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Any

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue.models import Machine
from crib.core import clock
from crib.core.errors import ShopError
from crib.floor import services as floor
from crib.floor.models import Edge
from crib.life import selectors, services
from crib.life.models import LifeModel
from crib.life.words import CAUTION
from crib.web import charts, formats
from crib.web.acting import has_right, need_acting, needs, signed_in_person
from crib.web.curve_filter import CurvesFilter
from crib.web.curve_pictures import POINT_WORDS, pictures_of, points_of, stairs_of
from crib.web.flute import flute_of
from crib.web.forms import show_refusal
from crib.web.views.machines import EndForm, LookForm
from crib.web.views.odd_ends import ExcuseForm, evidence_about, excuse_form_for
from crib.web.wear_chart import wear_chart, wear_says

ON_A_PAGE = 50
BADGES = {"bad": "Change now", "caution": "Soon", "good": "Good", "info": "Run to the end", "plain": "No forecast"}


@dataclass(frozen=True, slots=True)
class Shown:
    """A row of the board with its gauge and badge drawn."""

    row: selectors.BoardRow
    gauge: SafeString | None
    badge: str

    @property
    def chance(self) -> str:
        """Chance of lasting the batch, short enough for a large figure."""
        forecast = self.row.forecast
        return (
            formats.share(forecast.chance_of_batch).replace("under ", "< ").replace("over ", "> ") if forecast else ""
        )


# --- the board ----------------------------------------------------------------------------------------


@require_safe
@never_cache
def edges(request: HttpRequest) -> HttpResponse:
    context = {
        "board": _board(request, selectors.board_stamp()),
        "machines": selectors.machines_with_edges(),
        "chosen": _machine(request),
        "caution": CAUTION,
    }
    return render(request, "crib/life/edges.html", context)


@require_safe
@never_cache
def board(request: HttpRequest) -> HttpResponse:
    """What the page asks every second: nothing when nothing has changed, else the board anew."""
    stamp = selectors.board_stamp()
    if request.GET.get("stamp") == stamp:
        return HttpResponse(status=204)
    return HttpResponse(_board(request, stamp))


def _machine(request: HttpRequest) -> Machine | None:
    code = request.GET.get("machine", "")
    return Machine.objects.filter(code=code).first() if code else None


_boards: OrderedDict[tuple[Any, ...], SafeString] = OrderedDict()
_boards_lock = Lock()
BOARDS_KEPT = 24
# Ten lives: beyond that a gauge looks the same.
MOST_PERCENT = 1000
# A row each: more make the page too heavy for a tablet, and nobody reads them there.
MOST_BEHIND = 200


def _board(request: HttpRequest, stamp: str) -> SafeString:
    """The board as it is drawn; kept as long as nothing on it changes, since many screens show the same."""
    person = signed_in_person(request)
    may_end = has_right(request, "log_runs")
    about = (
        stamp, request.GET.get("machine", ""), request.GET.get("page", ""), person.units if person else "", may_end,
        clock.today(),
    )  # fmt: skip
    with _boards_lock:
        if about in _boards:
            _boards.move_to_end(about)
            return _boards[about]
    drawn = _draw_board(request, stamp, may_end)
    with _boards_lock:
        _boards[about] = drawn
        while len(_boards) > BOARDS_KEPT:
            _boards.popitem(last=False)
    return drawn


def _draw_board(request: HttpRequest, stamp: str, may_end: bool) -> SafeString:
    chosen = _machine(request)
    page = Paginator(selectors.edges_in_use(machine=chosen), ON_A_PAGE).get_page(request.GET.get("page"))
    rows = [_shown(row) for row in selectors.board_rows(edges=list(page))]
    context = {"rows": rows, "page": page, "stamp": stamp, "chosen": chosen, "may_end": may_end, "pages": _pages(page)}
    return mark_safe(render_to_string("crib/life/_board.html", context, request))  # our own template, escaped in it


def _pages(page: Page[Edge]) -> str:
    return f"{page.start_index()}–{page.end_index()} of {page.paginator.count}"


def _shown(row: selectors.BoardRow) -> Shown:
    forecast = row.forecast
    if forecast is None or forecast.life_used is None:
        return Shown(row, None, BADGES["plain"] if forecast is not None else "Coming")
    percent = min(max(round(100 * forecast.life_used), 0), MOST_PERCENT)
    return Shown(row, _gauge(percent, row.tone), BADGES[row.tone])


@lru_cache(maxsize=2048)
def _gauge(percent: int, tone: str) -> SafeString:
    """Drawn once for each whole percent: the board shows many and is drawn anew with every run."""
    return charts.gauge(percent / 100, tone=tone, says=f"{percent} % of its life used")


# --- one edge -----------------------------------------------------------------------------------------


@require_safe
def edge(request: HttpRequest, pk: int) -> HttpResponse:
    return _edge_page(request, _find_edge(pk))


def _find_edge(pk: int) -> Edge:
    return get_object_or_404(
        Edge.objects.select_related(
            "item__design", "operation__job", "operation__machine", "operation__material", "operation__tip",
            "forecast__model", "ended_by", "excused_by",
        ),
        pk=pk,
    )  # fmt: skip


def _units(request: HttpRequest) -> str:
    person = signed_in_person(request)
    return person.units if person is not None else "metric"


def _edge_page(request: HttpRequest, edge: Edge, *, status: int = 200, **forms: Any) -> HttpResponse:
    system = _units(request)
    outlook = selectors.outlook_of(edge=edge)
    growth = selectors.wear_growth(edge=edge)
    looks = list(edge.inspections.select_related("seen_by").order_by("at_minutes"))
    context: dict[str, Any] = {
        "edge": edge,
        "shown": _shown(selectors.board_row(edge=edge)),
        "outlook": outlook,
        "chart": _edge_chart(outlook, edge) if outlook else None,
        "looks": looks,
        "wear": growth,
        "wear_chart": wear_chart(growth, system) if growth else None,
        "wear_says": wear_says(growth) if growth else "",
        "flute": flute_of(edge.item, edge.operation),
        "totals": edge.totals.select_related("operation__job").order_by("last_ended_at"),
        "fresh": edge.item.edges.filter(state=Edge.State.FRESH).count(),
        "excuse_form": forms.get("excuse_form") or excuse_form_for(edge, may=has_right(request, "keep_life")),
        "caution": CAUTION,
    }
    if edge.state == Edge.State.IN_USE:
        context["end_form"] = forms.get("end_form") or EndForm(system=system, auto_id="end_%s")
        context["look_form"] = forms.get("look_form") or LookForm(system=system, auto_id="look_%s")
    return render(request, "crib/life/edge.html", context, status=status)


def _edge_chart(outlook: selectors.EdgeOutlook, edge: Edge) -> SafeString:
    ended = edge.state == Edge.State.ENDED
    marks = [charts.Mark(outlook.used, "came off" if ended else "now", "info")]
    if outlook.change_at is not None and not ended:
        marks.append(charts.Mark(outlook.change_at, "change-by", "bad"))
    says = (
        f"Chance that an edge at this duty outlasts each age, with the range in which the curve may lie; this edge "
        f"stands at {formats.minutes(outlook.used)} minutes."
    )
    return _draw(outlook.curve, title="Chance to outlast each age at this duty", says=says, marks=marks)


def _draw(curve: selectors.LifeCurve, *, title: str, says: str, marks: Sequence[charts.Mark] = ()) -> SafeString:
    drawn = charts.bands(
        curve.minutes,
        middle=curve.outlasted,
        bands=[(curve.low, curve.high)],
        points=points_of(curve),
        also=stairs_of(curve),
        marks=marks,
        title=title,
        says=says,
        x_label="minutes in cut",
        y_label="edges that outlast it",
        middle_words="expected",
        band_words=["where the curve may lie, 10–90 %"],
        point_words=POINT_WORDS,
        y_share=True,
    )
    step = max(len(curve.minutes) // 12, 1)
    rows = [
        [formats.minutes(age), formats.share(middle), f"{formats.share(low)} to {formats.share(high)}"]
        for age, middle, low, high in list(zip(curve.minutes, curve.outlasted, curve.low, curve.high, strict=True))[
            ::step
        ]
    ]
    return mark_safe(drawn + charts.data_table(title, ["Minutes in cut", "Outlasted", "Range"], rows))  # both escaped


@require_POST
@needs("log_runs")
def end_edge(request: HttpRequest, pk: int) -> HttpResponse:
    """Say why an edge came off; with the button that says so, the next corner comes in use in the same breath."""
    ending = _find_edge(pk)
    person = signed_in_person(request)
    form = EndForm(request.POST, system=person.units if person else "metric", auto_id="end_%s")
    if not form.is_valid():
        return _edge_page(request, ending, status=400, end_form=form)
    turn = "turn" in request.POST
    act = floor.end_and_turn if turn else floor.end_edge
    try:
        act(edge=ending, who=need_acting(request), **form.cleaned_data)
    except ShopError as refusal:
        show_refusal(form, refusal)
        return _edge_page(request, ending, status=refusal.status, end_form=form)
    messages.success(request, f"{ending} came off.{' The next edge is in use.' if turn else ''}")
    return redirect("crib:edges")


@require_POST
@needs("log_runs")
def turn_edge(request: HttpRequest, pk: int) -> HttpResponse:
    turned = floor.turn_edge(edge=_find_edge(pk), who=need_acting(request))
    messages.success(request, f"{turned} is in use.")
    return redirect("crib:edge", turned.pk)


@require_POST
@needs("log_runs")
def look_at_edge(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down the wear land seen on an edge."""
    seen = _find_edge(pk)
    person = signed_in_person(request)
    form = LookForm(request.POST, system=person.units if person else "metric", auto_id="look_%s")
    if not form.is_valid():
        return _edge_page(request, seen, status=400, look_form=form)
    try:
        services.look_at_edge(edge=seen, who=need_acting(request), **form.cleaned_data)
    except ShopError as refusal:
        show_refusal(form, refusal)
        return _edge_page(request, seen, status=refusal.status, look_form=form)
    messages.success(request, "The wear land is written down.")
    return redirect("crib:edge", seen.pk)


@require_POST
@needs("keep_life")
def excuse_edge(request: HttpRequest, pk: int) -> HttpResponse:
    """Leave an end that was not the tip's fault out of what lives learn."""
    excused = _find_edge(pk)
    form = ExcuseForm(request.POST, auto_id="excuse_%s")
    if not form.is_valid():
        return _edge_page(request, excused, status=400, excuse_form=form)
    try:
        floor.excuse_end(edge=excused, who=need_acting(request), **form.cleaned_data)
    except ShopError as refusal:
        show_refusal(form, refusal)
        return _edge_page(request, excused, status=refusal.status, excuse_form=form)
    messages.success(request, f"{excused} is left out: lives take it as taken off at that age.")
    return redirect("crib:edge", excused.pk)


# --- life curves --------------------------------------------------------------------------------------


@require_safe
def curves(request: HttpRequest) -> HttpResponse:
    rows, record = selectors.curves_and_record()
    form = CurvesFilter(request.GET or None, rows=rows)
    top = max((row.life_90 for row in rows if row.life_90 < 1e5), default=1.0)
    shown = [
        {
            "row": row,
            "range": charts.interval(
                min(row.life_10, top), min(row.life_50, top), min(row.life_90, top), top=top,
                says=f"half outlast {formats.minutes(row.life_50)} minutes",
            ),
        }
        for row in form.chosen(rows)
    ]  # fmt: skip
    context = {"shown": shown, "groups": len(rows), "form": form, "record": record}
    return render(request, "crib/life/curves.html", context | {"caution": CAUTION})


@require_safe
def curve(request: HttpRequest, pk: int) -> HttpResponse:
    model = get_object_or_404(LifeModel.objects.select_related("design", "material", "prior"), pk=pk)
    found = selectors.curve_of(model=model)
    says = f"Chance to outlast each age, with {len(found.seen)} edges behind it."
    context = {
        "model": model,
        "twin": selectors.twin_of(model=model),
        "curve": found,
        "chart": _draw(found, title="Chance to outlast each age", says=says),
        "held": selectors.held_by_point(model=model),
        "facts": selectors.law_facts(model=model),
        "behind": sorted(found.seen, key=lambda one: one.edge, reverse=True)[:MOST_BEHIND],
        "caution": CAUTION,
    }
    context |= evidence_about(model, found) | pictures_of(model, found, _units(request))
    return render(request, "crib/life/curve.html", context)


@require_POST
@needs("keep_life")
def refit(request: HttpRequest) -> HttpResponse:
    services.ask_for_refit(who=need_acting(request))
    messages.success(request, "The worker refits the life curves now; reload in a moment.")
    return redirect("crib:curves")
