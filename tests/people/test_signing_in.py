"""Signing in and out, one's own settings, the counter's tablet, and the pages that say no."""

from __future__ import annotations

import sys
import types
from datetime import timedelta
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import path

from config import urls as product_urls
from crib.core import clock
from crib.core.errors import BadInput, NotAllowed, Refused
from crib.people.models import ChangeRecord, Person
from crib.people.services import retire_person
from crib.stock.labels import make_label
from crib.web import acting
from tests.people.conftest import PASSWORD, TakeOn

BACKEND = "django.contrib.auth.backends.ModelBackend"
pytestmark = pytest.mark.django_db


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend=BACKEND)
    return client


def sign_in(client: Client, username: str, password: str) -> Any:
    return client.post("/sign-in/", {"username": username, "password": password})


@pytest.fixture
def limited(settings: Any) -> None:
    settings.AXES_ENABLED = True


# ---- the door ----------------------------------------------------------------------------------------


def test_the_right_password_opens_the_page_that_was_asked_for(machinist: Person) -> None:
    client = Client()
    response = client.post("/sign-in/?next=/me/", {"username": "machinist", "password": PASSWORD, "next": "/me/"})
    assert response["Location"] == "/me/"
    assert client.get("/me/").status_code == 200


def test_the_door_never_leads_off_the_premises(machinist: Person) -> None:
    response = Client().post(
        "/sign-in/", {"username": "machinist", "password": PASSWORD, "next": "https://elsewhere.example/"}
    )
    assert response["Location"] == "/"


@pytest.mark.parametrize("username", ["machinist", "nobody"])
def test_a_wrong_password_and_an_unknown_name_say_the_same(machinist: Person, username: str) -> None:
    response = sign_in(Client(), username, "wrong")
    assert "do not belong together" in response.content.decode()
    assert "_auth_user_id" not in response.wsgi_request.session


def test_after_five_wrong_tries_the_door_stays_shut_for_a_while(machinist: Person, limited: None) -> None:
    client = Client()
    answers = [sign_in(client, "machinist", "wrong") for _ in range(5)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 200, 429]
    shut = sign_in(client, "machinist", PASSWORD)
    assert shut.status_code == 429
    assert "Too many wrong tries. Wait 15 minutes" in shut.content.decode()
    assert "<h1>Wait a while</h1>" in shut.content.decode()


def test_a_new_password_from_the_lead_opens_the_door_at_once(machinist: Person, lead: Person, limited: None) -> None:
    client = Client()
    for _ in range(6):
        sign_in(client, "machinist", "wrong")
    password = signed_in(lead).post("/people/machinist/password/").context["password"]
    assert sign_in(client, "machinist", password).status_code == 302


def test_one_persons_wrong_tries_shut_nobody_else_out(machinist: Person, lead: Person, limited: None) -> None:
    client = Client()
    for _ in range(6):
        sign_in(client, "machinist", "wrong")
    assert sign_in(client, "lead", PASSWORD).status_code == 302


def test_a_good_sign_in_forgets_the_wrong_tries_before_it(machinist: Person, limited: None) -> None:
    client = Client()
    for _ in range(3):
        assert [sign_in(client, "machinist", "wrong").status_code for _ in range(4)] == [200] * 4
        assert sign_in(client, "machinist", PASSWORD).status_code == 302
        client.post("/sign-out/")


def test_whoever_is_retired_is_out_at_once(machinist: Person, lead: Person) -> None:
    client = signed_in(machinist)
    retire_person(person=machinist, who=lead)
    assert client.get("/me/").status_code == 302
    assert sign_in(Client(), "machinist", PASSWORD).status_code == 200


def test_signing_out_takes_a_post(machinist: Person) -> None:
    client = signed_in(machinist)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert client.get("/me/").status_code == 302


def test_forms_carry_their_token(machinist: Person) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(machinist, backend=BACKEND)
    response = client.post("/me/", {"units": "inch", "scheme": "dark"})
    assert response.status_code == 403
    assert "open too long" in response.content.decode()


# ---- oneself -----------------------------------------------------------------------------------------


def test_own_settings_are_kept_and_seen(machinist: Person) -> None:
    client = signed_in(machinist)
    page = client.post("/me/", {"units": "inch", "scheme": "dark"}, follow=True).content.decode()
    assert 'data-scheme="dark"' in page
    assert "Your settings are kept." in page
    machinist.refresh_from_db()
    assert machinist.units == "inch"


