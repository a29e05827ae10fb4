"""Kits: staged from the forecast, handed out in one act, brought back in one; and the pick list on paper."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue.models import Job
from crib.core.errors import ShopError
from crib.life.selectors.kit_sheets import BackRow, back_rows, kit_proposal, kit_sheet
from crib.life.services.kits import bring_back_kit, hand_out_kit, stage_job_kit
from crib.planning.selectors import kits_to_stage
from crib.stock import selectors, services
from crib.stock.records import Kit
from crib.stock.selectors import KitLineNow
from crib.web import codes
from crib.web.acting import acting_person, has_right, need_acting, need_right, needs
from crib.web.forms import show_refusal
from crib.web.kit_forms import AddLineForm, IssueForm, StageForm, back_lines_in, comes_as, field_name, wants_in
from crib.web.papers.kit import kit_paper
from crib.web.papers.printing import pdf_response
from crib.web.stock_forms import new_key
from crib.web.views.stock_acts import form_page, posted


@require_safe
def kits(request: HttpRequest) -> HttpResponse:
    """Kits to stage for jobs that start soon, those staged or handed out, and the last that ended."""
    context = {
        "coming": kits_to_stage(),
        "open": selectors.open_kits(),
        "ended": selectors.ended_kits(),
    }
    return render(request, "crib/kits/kits.html", context)


@form_page
def stage_kit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a job's start needs beside what is there; staged, it is kept for the job."""
    if request.method == "POST":
        need_right(request, "keep_stock")
    job = get_object_or_404(Job, pk=pk)
    standing = next((one for one in selectors.kits_of(job=job) if one.state == Kit.State.STAGED), None)
    if standing is not None and request.method != "POST":
        return redirect("crib:kit", standing.pk)
    given = posted(request)
    parts = _parts(request)
    proposal = kit_proposal(job=job, parts=parts)
    form = StageForm(given)
    status, trouble = 200, ""
    if given is not None:
        status = 400
        if form.is_valid():
            try:
                made = stage_job_kit(
                    job=job,
                    who=need_acting(request),
                    parts=max(proposal.needs.parts, 1),
                    lines=wants_in(given, proposal.needs.wants),
                    **form.cleaned_data,
                )
            except ShopError as refused:
                status, trouble = refused.status, refused.sentence
            else:
                messages.success(request, f"Kit {made.pk} is staged, and what it holds is kept for {job.code}.")
                return redirect("crib:kit", made.pk)
    context = {"job": job, "form": form, "proposal": proposal, "trouble": trouble}
    context["lines"] = _shown(proposal.lines, given)
    return render(request, "crib/kits/stage.html", context, status=status)


def _parts(request: HttpRequest) -> int | None:
    """The parts asked for, by link or form; whatever is no number is left to the form to refuse."""
    text = (request.POST.get("worked_for") or request.GET.get("parts") or "").strip()
    return int(text) if text.isascii() and text.isdigit() and 0 < len(text) < 9 and int(text) else None


def _shown(lines: Any, given: Any) -> list[dict[str, Any]]:
    """The lines with the number that stands in each field."""
    return [
        {"now": one, "name": field_name(one), "number": (given or {}).get(field_name(one), one.want.wanted)}
        for one in lines
    ]


@require_safe
def kit(request: HttpRequest, number: int) -> HttpResponse:
    """One kit: its lines beside the crib, and what can be done with it now."""
    return _kit_page(request, selectors.kit_with(number=number))


def _kit_page(
    request: HttpRequest,
    found: Kit,
    *,
    issue: IssueForm | None = None,
    adding: AddLineForm | None = None,
    given: Any = None,
    trouble: str = "",
    status: int = 200,
) -> HttpResponse:
    lines = kit_sheet(kit=found)
    context = {
        "kit": found,
        "lines": _shown(lines, given),
        "short": [one for one in lines if one.short],
        "rest": sum(one.still for one in lines),
        "pieces": sum(one.want.wanted for one in lines),
        "issue": issue or IssueForm(initial=_taker(request, found)),
        "adding": adding or AddLineForm(),
        "trouble": trouble,
        "label": found.label,
        "code": codes.data_matrix(found.label),
        "moves": selectors.moves_of_kit(kit=found).order_by("-pk")[:100],
        "mine": _is_mine(request, found),
    }
    return render(request, "crib/kits/kit.html", context, status=status)


def _taker(request: HttpRequest, found: Kit) -> dict[str, str]:
    """The badge to begin with: whoever has the kit, else a machinist for themselves."""
    if found.issued_to is not None:
        return {"person": found.issued_to.username}
    acting = acting_person(request)
    return {"person": acting.username} if acting is not None and not has_right(request, "keep_stock") else {}


def _is_mine(request: HttpRequest, found: Kit) -> bool:
    """Whether whoever acts may undo and bring back this kit."""
    acting = acting_person(request)
    own = acting is not None and found.issued_to_id == acting.pk and has_right(request, "draw_tools")
    return own or has_right(request, "keep_stock")


