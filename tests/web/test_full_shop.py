"""The same rules for the pages of single things, found by following the links of a shop with work in it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import resolve

from crib.core import clock
from crib.floor import services as floor
from crib.people.models import Person
from crib.stock import services as stock
from crib.stock.kits import KitWant
from crib.stock.models import Condition
from crib.stock.services import issue_kit, stage_kit
from crib.web.context import PLACES
from tests.shop import Shop
from tests.web.conftest import OpenPage, Scheme
from tests.web.pages import signed_in
from tests.web.test_every_page import faults_of
from tests.web.test_rights import OPEN_TO_ALL_ROLES
from tests.web.walk import addresses, forms_in, links_in, pages_in

NAMES = {address.name: address for address in addresses()}


def full_shop() -> Shop:
    """A shop in which everything that has a page of its own is there at least once."""
    shop = Shop()
    shop.stock(shop.chamfer_tip, 5)
    for _ in (shop.offer, shop.operation, shop.edge):
        pass
    shop.log_run()
    # One tool without a tip in it: its pages have no edge to speak of.
    floor.build_assembly(
        holder=shop.item(shop.holder),
        body=shop.item(shop.body),
        gauge_length_mm=160.0,
        stick_out_mm=60.0,
        who=shop.setter,
    )
    shop.check_out(shop.chamfer_tip, by=shop.setter)
    send_drills(shop)
    # A kit that is out, with something left to bring back.
    tips = KitWant(design=shop.chamfer_tip, role="edge", wanted=2)
    kit = stage_kit(job=shop.job, parts=5, lines=[tips], who=shop.attendant)
    issue_kit(kit=kit, person=shop.setter, who=shop.attendant, key="kit")
    return shop


def send_drills(shop: Shop) -> None:
    """Three reground drills: one is back, one is out and overdue, one lies in the bin; and a box of worn carbide."""
    drill = shop.design(
        "DR-8.5", "drill", edges=1, diameter_mm=8.5, length_mm=90.0, regrinds_allowed=3, carbide_mass_g=52.0,
        regrind_cost=Decimal("12"),
    )  # fmt: skip
    shop.stock(drill, 3, condition=Condition.PART_USED)
    given: dict[str, Any] = {"design": drill, "condition": Condition.PART_USED, "place": shop.bin}
    items = [stock.make_item(**given, who=shop.attendant) for _ in range(3)]
    grinder = stock.place_of(regrind="Keen Edge")
    floor.send_out(
        items=items[:2], shop=grinder, due_on=clock.today() - timedelta(days=2), who=shop.attendant, key="send"
    )
    floor.take_in(item=items[0], to_place=shop.bin, diameter_mm=8.47, length_mm=88.0, who=shop.attendant, key="in")
    stock.collect_scrap(weighed_g=40.0, after=None, who=shop.attendant)


def reachable(person: Person) -> dict[str, str]:
    client = signed_in(person)
    start = [NAMES[name].url() for name, *_ in PLACES if name in NAMES]
    return pages_in(client, [*start, "/people/", "/me/"])


@pytest.fixture
def busy(people: dict[str, Person]) -> Callable[[str], dict[str, str]]:
    full_shop()
    return lambda role: reachable(people[role])


@pytest.mark.once
@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), [(1280, 800, "light"), (800, 1280, "dark")])
def test_pages_of_single_things_are_sound(
    busy: Callable[[str], dict[str, str]], open_page: OpenPage, width: int, height: int, scheme: Scheme
) -> None:
    pages = busy("lead")
    assert len(pages) >= 4, "the walk found next to nothing"
    page = open_page("lead", "about:blank", width=width, height=height, scheme=scheme)
    assert [fault for name, url in sorted(pages.items()) for fault in faults_of(page, name, url)] == []


def test_no_choice_is_a_row_of_dashes(busy: Callable[[str], dict[str, str]], people: dict[str, Person]) -> None:
    lead = signed_in(people["lead"])
    pages = {url: lead.get(url).content.decode() for url in busy("lead").values()}
    assert sum("<select" in page for page in pages.values()) > 5, "the walk found next to nothing"
    assert [url for url, page in pages.items() if re.search(r"<option[^>]*>\s*-+\s*</option>", page)] == []


def test_without_a_role_no_form_of_a_full_shop_does_anything(
    busy: Callable[[str], dict[str, str]], people: dict[str, Person]
) -> None:
    lead, nobody = (signed_in(people[one]) for one in ("lead", "machinist"))
    people["machinist"].groups.clear()
    posts = {post for url in busy("lead").values() for post in [url, *forms_in(lead.get(url).content.decode())]}
    done = []
    for post in sorted(posts):
        name = resolve(post.split("?")[0]).url_name
        if name in OPEN_TO_ALL_ROLES:
            continue
        status = nobody.post(post).status_code
        if status not in (403, 405):
            done.append(f"{name} {post} answered {status}")
    assert len(posts) > 10, "the walk found next to nothing"
    assert done == []


@pytest.mark.parametrize("role", ["machinist", "attendant", "planner", "engineer", "lead"])
def test_no_role_meets_a_link_that_leads_nowhere(
    busy: Callable[[str], dict[str, str]], people: dict[str, Person], role: str
) -> None:
    client = signed_in(people[role])
    met: dict[str, str] = {}
    for name, url in busy(role).items():
        for link in links_in(client.get(url).content.decode()):
            met.setdefault(link, f"{name} {url}")
    dead = []
    for link, page in met.items():
        status = client.get(link).status_code
        if status >= 400 and status != 405:
            dead.append(f"{page} links to {link}, which answers {status}")
    assert dead == []
