"""Sign-in, one's own settings, and the lead's page of people."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from crib.core.errors import NotAllowed, ShopError
from crib.floor.services import let_go
from crib.people import selectors, services
from crib.people.models import Person
from crib.people.roles import ROLES
from crib.stock.labels import make_label
from crib.stock.selectors import held_of
from crib.web.acting import need_acting, needs, signed_in_person
from crib.web.codes import data_matrix
from crib.web.forms import show_refusal

ROLE_CHOICES = [(role, role.capitalize()) for role in ROLES]


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "That user name and password do not belong together. Mind capital letters, and try again.",
        "inactive": "This person no longer signs in here. Ask the lead.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "User name"


class SignIn(LoginView):
    template_name = "crib/people/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def get_default_redirect_url(self) -> str:
        person = signed_in_person(self.request)
        return (
            reverse("crib:counter") if person is not None and person.is_counter else super().get_default_redirect_url()
        )


def locked_out(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    """Answers every try after too many wrong ones, until the pause is over."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    sentence = (
        f"Too many wrong tries. Wait {minutes} minutes and sign in again, or ask the lead for a new password meanwhile."
    )
    return render(request, "crib/people/locked_out.html", {"sentence": sentence}, status=429)


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    messages.success(request, "You are signed out.")
    return redirect("crib:sign_in")


class SettingsForm(forms.Form):
    units = forms.ChoiceField(
        choices=Person.Units.choices,
        widget=forms.RadioSelect,
        help_text="Any field takes either, with its unit: 0.5 in, 12.7 mm.",
    )
    scheme = forms.ChoiceField(choices=Person.Scheme.choices, widget=forms.RadioSelect, label="Colours")


