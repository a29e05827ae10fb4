"""Limits on what one person, or one job, may draw of a design."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from crib.stock import selectors, services
from crib.web.acting import need_acting, needs
from crib.web.stock_forms import LimitForm
from crib.web.views.stock_acts import answer_form, form_page, posted


@needs("allow_more")
@form_page
def limits(request: HttpRequest, number: int) -> HttpResponse:
    """The limits of a design; set one, or set it anew."""
    design = selectors.design_with(number=number)
    form = LimitForm(posted(request))

    def act() -> HttpResponse:
        made = services.set_take_limit(design=design, who=need_acting(request), **form.cleaned_data)
        messages.success(request, f"At most {made.most} {design.code} go out for each {made.per} from now on.")
        return redirect("crib:limits", number=number)

    context = {"design": design, "limits": selectors.limits_of(design=design)}
    return answer_form(request, form, act, "crib/stock/limits.html", context)


@require_POST
@needs("allow_more")
def lift_limit(request: HttpRequest, number: int) -> HttpResponse:
    """Let the design go out without this limit again."""
    limit = selectors.limit_with(number=number)
    services.lift_take_limit(limit=limit, who=need_acting(request))
    messages.success(request, f"{limit.design.code} goes out without that limit again.")
    return redirect("crib:limits", number=limit.design_id)