def test_a_wrong_setting_is_said_beside_its_field(machinist: Person) -> None:
    response = signed_in(machinist).post("/me/", {"units": "cubits", "scheme": "dark"})
    assert response.status_code == 400
    assert 'id="id_units_error"' in response.content.decode()


def test_the_scheme_alone_may_be_chosen_from_anywhere(machinist: Person) -> None:
    client = signed_in(machinist)
    there = client.post("/me/scheme/", {"scheme": "dark"}, headers={"referer": "http://testserver/me/"})
    assert there["Location"] == "http://testserver/me/"
    away = client.post("/me/scheme/", {"scheme": "light"}, headers={"referer": "https://elsewhere.example/"})
    assert away["Location"] == "/"
    assert client.post("/me/scheme/", {"scheme": "pink"}).status_code == 400


def test_a_changed_password_keeps_this_browser_and_signs_out_the_others(machinist: Person) -> None:
    here, there = signed_in(machinist), signed_in(machinist)
    new = "a-sound-new-one-7"
    response = here.post("/me/password/", {"old": PASSWORD, "new": new, "again": new})
    assert response["Location"] == "/me/"
    assert here.get("/me/").status_code == 200
    assert there.get("/me/").status_code == 302


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"old": "wrong", "new": "a-sound-new-one-7", "again": "a-sound-new-one-7"}, "old"),
        ({"old": PASSWORD, "new": "short", "again": "short"}, "new"),
        ({"old": PASSWORD, "new": "a-sound-new-one-7", "again": "another"}, "again"),
        ({"old": "", "new": "", "again": ""}, "old"),
    ],
)
def test_a_password_that_cannot_be_names_its_field(machinist: Person, typed: dict[str, str], field: str) -> None:
    client = signed_in(machinist)
    assert client.get("/me/password/").status_code == 200
    response = client.post("/me/password/", typed)
    assert response.status_code == 400
    assert f'id="id_{field}_error"' in response.content.decode()
    machinist.refresh_from_db()
    assert machinist.check_password(PASSWORD)


# ---- the lead's page ---------------------------------------------------------------------------------


def test_the_lead_takes_on_a_person_who_then_signs_in(lead: Person) -> None:
    client = signed_in(lead)
    assert client.get("/people/new/").status_code == 200
    response = client.post(
        "/people/new/", {"first_name": "Nora", "last_name": "Dahl", "username": "nora", "role": "planner", "email": ""}
    )
    assert response["Cache-Control"] == "no-store"
    password = response.context["password"]
    assert password in response.content.decode()
    assert sign_in(Client(), "nora", password).status_code == 302
    assert "Nora Dahl" in client.get("/people/").content.decode()


def test_what_was_typed_stays_when_it_is_refused(lead: Person) -> None:
    typed = {"first_name": "Nora", "last_name": "Dahl", "username": "lead", "role": "planner", "email": ""}
    response = signed_in(lead).post("/people/new/", typed)
    page = response.content.decode()
    assert response.status_code == 400
    assert 'value="Nora"' in page
    assert "The user name lead is taken" in page
    assert "Nothing was saved. One field needs a look" in page


def test_the_lead_changes_a_role_and_the_record_says_who(lead: Person, machinist: Person) -> None:
    client = signed_in(lead)
    typed = {"first_name": "Ines", "last_name": "Halvard", "email": "", "role": "engineer"}
    assert client.post("/people/machinist/", typed)["Location"] == "/people/machinist/"
    page = client.get("/people/machinist/").content.decode()
    assert "Ines Halvard" in page
    assert "machinist → engineer" in page
    assert ChangeRecord.objects.filter(act="set role", who=lead).exists()


def test_the_last_lead_is_told_why_not(lead: Person) -> None:
    typed = {"first_name": "L", "last_name": "M", "email": "", "role": "planner"}
    response = signed_in(lead).post("/people/lead/", typed)
    assert response.status_code == 409
    assert "Make somebody else lead first" in response.content.decode()
    lead.refresh_from_db()
    assert lead.first_name == "Lead", "nothing is half-done"


def test_a_new_password_is_shown_once(lead: Person, machinist: Person) -> None:
    client = signed_in(lead)
    password = client.post("/people/machinist/password/").context["password"]
    assert password not in client.get("/people/machinist/").content.decode()
    assert sign_in(Client(), "machinist", password).status_code == 302


