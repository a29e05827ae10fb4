"""Labels: on the screen to look at, and as a PDF in true size for sheets and rolls."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from crib.core.errors import BadInput, ShopError
from crib.web import codes
from crib.web.acting import signed_in_person
from crib.web.forms import show_refusal
from crib.web.label_batches import faces_for
from crib.web.label_forms import LabelForm
from crib.web.papers.labels import NothingToLabel, Plan, plan_labels, print_labels
from crib.web.papers.printing import pdf_response

SHOWN_AT_MOST = 60


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Choose labels and paper, see what will come out, and fetch the PDF."""
    form = LabelForm(request.GET, system=_system(request))
    plan: Plan | None = None
    status = 400
    if form.is_valid():
        try:
            plan, status = _plan(request, form), 200
        except NothingToLabel as nothing:
            # An empty crib is no fault of whoever looks.
            show_refusal(form, nothing)
            status = 200
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
    faces = plan.faces if plan else []
    sheet = [
        {"face": face, "drawing": codes.drawing(face.text, as_qr=plan.how.as_qr)}
        for face in faces[:SHOWN_AT_MOST]
        if plan
    ]
    context = {"form": form, "plan": plan, "sheet": sheet, "left_out": max(0, len(faces) - SHOWN_AT_MOST)}
    return render(request, "crib/stock/labels.html", context, status=status)


@require_safe
def labels_pdf(request: HttpRequest) -> HttpResponse:
    """The same labels as a PDF, each page as large as its paper."""
    form = LabelForm(request.GET, system=_system(request))
    if not form.is_valid():
        name, faults = next(iter(form.errors.items()))
        raise BadInput(name, f"{form[name].label}: {faults[0]}")
    try:
        plan = _plan(request, form)
    except NothingToLabel:
        return redirect(f"{reverse('crib:labels')}?{request.GET.urlencode()}")
    return pdf_response(print_labels(plan), "labels")


def _plan(request: HttpRequest, form: LabelForm) -> Plan:
    of = request.GET.getlist("of") or [form.asked]
    return plan_labels(faces_for(of, form.cleaned_data["things"]), form.print_settings())


def _system(request: HttpRequest) -> str:
    person = signed_in_person(request)
    return person.units if person is not None else "metric"