class PasswordForm(forms.Form):
    old = forms.CharField(
        label="Present password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    new = forms.CharField(
        label="New password",
        strip=False,
        help_text="Eight characters or more, not a common one, not your name.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="New password once more",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "new" in cleaned and "again" in cleaned and cleaned["new"] != cleaned["again"]:
            self.add_error("again", "The two new passwords differ; type the new one twice.")
        return cleaned


def me(request: HttpRequest) -> HttpResponse:
    """One's own settings; at a counter tablet, the tablet's."""
    person = _signed_in(request)
    form = SettingsForm(request.POST or None, initial={"units": person.units, "scheme": person.scheme})
    if request.method == "POST" and form.is_valid():
        services.choose_settings(person=person, **form.cleaned_data)
        messages.success(request, "Your settings are kept.")
        return redirect("crib:me")
    role = selectors.role_of(person)
    context = {"section": "me", "form": form, "role": role, "rights": selectors.rights_of_role(role)}
    context["held"] = held_of(person=person)
    return render(request, "crib/people/me.html", context, status=400 if form.errors else 200)


@require_POST
def choose_scheme(request: HttpRequest) -> HttpResponse:
    services.choose_settings(person=_signed_in(request), scheme=request.POST.get("scheme", ""))
    return _back(request)


@sensitive_post_parameters()
@never_cache
def change_password(request: HttpRequest) -> HttpResponse:
    person = _signed_in(request)
    form = PasswordForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            services.change_own_password(person=person, old=form.cleaned_data["old"], new=form.cleaned_data["new"])
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            # The person stays signed in here; every other place is signed out.
            update_session_auth_hash(request, person)
            messages.success(request, "Your password is changed. Other places where you were signed in are signed out.")
            return redirect("crib:me")
    elif form.errors:
        status = 400
    return render(request, "crib/people/change_password.html", {"section": "me", "form": form}, status=status)


class NewPersonForm(forms.Form):
    first_name = forms.CharField(max_length=150, required=False, label="First name")
    last_name = forms.CharField(max_length=150, required=False, label="Last name")
    username = forms.CharField(max_length=60, label="User name", help_text="For signing in; it stays for good.")
    role = forms.ChoiceField(choices=[("", "Choose a role"), *ROLE_CHOICES], required=False)
    email = forms.CharField(max_length=254, required=False, label="E-mail")
    is_counter = forms.BooleanField(
        required=False,
        label="This is a counter tablet",
        help_text="A tablet has no role; each action there names its person by a badge scan.",
    )


class PersonForm(forms.Form):
    first_name = forms.CharField(max_length=150, required=False, label="First name")
    last_name = forms.CharField(max_length=150, required=False, label="Last name")
    email = forms.CharField(max_length=254, required=False, label="E-mail")
    role = forms.ChoiceField(choices=ROLE_CHOICES, required=False)


@require_safe
@needs("keep_people")
def people(request: HttpRequest) -> HttpResponse:
    lines = selectors.list_people()
    context = {
        "section": "people",
        "at_work": [line for line in lines if line.is_active],
        "gone": [line for line in lines if not line.is_active],
        "changes": selectors.list_changes(what="person", limit=12),
    }
    return render(request, "crib/people/people.html", context)


@sensitive_post_parameters()
@needs("keep_people")
def add_person(request: HttpRequest) -> HttpResponse:
    form = NewPersonForm(request.POST or None)
    status = 400 if request.method == "POST" else 200
    if request.method == "POST" and form.is_valid():
        try:
            person, password = services.take_on_person(**form.cleaned_data, who=need_acting(request))
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            return _hand_over(request, person, password)
    return render(request, "crib/people/add_person.html", {"section": "people", "form": form}, status=status)


@needs("keep_people")
def person(request: HttpRequest, username: str) -> HttpResponse:
    found = selectors.find_person(username)
    role = selectors.role_of(found)
    initial = {"first_name": found.first_name, "last_name": found.last_name, "email": found.email, "role": role}
    form = PersonForm(request.POST or None, initial=initial)
    if found.is_counter:
        del form.fields["role"]
    status = 400 if request.method == "POST" else 200
    if request.method == "POST" and form.is_valid():
        try:
            services.change_person(person=found, who=need_acting(request), **form.cleaned_data)
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            messages.success(request, f"{found} is kept as written.")
            return redirect("crib:person", username=found.username)
    context: dict[str, Any] = {
        "section": "people",
        "person": selectors.find_person(username),
        "form": form,
        "rights": selectors.rights_of_role(role),
        "changes": selectors.list_changes(what="person", which=found.username, limit=12),
        "held": held_of(person=found),
    }
    if found.is_active and not found.is_counter:
        label = make_label("P", found.pk)
        context |= {"badge": label, "badge_code": data_matrix(label)}
    return render(request, "crib/people/person.html", context, status=status)


@require_POST
@needs("keep_people")
@never_cache
def reset_password(request: HttpRequest, username: str) -> HttpResponse:
    found = selectors.find_person(username)
    return _hand_over(request, found, services.reset_password(person=found, who=need_acting(request)))


@require_POST
@needs("keep_people")
def retire_person(request: HttpRequest, username: str) -> HttpResponse:
    found = let_go(person=selectors.find_person(username), who=need_acting(request))
    messages.success(request, f"{found} no longer signs in. What they did keeps their name.")
    return redirect("crib:people")


@require_POST
@needs("keep_people")
def return_person(request: HttpRequest, username: str) -> HttpResponse:
    found = services.bring_back_person(person=selectors.find_person(username), who=need_acting(request))
    messages.success(request, f"{found} may sign in again.")
    return redirect("crib:person", username=found.username)


def _hand_over(request: HttpRequest, found: Person, password: str) -> HttpResponse:
    """Show a new password once, and never again: it goes straight into the page, not into a message or a session."""
    context = {"section": "people", "person": found, "password": password}
    response = render(request, "crib/people/hand_over.html", context)
    response["Cache-Control"] = "no-store"
    return response


def _signed_in(request: HttpRequest) -> Person:
    person = signed_in_person(request)
    if person is None:
        raise NotAllowed("Sign in first.")
    return person


def _back(request: HttpRequest) -> HttpResponseRedirect:
    target = request.META.get("HTTP_REFERER", "")
    safe = url_has_allowed_host_and_scheme(
        target, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return HttpResponseRedirect(target if safe else "/")
