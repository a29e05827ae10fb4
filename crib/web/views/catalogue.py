"""The catalogue: designs, materials, machines, suppliers, offers, and loading them from a file."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue import selectors, services
from crib.catalogue.models import Design
from crib.catalogue.reading import show_curve, show_prices, show_shifts
from crib.stock.selectors import design_with
from crib.web.acting import need_acting, needs, signed_in_person
from crib.web.catalogue_forms import (
    DesignForm,
    Entry,
    ImportForm,
    MachineForm,
    MaterialForm,
    OfferForm,
    SupplierForm,
)
from crib.web.spindle_picture import spindle_picture
from crib.web.views.stock_acts import answer_form, form_page, posted

FORM, LIST = "crib/catalogue/entry_form.html", "crib/catalogue/"


def _system(request: HttpRequest) -> str:
    person = signed_in_person(request)
    assert person is not None
    return person.units


def _entry(request: HttpRequest, form: type[Entry], thing: Any = None, **initial: Any) -> Entry:
    known = {name: getattr(thing, name, None) for name in form.base_fields} if thing is not None else {}
    return form(posted(request), system=_system(request), thing=thing, initial=known | initial)


def _kept(request: HttpRequest, words: str, onward: HttpResponse) -> HttpResponse:
    messages.success(request, words)
    return onward


@needs("keep_catalogue")
@form_page
def new_design(request: HttpRequest) -> HttpResponse:
    form = _entry(request, DesignForm)

    def act() -> HttpResponse:
        made = services.create_design(who=need_acting(request), **form.cleaned_data)
        return _kept(request, f"{made.code} is in the catalogue.", redirect("crib:design", number=made.pk))

    return answer_form(request, form, act, "crib/catalogue/design_form.html", {"title": "New design"})


@needs("keep_catalogue")
@form_page
def change_design(request: HttpRequest, number: int) -> HttpResponse:
    found = design_with(number=number)
    form = _entry(request, DesignForm, found)

    def act() -> HttpResponse:
        services.change_design(design=found, who=need_acting(request), **form.changes())
        return _kept(request, f"{found.code} is changed.", redirect("crib:design", number=found.pk))

    context = {"title": f"Change {found.code}", "design": found}
    return answer_form(request, form, act, "crib/catalogue/design_form.html", context)


@require_POST
@needs("keep_catalogue")
def retire_design(request: HttpRequest, number: int) -> HttpResponse:
    """Out of use, or back into use when it is retired."""
    found: Design = design_with(number=number)
    act = services.reinstate_design if found.retired else services.retire_design
    words = "in use again" if found.retired else "no longer handed out"
    act(design=found, who=need_acting(request))
    return _kept(request, f"{found.code} is {words}.", redirect("crib:design", number=number))


@require_safe
def materials(request: HttpRequest) -> HttpResponse:
    rows = [(one, selectors.sources_of(one)) for one in selectors.all_materials()]
    context = {"materials": rows, "to_start_with": services.materials_to_start_with()}
    return render(request, LIST + "materials.html", context)


@require_POST
@needs("keep_catalogue")
def load_starting_materials(request: HttpRequest) -> HttpResponse:
    """Add the common metals that are not here yet."""
    loaded = services.load_starting_materials(who=need_acting(request))
    words = f"{len(loaded.added)} material{'' if len(loaded.added) == 1 else 's'} added."
    if loaded.left_alone:
        words += f" {loaded.left_alone} that the shop has already stay as they are."
    return _kept(request, words, redirect("crib:materials"))


@needs("keep_catalogue")
@form_page
def material(request: HttpRequest, number: int = 0) -> HttpResponse:
    """One material, or a new one."""
    found = selectors.material_with(number=number) if number else None
    form = _entry(request, MaterialForm, found)

    def act() -> HttpResponse:
        who = need_acting(request)
        if found is None:
            services.create_material(who=who, **form.cleaned_data)
        else:
            services.change_material(material=found, who=who, **form.changes())
        return _kept(request, "The material is kept.", redirect("crib:materials"))

    return answer_form(request, form, act, FORM, _about("materials", "Materials", "material", found))


@require_safe
def machines(request: HttpRequest) -> HttpResponse:
    return render(request, LIST + "machines.html", {"machines": selectors.all_machines()})


@needs("keep_catalogue")
@form_page
def machine(request: HttpRequest, number: int = 0) -> HttpResponse:
    """One machine with its limits and shifts, or a new one."""
    found = selectors.machine_with(number=number) if number else None
    written = {"shifts": show_shifts(found.shifts.all()), "power_curve": show_curve(found.power_curve)} if found else {}
    form = _entry(request, MachineForm, found, **written)

    def act() -> HttpResponse:
        fields = form.changes() if found else form.cleaned_data
        services.keep_machine(machine=found, who=need_acting(request), **fields)
        return _kept(request, "The machine is kept.", redirect("crib:machine_list"))

    about = _about("machine_list", "Machines", "machine", found)
    if found is not None:
        about["below"] = spindle_picture(found, _system(request))
    return answer_form(request, form, act, FORM, about)


@require_safe
def suppliers(request: HttpRequest) -> HttpResponse:
    return render(request, LIST + "suppliers.html", {"suppliers": selectors.all_suppliers()})


@needs("keep_catalogue")
@form_page
def supplier(request: HttpRequest, number: int = 0) -> HttpResponse:
    """One supplier, or a new one."""
    found = selectors.supplier_with(number=number) if number else None
    form = _entry(request, SupplierForm, found)

    def act() -> HttpResponse:
        who = need_acting(request)
        if found is None:
            services.create_supplier(who=who, **form.cleaned_data)
        else:
            services.change_supplier(supplier=found, who=who, **form.changes())
        return _kept(request, "The supplier is kept.", redirect("crib:suppliers"))

    return answer_form(request, form, act, FORM, _about("suppliers", "Suppliers", "supplier", found))


@require_safe
def offers(request: HttpRequest) -> HttpResponse:
    return render(request, LIST + "offers.html", {"offers": selectors.all_offers()})


@needs("keep_catalogue")
@form_page
def offer(request: HttpRequest, number: int = 0) -> HttpResponse:
    """What one supplier asks for one design, or a new offer."""
    found = selectors.offer_with(number=number) if number else None
    known: dict[str, Any] = {"design": request.GET.get("design", "")[:40]}
    if found is not None:
        known = {"design": found.design.code, "prices": show_prices(found.prices.all())}
    form = _entry(request, OfferForm, found, **known)

    def act() -> HttpResponse:
        who = need_acting(request)
        if found is None:
            services.create_offer(who=who, **form.cleaned_data)
        else:
            services.change_offer(offer=found, who=who, **form.changes())
        return _kept(request, "The offer is kept.", redirect("crib:offers"))

    return answer_form(request, form, act, FORM, _about("offers", "Offers", "offer", found))


LISTS = {"material": "materials", "machine": "machine_list", "supplier": "suppliers", "offer": "offers"}


@require_POST
@needs("keep_catalogue")
def retire_entry(request: HttpRequest, what: str, number: int) -> HttpResponse:
    """Take a material, machine, supplier or offer out of use."""
    services.retire_entry(what=what, number=number, who=need_acting(request))
    return _kept(request, f"The {what} is retired.", redirect(f"crib:{LISTS[what]}"))


@require_POST
@needs("keep_catalogue")
def reinstate_entry(request: HttpRequest, what: str, number: int) -> HttpResponse:
    """Bring a material, machine, supplier or offer into use again."""
    services.reinstate_entry(what=what, number=number, who=need_acting(request))
    return _kept(request, f"The {what} is in use again.", redirect(f"crib:{LISTS[what]}"))


@needs("keep_catalogue")
@form_page
def import_catalogue(request: HttpRequest) -> HttpResponse:
    """Load a catalogue from a CSV file, with a report of what was taken and what was refused."""
    form = ImportForm(posted(request), request.FILES or None)

    def act() -> HttpResponse:
        report = services.import_catalogue(
            file=form.cleaned_data["file"], who=need_acting(request), only_check=form.cleaned_data["only_check"]
        )
        context = {"form": ImportForm(), "report": report, "columns": services.import_columns()}
        return render(request, LIST + "import.html", context, status=200 if not report.refused else 400)

    return answer_form(request, form, act, LIST + "import.html", {"columns": services.import_columns()})


def _about(back: str, section: str, word: str, found: Any) -> dict[str, Any]:
    title = f"New {word}" if found is None else f"Change {found}"
    return {"back": f"crib:{back}", "section_name": section, "word": word, "thing": found, "title": title}
