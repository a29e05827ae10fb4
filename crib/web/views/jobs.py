"""Jobs: operations with their conditions, time in cut and where it came from, and the setup sheet."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue.models import Design, Job, Machine, WorkMaterial
from crib.core.errors import NotFound, ShopError
from crib.floor import selectors, services
from crib.floor.models import KindOfCut, Operation
from crib.floor.services.operations import USUAL_WEAR_LIMIT_MM
from crib.life.selectors.job_edges import job_edges
from crib.life.selectors.predicted import fresh_edge_at
from crib.stock.records import Kit
from crib.stock.selectors import kits_of
from crib.web.acting import need_acting, needs
from crib.web.fields import QuantityField, UnitsForm, same_quantity
from crib.web.forms import show_refusal
from crib.web.papers.printing import pdf_response
from crib.web.papers.setup_sheet import cautions_of, conditions_of, drawing_of_cut, setup_pdf, tools_there
from crib.web.views.changing import changing_panel
from crib.web.views.machines import WITH_FORECAST, _system

PER_PAGE = 40
CUTS = [
    kind for kind in Design.Kind.values if kind not in (Design.Kind.BODY, Design.Kind.HOLDER, Design.Kind.ACCESSORY)
]


class JobForm(forms.Form):
    code = forms.CharField(max_length=40, label="Job", help_text="Capital letters and digits, such as J-100.")
    part = forms.CharField(max_length=120, label="Part")
    quantity = forms.IntegerField(min_value=1, max_value=10_000_000, label="Parts to make")
    due = forms.DateField(
        required=False, label="Due", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    state = forms.ChoiceField(choices=Job.State.choices, label="State")


class OperationForm(UnitsForm):
    number = forms.IntegerField(
        min_value=1, max_value=9999, label="Number", help_text="10, 20, 30 in the order of work."
    )
    name = forms.CharField(max_length=80, label="What it does")
    machine = forms.ModelChoiceField(
        queryset=Machine.objects.filter(retired_at=None), label="Machine", empty_label="Choose a machine"
    )
    tip = forms.ModelChoiceField(
        queryset=Design.objects.filter(kind__in=CUTS, retired_at=None),
        label="Tip or tool that cuts",
        empty_label="Choose what cuts",
    )
    body = forms.ModelChoiceField(
        queryset=Design.objects.filter(kind=Design.Kind.BODY, retired_at=None),
        required=False,
        label="Body",
        empty_label="No body",
    )
    material = forms.ModelChoiceField(
        queryset=WorkMaterial.objects.filter(retired_at=None), label="Work material", empty_label="Choose a material"
    )
    kind_of_cut = forms.ChoiceField(choices=KindOfCut.choices, label="Kind of cut")
    surface_speed = QuantityField(unit="m/min", required=False, label="Surface speed", help_text="vc")
    feed = QuantityField(unit="mm", required=False, label="Feed", help_text="Per tooth when milling, else per turn.")
    depth = QuantityField(unit="mm", required=False, label="Depth of cut", help_text="ap")
    width = QuantityField(unit="mm", required=False, label="Width of cut", help_text="ae, when milling.")
    length_of_cut = QuantityField(
        unit="mm", required=False, label="Length of cut", help_text="Of each pass, or depth of each hole."
    )
    passes = forms.IntegerField(min_value=1, max_value=10_000, initial=1, label="Passes or holes per part")
    work_diameter = QuantityField(unit="mm", required=False, label="Work diameter", help_text="When turning.")
    inner_diameter = QuantityField(unit="mm", required=False, label="Inner diameter", help_text="Where facing ends.")
    contact_low = QuantityField(
        unit="mm",
        required=False,
        label="Band of the flute that cuts, from",
        help_text="Above the tip flat, when chamfering.",
    )
    contact_high = QuantityField(
        unit="mm", required=False, label="Band of the flute that cuts, to", help_text="Wear is tallied band by band."
    )
    coolant = forms.CharField(max_length=40, required=False, label="Coolant")
    minutes_per_part = QuantityField(
        unit="min", required=False, label="Minutes in cut per part", help_text="Empty: worked out from the conditions."
    )
    cycle_minutes = QuantityField(
        unit="min", required=False, label="Cycle time", help_text="By the clock, with loading."
    )
    entries_per_part = forms.IntegerField(
        min_value=1,
        required=False,
        label="Entries into the metal per part",
        help_text="Where edges break on entering. Empty: breakage goes by minutes.",
    )
    wear_limit_mm = QuantityField(
        unit="mm",
        required=False,
        initial=USUAL_WEAR_LIMIT_MM,
        label="Worn at a wear land of",
        help_text="VB, the criterion. Empty: 0.3 mm.",
    )
    accepted_risk = forms.FloatField(
        min_value=0.001,
        max_value=0.999,
        initial=0.05,
        label="Accepted risk",
        help_text="0.05 is one edge in twenty failing early.",
    )
    cost_of_lost_part = forms.DecimalField(
        min_value=Decimal(0), max_digits=12, decimal_places=2, initial=Decimal(0), label="Cost of a lost part"
    )
    chance_part_lost = forms.FloatField(
        min_value=0,
        max_value=1,
        initial=1.0,
        label="Chance the part is lost",
        help_text="When an edge fails in the cut.",
    )
    change_minutes = forms.FloatField(min_value=0, max_value=1440, initial=3.0, label="Minutes to change an edge")
    fixed_count = forms.IntegerField(
        min_value=1, required=False, label="Parts per edge today", help_text="If the shop changes at a fixed count."
    )

    def clean_wear_limit_mm(self) -> float:
        """Left empty, it is the usual criterion."""
        limit: float | None = self.cleaned_data["wear_limit_mm"]
        return USUAL_WEAR_LIMIT_MM if limit is None else limit


@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    done = request.GET.get("show") == "done"
    found = selectors.jobs_with_work()
    found = found.filter(state=Job.State.DONE) if done else found.exclude(state=Job.State.DONE)
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "crib/jobs/jobs.html", {"page": page, "done": done})


@require_safe
def job(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job, pk=pk)
    kits = kits_of(job=found)
    context = {
        "job": found,
        "kits": kits,
        "kit_staged": any(one.state == Kit.State.STAGED for one in kits),
        "operations": list(selectors.operations_of(found)),
        "edges": job_edges(job=found) if found.state != Job.State.DONE else None,
    }
    return render(request, "crib/jobs/job.html", context)


@needs("keep_jobs")
def add_job(request: HttpRequest) -> HttpResponse:
    form = JobForm(request.POST or None, initial={"state": Job.State.PLANNED})
    return _job_form(request, form, None)


@needs("keep_jobs")
def change_job(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job, pk=pk)
    names = ("code", "part", "quantity", "due", "state")
    form = JobForm(request.POST or None, initial={name: getattr(found, name) for name in names})
    form.fields["code"].disabled = True
    return _job_form(request, form, found)


def _job_form(request: HttpRequest, form: JobForm, found: Job | None) -> HttpResponse:
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            fields = dict(form.cleaned_data)
            try:
                if found is None:
                    kept = services.create_job(who=need_acting(request), **fields)
                else:
                    fields.pop("code")
                    kept = services.change_job(job=found, who=need_acting(request), **fields)
            except ShopError as refusal:
                show_refusal(form, refusal)
                status = refusal.status
            else:
                messages.success(request, f"{kept} is saved.")
                return redirect("crib:job", kept.pk)
    return render(request, "crib/jobs/job_form.html", {"form": form, "job": found}, status=status)


@require_POST
@needs("keep_jobs")
def retire_job(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job, pk=pk)
    services.retire_job(job=found, who=need_acting(request))
    messages.success(request, f"{found} is put away.")
    return redirect("crib:jobs")


# --- operations ---------------------------------------------------------------------------------------


def _operation(pk: int) -> Operation:
    found = selectors.operation_in_full(pk)
    if found is None:
        raise Http404
    return found


@require_safe
def operation(request: HttpRequest, pk: int) -> HttpResponse:
    found = _operation(pk)
    context = {
        "operation": found,
        "job": found.job,
        "working": selectors.edges_working_at(found, edge_related=WITH_FORECAST),
        "totals": selectors.edges_at(found),
        "fresh": fresh_edge_at(operation=found),
        "changing": changing_panel(found),
    }
    return render(request, "crib/jobs/operation.html", context | _conditions(found))


def _conditions(operation: Operation) -> dict[str, Any]:
    return {"conditions": conditions_of(operation), "capped_by": operation.minutes_working.get("capped_by", "")}


@needs("keep_jobs")
def add_operation(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job, pk=pk)
    last = selectors.operations_of(found).filter(retired_at=None).last()
    form = OperationForm(
        request.POST or None, system=_system(request), initial={"number": (last.number if last else 0) // 10 * 10 + 10}
    )
    return _operation_form(request, form, found, None)


@needs("keep_jobs")
def change_operation(request: HttpRequest, pk: int) -> HttpResponse:
    found = _operation(pk)
    initial = {name: getattr(found, name) for name in OperationForm.base_fields}
    if found.minutes_source == Operation.MinutesSource.COMPUTED:
        initial["minutes_per_part"] = None
    form = OperationForm(request.POST or None, system=_system(request), initial=initial)
    return _operation_form(request, form, found.job, found)


def _operation_form(request: HttpRequest, form: OperationForm, job: Job, found: Operation | None) -> HttpResponse:
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                if found is None:
                    kept = services.create_operation(job=job, who=need_acting(request), **form.cleaned_data)
                else:
                    changes = _changed(form)
                    kept = services.change_operation(operation=found, who=need_acting(request), **changes)
            except ShopError as refusal:
                show_refusal(form, refusal)
                status = refusal.status
            else:
                messages.success(request, f"{kept} is saved.")
                return redirect("crib:operation", kept.pk)
    return render(
        request, "crib/jobs/operation_form.html", {"form": form, "job": job, "operation": found}, status=status
    )


def _changed(form: OperationForm) -> dict[str, Any]:
    """What differs from what was shown; a value shown in inches and sent back untouched is no change."""
    return {
        name: value for name, value in form.cleaned_data.items() if not same_quantity(value, form.initial.get(name))
    }


@require_POST
@needs("keep_jobs")
def take_minutes(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the minutes per part from the duty, or from measured runs."""
    found = _operation(pk)
    source = request.POST.get("source", Operation.MinutesSource.COMPUTED)
    services.recompute_minutes(operation=found, who=need_acting(request), source=source)
    messages.success(request, f"{found} takes {found.minutes_per_part:.3g} minutes in cut per part now.")
    return redirect("crib:operation", pk)


