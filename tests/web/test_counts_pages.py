"""The pages of counts: one field and a next line, nothing of the books before the review, and what is due."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from crib.core import clock
from crib.stock import services
from crib.stock.models import Balance, Count, Move
from tests.shop import Shop, assert_ledger_balances
from tests.web.conftest import OpenPage
from tests.web.pages import signed_in, text


def url(name: str, *args: object) -> str:
    return reverse(f"crib:{name}", args=args)


def scan(client: Client, page: Any, words: str, **more: str) -> Any:
    """Send what was scanned with the page's own hidden fields, and go where it leads."""
    html = page.content.decode()
    form = re.search(r'<form class="count-form".*?</form>', html, re.S)
    assert form, "the page has no field"
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0]))
    action = re.search(r'action="([^"]*)"', form[0])
    assert action
    hidden.pop("csrfmiddlewaretoken", None)
    return client.post(action[1], hidden | {"text": words} | more, follow=True)


def test_a_blind_count_goes_from_line_to_line_into_the_ledger(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.design("T-60"), 3173)
    client = signed_in(shop.attendant)
    page = client.post(url("counts"), {"what": "A-01", "blind": "on"}, follow=True)
    count = Count.objects.get()
    assert count.blind
    assert client.post(url("counts"), {"what": "A-01"}).status_code == 409
    page = scan(client, page, "CT-45-12")
    page = scan(client, page, "4")
    assert "Count again" in text(page)
    page = scan(client, page, "4")
    assert "T-60 in A-01" in text(page)
    assert "3173" not in text(page)
    refused = scan(client, page, "no such thing")
    assert (refused.status_code, "not known here" in text(refused)) == (404, True)
    assert client.post(url("post_count", count.pk)).status_code == 409
    page = scan(client, page, "3173")
    assert client.post(url("finish_count", count.pk), follow=True).status_code == 200
    own = text(client.get(url("count", count.pk)))
    assert "You counted this yourself" in own
    lead = signed_in(shop.lead)
    review = text(lead.get(url("count", count.pk)))
    assert "You counted this yourself" not in review
    assert "at first 4" in review
    assert Move.objects.filter(why="count").count() == 0
    assert lead.post(url("post_count", count.pk)).status_code == 302
    standing = dict(Balance.objects.filter(place=shop.bin).values_list("design__code", "quantity"))
    assert standing == {"CT-45-12": 4, "T-60": 3173}
    move = Move.objects.get(why="count")
    assert url("move", move.pk) in lead.get(url("count", count.pk)).content.decode()
    assert url("count", count.pk) in lead.get(url("move", move.pk)).content.decode()
    for late in ("post_count", "drop_count", "reopen_count", "finish_count"):
        assert lead.post(url(late, count.pk)).status_code == 409
    assert signed_in(shop.setter).post(url("counts"), {"what": "A-01"}).status_code == 403
    assert_ledger_balances()


def test_nothing_of_the_books_is_on_a_blind_page_before_the_review(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3173)
    stray = shop.item(shop.body)
    count = services.start_count(place=shop.other_bin, who=shop.attendant)
    client = signed_in(shop.attendant)
    page = client.get(url("count", count.pk))
    page = scan(client, page, stray.label)
    assert "A-01" not in text(page)
    of_design = services.start_count(design=shop.chamfer_tip, who=shop.attendant)
    address = f"{url('count', of_design.pk)}?place={shop.bin.pk}&design={shop.chamfer_tip.pk}"
    for words in ("", "7", "7"):
        page = scan(client, client.get(address), words) if words else client.get(address)
        assert "3173" not in text(page)
        assert "3,173" not in text(page)
    seeing = services.start_count(place=shop.bin, who=shop.lead, blind=False)
    assert "3173" in text(client.get(url("count", seeing.pk)))