def test_retiring_and_coming_back(lead: Person, machinist: Person) -> None:
    client = signed_in(lead)
    page = client.post("/people/machinist/retire/", follow=True).content.decode()
    assert "no longer signs in" in page
    assert "Retired" in page
    assert client.post("/people/machinist/return/")["Location"] == "/people/machinist/"
    assert sign_in(Client(), "machinist", PASSWORD).status_code == 302
    refused = client.post("/people/lead/retire/")
    assert refused.status_code == 409
    assert "Nothing was changed." in refused.content.decode()


def test_a_tablet_has_a_page_without_a_role(lead: Person, tablet: Person) -> None:
    page = signed_in(lead).get("/people/tablet/").content.decode()
    assert "Counter tablet" in page
    assert 'name="role"' not in page


def test_the_lead_sees_the_badge_of_whoever_is_at_work(lead: Person, machinist: Person) -> None:
    client = signed_in(lead)
    label = make_label("P", machinist.pk)
    assert label in client.get("/people/machinist/").content.decode()
    retire_person(person=machinist, who=lead)
    assert label not in client.get("/people/machinist/").content.decode()


def test_names_are_text_wherever_they_stand(lead: Person, take_on: TakeOn) -> None:
    take_on("machinist", "x")
    Person.objects.filter(username="x").update(first_name="<script>alert(1)</script>")
    client = signed_in(lead)
    for url in ("/people/", "/people/x/"):
        assert "<script>alert" not in client.get(url).content.decode()


# ---- who is acting -----------------------------------------------------------------------------------


def request_of(person: Person) -> HttpRequest:
    request = RequestFactory().get("/")
    request.user = person
    request.session = signed_in(person).session
    return request


def test_a_person_acts_in_their_own_name(machinist: Person) -> None:
    request = request_of(machinist)
    assert acting.need_acting(request) == machinist
    assert acting.need_right(request, "log_runs") == machinist
    with pytest.raises(NotAllowed, match=r"receive what was ordered\. Ask the lead"):
        acting.need_right(request, "receive_goods")


def test_a_tablet_acts_for_nobody_until_a_badge_is_scanned(tablet: Person, machinist: Person) -> None:
    request = request_of(tablet)
    assert acting.acting_person(request) is None
    with pytest.raises(NotAllowed, match="Scan your badge first"):
        acting.need_acting(request)
    acting.name_acting(request, machinist)
    assert acting.need_right(request, "draw_tools") == machinist
    later = request_of(tablet)
    later.session = request.session
    assert acting.acting_person(later) == machinist
    acting.clear_acting(later)
    assert acting.acting_person(later) is None
    assert "acting" not in later.session