@require_POST
@needs("keep_stock")
def change_kit(request: HttpRequest, number: int) -> HttpResponse:
    """Put the numbers of a staged kit right by hand."""
    found = selectors.kit_with(number=number)
    wants = [one.want for one in kit_sheet(kit=found)]
    try:
        changed = [
            new for new, old in zip(wants_in(request.POST, wants), wants, strict=True) if new.wanted != old.wanted
        ]
        services.change_kit(kit=found, lines=changed, who=need_acting(request))
    except ShopError as refused:
        return _kit_page(request, found, given=request.POST, trouble=refused.sentence, status=refused.status)
    messages.success(request, f"Kit {found.pk} is changed.")
    return redirect("crib:kit", found.pk)


@require_POST
@needs("keep_stock")
def add_kit_line(request: HttpRequest, number: int) -> HttpResponse:
    """One more line of a staged kit."""
    found = selectors.kit_with(number=number)
    form = AddLineForm(request.POST)
    status = 400
    if form.is_valid():
        try:
            services.change_kit(kit=found, lines=[form.want()], who=need_acting(request))
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            messages.success(request, f"{form.cleaned_data['design'].code} is in kit {found.pk}.")
            return redirect("crib:kit", found.pk)
    return _kit_page(request, found, adding=form, status=status)


@require_POST
@needs("draw_tools")
def issue_kit(request: HttpRequest, number: int) -> HttpResponse:
    """Hand out the whole kit, or what of it is there."""
    found = selectors.kit_with(number=number)
    form = IssueForm(request.POST)
    status = 400
    if form.is_valid():
        given, who = dict(form.cleaned_data), need_acting(request)
        reason = given.pop("reason")
        try:
            done = hand_out_kit(kit=found, who=who, allowed_by=who if reason else None, note=reason, **given)
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            said = f" Still short: {', '.join(done.short)}." if done.short else ""
            messages.success(request, f"Kit {found.pk} is with {form.cleaned_data['person']}.{said}")
            return redirect("crib:kit", found.pk)
    return _kit_page(request, found, issue=form, status=status)


@require_POST
@needs("draw_tools")
def undo_kit(request: HttpRequest, number: int) -> HttpResponse:
    """Take the handing out back, all of it."""
    found = services.undo_kit(kit=selectors.kit_with(number=number), who=need_acting(request)).kit
    messages.success(request, f"Kit {found.pk} is back on the shelf and staged again. All lines stay in the ledger.")
    return redirect("crib:kit", found.pk)


@require_POST
@needs("keep_stock")
def drop_kit(request: HttpRequest, number: int) -> HttpResponse:
    """Give up a staged kit."""
    found = services.drop_kit(kit=selectors.kit_with(number=number), who=need_acting(request))
    messages.success(request, f"Kit {found.pk} is dropped; nothing is kept for it any more.")
    return redirect("crib:kits")


@needs("draw_tools")
@form_page
def return_kit(request: HttpRequest, number: int) -> HttpResponse:
    """What is left of a kit, with its minutes; one act brings it home."""
    found = selectors.kit_with(number=number)
    rows = back_rows(kit=found) if found.state == Kit.State.ISSUED else []
    given = posted(request)
    status, trouble = 200, ""
    if given is not None:
        try:
            lines = back_lines_in(given, rows)
            done = bring_back_kit(kit=found, who=need_acting(request), key=given.get("key", ""), lines=lines)
        except ShopError as refused:
            status, trouble = refused.status, refused.sentence
        else:
            pieces = sum(move.quantity for move in done.moves)
            messages.success(request, f"{pieces} piece{'' if pieces == 1 else 's'} of kit {found.pk} came back.")
            return redirect("crib:kit", found.pk)
    shown = [_back_shown(row, given) for row in rows]
    context = {"kit": found, "rows": shown, "trouble": trouble}
    context["key"] = (given.get("key") if given is not None else "") or new_key()
    return render(request, "crib/kits/back.html", context, status=status)


def _back_shown(row: BackRow, given: Any) -> dict[str, Any]:
    name = f"back-{row.key}"
    return {
        "row": row,
        "back": name,
        "as": f"as-{row.key}",
        "number": row.left.quantity if given is None else given.get(name, ""),
        "ticked": given is None or bool(given.get(name)),
        "choices": comes_as(row),
        "chosen": row.becomes if given is None else given.get(f"as-{row.key}", row.becomes),
    }


@require_safe
def kit_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """The pick list of a kit, in the order of the bins."""
    found = selectors.kit_with(number=number)
    lines: list[KitLineNow] = kit_sheet(kit=found)
    return pdf_response(kit_paper(found, lines), f"kit-{found.pk}-{found.job.code}".replace("/", "-"))
