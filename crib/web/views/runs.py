"""Runs as they were logged, and taking one back."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue.models import Machine
from crib.floor import selectors, services
from crib.floor.models import Run
from crib.web.acting import need_acting, needs

PER_PAGE = 40


class RunsFilter(forms.Form):
    machine = forms.ModelChoiceField(
        queryset=Machine.objects.filter(retired_at=None), required=False, label="Machine", empty_label="Every machine"
    )


@require_safe
def runs(request: HttpRequest) -> HttpResponse:
    form = RunsFilter(request.GET)
    machine = form.cleaned_data["machine"] if form.is_valid() else None
    before = request.GET.get("before", "")
    found = selectors.runs_logged(
        machine=machine, before=int(before) if before.isdecimal() and len(before) < 19 else None
    )
    # Paging by number would count a million runs to show the newest forty.
    page = list(found[: PER_PAGE + 1])
    context = {"runs": page[:PER_PAGE], "form": form, "machine": machine, "newest": not before}
    context["older"] = page[PER_PAGE - 1].pk if len(page) > PER_PAGE else None
    return render(request, "crib/runs/runs.html", context)


@require_POST
@needs("log_runs")
def reverse_run(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Run, pk=pk)
    # One run is taken back once, so its own number is key enough.
    services.reverse_run(run=found, who=need_acting(request), source_key=f"reverse:{found.pk}")
    messages.success(request, f"The run of {found.parts} parts is taken back; its minutes are off the edge.")
    return redirect("crib:runs")