def test_a_badge_runs_out_when_nobody_uses_it(
    tablet: Person, machinist: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    start = clock.now()
    session = signed_in(tablet).session

    def after(seconds: int) -> Person | None:
        monkeypatch.setattr(clock, "now", lambda: start + timedelta(seconds=seconds))
        request = request_of(tablet)
        request.session = session
        return acting.acting_person(request)

    first = request_of(tablet)
    first.session = session
    acting.name_acting(first, machinist)
    assert after(100) == machinist, "each use keeps it alive"
    assert after(200) == machinist
    assert after(321) is None
    assert "acting" not in session


def test_the_badge_of_somebody_retired_is_worth_nothing(tablet: Person, machinist: Person, lead: Person) -> None:
    request = request_of(tablet)
    acting.name_acting(request, machinist)
    retire_person(person=machinist, who=lead)
    later = request_of(tablet)
    later.session = request.session
    assert acting.acting_person(later) is None


def test_a_tablet_itself_has_no_right(tablet: Person, lead: Person) -> None:
    assert signed_in(tablet).get("/people/").status_code == 403
    assert signed_in(tablet).get("/me/").status_code == 200


def test_a_tablet_starts_at_the_counter_and_is_not_signed_out_by_a_stray_tap(tablet: Person) -> None:
    client = Client()
    assert sign_in(client, "tablet", PASSWORD)["Location"] == "/counter/"
    counter_page, own_page = (client.get(url).content.decode() for url in ("/counter/", "/me/"))
    assert "/sign-out/" not in counter_page
    assert "/sign-out/" in own_page


def test_a_badge_opens_the_page_that_asked_for_it(tablet: Person, machinist: Person) -> None:
    client = signed_in(tablet)
    assert "Scan badge" in client.get("/me/").content.decode()
    label = make_label("P", machinist.pk)
    response = client.post("/badge/", {"badge": f" {label.lower()} ", "next": "/me/"}, follow=True)
    assert response.redirect_chain == [("/me/", 302)]
    assert "now writes in your name" in response.content.decode()
    assert "Scan badge" not in response.content.decode()
    done = client.post("/badge/done/", follow=True, headers={"referer": "/me/"})
    assert "acting" not in done.wsgi_request.session


def test_a_badge_field_leads_nowhere_else(tablet: Person, machinist: Person) -> None:
    label = make_label("P", machinist.pk)
    response = signed_in(tablet).post("/badge/", {"badge": label, "next": "https://elsewhere.example/"})
    assert response["Location"] == "/"


def test_what_is_no_good_badge_is_refused_in_words(tablet: Person, machinist: Person, lead: Person) -> None:
    client = signed_in(tablet)
    retire_person(person=machinist, who=lead)
    for text, sentence in (
        ("", "Scan your badge"),
        (make_label("P", machinist.pk), "no longer good"),
        (make_label("P", tablet.pk), ""),
        (make_label("P", 999999), ""),
        ("ET1:P1", ""),
        ("nonsense", ""),
    ):
        response = client.post("/badge/", {"badge": text})
        assert response.status_code in (400, 403, 404, 409)
        assert sentence in response.content.decode()
        assert "acting" not in client.session


def test_a_badge_is_worth_nothing_where_people_sign_in_themselves(machinist: Person, lead: Person) -> None:
    client = signed_in(machinist)
    assert client.post("/badge/", {"badge": make_label("P", lead.pk)})["Location"] == "/"
    client.post("/badge/done/")
    assert client.get("/people/").status_code == 403


def test_a_borrowed_badge_sets_no_roles(tablet: Person, lead: Person) -> None:
    client = signed_in(tablet)
    client.post("/badge/", {"badge": make_label("P", lead.pk)})
    response = client.get("/people/")
    assert response.status_code == 403
    assert "your own password" in response.content.decode()
    assert 'href="/people/"' not in client.get("/me/").content.decode()


def test_what_needs_a_badge_asks_for_it_there_and_then(tablet: Person, error_views: None) -> None:
    page = signed_in(tablet).get("/needs-badge/?of=12")
    assert page.status_code == 403
    assert 'name="badge"' in page.content.decode()
    assert 'value="/needs-badge/?of=12"' in page.content.decode()


def test_a_right_that_does_not_exist_is_a_mistake_of_ours() -> None:
    with pytest.raises(LookupError, match="keep_secrets"):
        acting.needs("keep_secrets")


# ---- pages that say no -------------------------------------------------------------------------------


def raising(error: Exception) -> Any:
    def view(request: HttpRequest) -> HttpResponse:
        raise error

    return view


@acting.needs("log_runs")
def needs_badge(request: HttpRequest) -> HttpResponse:
    return HttpResponse("logged")


ERROR_VIEWS = [
    path("needs-badge/", needs_badge),
    path("bad/", raising(BadInput("parts", "Parts must be a whole number."))),
    path("refused/", raising(Refused("This edge has ended already. Fit another."))),
    path("broken/", raising(RuntimeError("wires"))),
]


@pytest.fixture
def error_views(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    module = types.ModuleType("urls_with_errors")
    module.urlpatterns = [*ERROR_VIEWS, *product_urls.urlpatterns]  # type: ignore[attr-defined]  # made here
    monkeypatch.setitem(sys.modules, module.__name__, module)
    settings.ROOT_URLCONF = module.__name__


@pytest.mark.parametrize(
    ("url", "status", "sentence"),
    [("/bad/", 400, "Parts must be a whole number."), ("/refused/", 409, "This edge has ended already. Fit another.")],
)
def test_a_refusal_that_flies_becomes_a_page_or_a_part(
    error_views: None, machinist: Person, url: str, status: int, sentence: str
) -> None:
    client = signed_in(machinist)
    page = client.get(url)
    assert page.status_code == status
    assert sentence in page.content.decode()
    assert "Go to Today" in page.content.decode()
    part = client.get(url, headers={"HX-Request": "true"})
    assert part.status_code == status
    assert sentence in part.content.decode()
    assert "<html" not in part.content.decode()


def test_what_breaks_is_answered_in_our_look(error_views: None, machinist: Person) -> None:
    client = Client(raise_request_exception=False)
    client.force_login(machinist, backend=BACKEND)
    response = client.get("/broken/")
    assert response.status_code == 500
    assert "The fault is ours" in response.content.decode()
    assert "wires" not in response.content.decode()


def test_an_address_where_nothing_is_shows_the_way_out(machinist: Person) -> None:
    for client in (signed_in(machinist), Client()):
        response = client.get("/nowhere/")
        assert response.status_code == 404
        assert "Go to Today" in response.content.decode()