@require_POST
@needs("keep_jobs")
def retire_operation(request: HttpRequest, pk: int) -> HttpResponse:
    found = _operation(pk)
    services.retire_operation(operation=found, who=need_acting(request))
    messages.success(request, f"{found} is put away.")
    return redirect("crib:job", found.job_id)


@require_safe
def setup_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    found = _operation(pk)
    context = {
        "operation": found,
        "job": found.job,
        "limits": selectors.tool_limits(found),
        "tools": tools_there(found, edge_related=WITH_FORECAST, system=_system(request)),
        "cautions": cautions_of(found),
        "cut": drawing_of_cut(found, _system(request)),
        "fresh": fresh_edge_at(operation=found),
    }
    return render(request, "crib/jobs/setup_sheet.html", context | _conditions(found))


@require_safe
def setup_sheet_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """One operation's sheet on paper."""
    found = _operation(pk)
    made = setup_pdf([found], job=None, edge_related=WITH_FORECAST, system=_system(request))
    return pdf_response(made, f"setup-{found.job.code}-{found.number}".replace("/", "-"))


@require_safe
def job_setup_sheets(request: HttpRequest, pk: int) -> HttpResponse:
    """All sheets of a job in one paper, in the order of work."""
    found = get_object_or_404(Job, pk=pk)
    steps = list(selectors.operations_of(found).filter(retired_at=None))
    if not steps:
        raise NotFound(f"{found.code} has no operations yet, so there is nothing to print. Add its first step.")
    made = setup_pdf(steps, job=found, edge_related=WITH_FORECAST, system=_system(request))
    return pdf_response(made, f"setup-{found.code}".replace("/", "-"))