def test_what_moves_between_looking_and_writing_is_asked_for_again(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    count = services.start_count(place=shop.bin, who=shop.attendant)
    client = signed_in(shop.attendant)
    page = scan(client, client.get(url("count", count.pk)), "CT-45-12")
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    again = scan(client, page, "5")
    assert (again.status_code, "while you counted" in text(again)) == (409, True)
    # The same page sent twice counts once: the second figure is no second look.
    page = scan(client, again, "3")
    key = re.search(r'name="key" value="([^"]*)"', again.content.decode())
    assert key
    scan(client, again, "3", key=key[1])
    assert count.lines.get().first_counted is None


def test_odd_addresses_of_a_count_are_refused(shop: Shop) -> None:
    count = services.start_count(place=shop.bin, who=shop.attendant)
    client = signed_in(shop.attendant)
    page = url("count", count.pk)
    asked = [{"place": "x"}, {"condition": "shiny"}, {"design": "999999"}, {"place": "999999"}]
    assert [client.get(page, one).status_code for one in asked] == [400, 400, 404, 404]
    assert client.get(url("count", 999999)).status_code == 404
    assert client.post(page, {"text": ""}).status_code == 400
    assert client.post(page, {"text": "\x00"}).status_code == 400
    assert client.get(url("counts"), {"what": "\x00A"}).status_code == 200


def test_what_is_due_goes_by_value_and_use_and_starts_with_one_click(shop: Shop) -> None:
    dear, cheap, idle = shop.design("DEAR", unit_cost=400), shop.design("CHEAP", unit_cost=1), shop.design("IDLE")
    for design in (dear, cheap, idle):
        shop.stock(design, 10)
    for design in (dear, cheap):
        shop.check_out(design, 3, by=shop.setter)
    client = signed_in(shop.attendant)
    day = client.get(url("counts_due")).context["day"]
    assert [(one.design.code, one.ranked.letter, one.ranked.use) for one in day.due] == [
        ("DEAR", "A", 3),
        ("CHEAP", "C", 3),
        ("IDLE", "C", 0),
    ]
    assert (day.a_day, [one.design.code for one in day.today]) == (1, ["DEAR"])
    assert "DEAR" in text(client.get(url("today")))
    client.post(url("counts"), {"what": "DEAR", "blind": "on"})
    count = Count.objects.get(design=dear)
    assert client.get(url("counts_due")).context["day"].due[0].under_way == count.pk
    services.record_count(count=count, design=dear, place=shop.bin, counted=7, who=shop.attendant)
    services.finish_count(count=count, who=shop.attendant)
    assert "1 count to review" in text(client.get(url("today")))
    services.post_count(count=count, who=shop.lead)
    day = client.get(url("counts_due")).context["day"]
    assert ([one.design.code for one in day.due], day.today, day.done_today) == (["CHEAP", "IDLE"], (), 1)
    Count.objects.update(posted_at=clock.now() - timedelta(days=31))
    (first, *_) = client.get(url("counts_due")).context["day"].due
    assert (first.design, first.days_over) == (dear, 1)


def test_how_right_the_books_are_is_shown_and_exported(shop: Shop) -> None:
    client = signed_in(shop.lead)
    assert "No count is posted yet" in text(client.get(url("count_accuracy")))
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.design("T-60", unit_cost=2), 5)
    count = services.start_count(place=shop.bin, who=shop.attendant)
    for code, counted in (("CT-45-12", 5), ("T-60", 2), ("T-60", 2)):
        design = shop.chamfer_tip if code == "CT-45-12" else Balance.objects.get(design__code=code, quantity=5).design
        services.record_count(count=count, design=design, counted=counted, who=shop.attendant)
    services.finish_count(count=count, who=shop.attendant)
    services.post_count(count=count, who=shop.lead)
    (month,) = client.get(url("count_accuracy")).context["months"]
    tally = month.tally
    assert (tally.share, tally.net, tally.absolute, tally.money_net, tally.money_absolute) == (0.5, -3, 3, -6, 6)
    rows = client.get(url("count_accuracy_sheet")).content.decode().splitlines()
    assert rows[1] == f"{clock.today():%Y-%m},1,2,1,0.5,0,3,-3,3,0,-6,6"


@pytest.mark.browser
def test_counting_on_a_tablet_with_gloves(open_page: OpenPage) -> None:
    shop = Shop()
    shop.stock(shop.chamfer_tip, 12)
    page = open_page("attendant", "/stock/counts/?what=A-01", width=768, height=1024, touch=True)
    page.get_by_role("button", name="Start").click()
    page.get_by_role("link", name="Begin with CT-45-12 in A-01").click()
    for digit in "129":
        page.locator(f'[data-key="{digit}"]').click()
    page.get_by_role("button", name="Take the last digit away").click()
    assert page.input_value("#count-text") == "12"
    page.get_by_role("button", name="Write it down").click()
    page.get_by_role("button", name="Finish, for review").click()
    page.get_by_text("You counted this yourself").wait_for()
    page.get_by_role("button", name="Post the differences").click()
    page.get_by_text("Nothing differed.").wait_for()
