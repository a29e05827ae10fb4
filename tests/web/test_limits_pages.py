"""The page of a design's limits, and the design's own page that names them."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from crib.people.models import Person
from crib.stock import services
from crib.stock.models import TakeLimit
from tests.shop import Shop


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_lead_sets_and_lifts_a_limit(shop: Shop) -> None:
    page = reverse("crib:limits", args=[shop.chamfer_tip.pk])
    lead = signed_in(shop.lead)
    assert "goes out without a limit" in lead.get(page).content.decode()
    set_it = lead.post(page, {"per": "person", "most": "4", "days": "7"}, follow=True)
    assert "4 for each person within 7 days" in set_it.content.decode()
    wrong = lead.post(page, {"per": "person", "most": "-1", "days": ""})
    assert wrong.status_code == 400
    design = signed_in(shop.setter).get(reverse("crib:design", args=[shop.chamfer_tip.pk])).content.decode()
    assert "4 for each person within 7 days" in design
    assert page not in design, "who may not set limits is not led there"
    lead.post(reverse("crib:lift_limit", args=[TakeLimit.objects.get().pk]))
    assert not TakeLimit.objects.exists()


def test_others_and_the_tablet_set_no_limits(shop: Shop) -> None:
    page = reverse("crib:limits", args=[shop.chamfer_tip.pk])
    assert signed_in(shop.attendant).get(page).status_code == 403
    assert signed_in(shop.tablet).post(page, {"per": "job", "most": "1"}).status_code == 403


def test_the_ledger_names_who_allowed_more(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    services.set_take_limit(design=shop.chamfer_tip, per="person", most=0, days=None, who=shop.lead)
    services.check_out(
        design=shop.chamfer_tip, quantity=1, person=shop.setter, from_place=shop.bin, who=shop.setter,
        key=shop.key(), allowed_by=shop.lead, note="start of the batch",
    )  # fmt: skip
    page = signed_in(shop.setter).get(reverse("crib:ledger")).content.decode()
    assert "beyond the limit, allowed by Lena Holt" in page
    assert "start of the batch" in page
