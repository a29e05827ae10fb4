"""The wear of an edge on its page: plot, words and table, and the box that asks to look twice."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from crib.floor.models import Edge, Inspection, Operation
from crib.life import selectors, services
from crib.people.models import Person
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def page(client: Client, edge: Edge, who: Person) -> str:
    client.force_login(who, backend="django.contrib.auth.backends.ModelBackend")
    return html.unescape(client.get(reverse("crib:edge", args=[edge.pk])).content.decode())


def send(client: Client, name: str, edge: Edge, **fields: Any) -> Any:
    return client.post(reverse(f"crib:{name}", args=[edge.pk]), fields)


def look(shop: Shop, edge: Edge, *readings: tuple[float, float]) -> None:
    Inspection.objects.bulk_create(
        Inspection(edge=edge, at_minutes=at, wear_land_mm=land, seen_by=shop.setter) for at, land in readings
    )


@pytest.fixture
def edge(shop: Shop) -> Edge:
    edge = add_edges(shop, [*WORN, Past(24)])[-1]
    services.refit_all()
    look(shop, edge, (12.0, 0.1), (24.0, 0.15))
    services.refresh_all_due()
    return edge


def test_the_page_shows_readings_growth_and_the_range_of_the_crossing(shop: Shop, client: Client, edge: Edge) -> None:
    shown = page(client, edge, shop.setter)
    assert "Its wear" in shown
    found = re.search(r"about (\d+) minutes in cut, eight times in ten between (\d+) and (\d+)", shown)
    assert found is not None
    middle, low, high = map(int, found.groups())
    assert 24 < low < middle < high
    assert shown.count('class="point point-ended"') >= 3
    assert 'class="threshold"' in shown
    assert "How lands grow is assumed" in shown
    assert "no edge here was read twice" in shown


def test_the_crossing_is_what_the_forecast_says_but_for_breakage(shop: Shop, edge: Edge) -> None:
    growth = selectors.wear_growth(edge=edge)
    assert growth is not None
    assert growth.crossing is not None
    forecast = Edge.objects.get(pk=edge.pk).forecast
    assert growth.crossing[1] - 24 == pytest.approx(forecast.minutes_left_50, rel=0.05)
    assert growth.low[-1] <= growth.middle[-1] <= growth.high[-1]


def test_inches_for_those_who_read_inches(shop: Shop, client: Client, edge: Edge) -> None:
    Person.objects.filter(pk=shop.setter.pk).update(units="inch")
    assert "wear land, in" in page(client, edge, Person.objects.get(pk=shop.setter.pk))


def test_an_ended_edge_shows_its_wear_as_well(shop: Shop, client: Client, edge: Edge) -> None:
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")
    edge.inspections.filter(at_minutes=24).delete()
    assert send(client, "edge_end", edge, outcome="worn", wear_land_mm="0.33").status_code == 302
    shown = page(client, edge, shop.setter)
    assert "was likely crossed" in shown
    growth = selectors.wear_growth(edge=Edge.objects.get(pk=edge.pk))
    assert growth is not None
    assert growth.ended
    assert growth.readings[-1].wear_land_mm == 0.33
    assert growth.crossing is not None
    assert growth.crossing[2] <= 24.0


def test_readings_past_the_criterion_leave_no_growth(shop: Shop, client: Client, edge: Edge) -> None:
    Operation.objects.update(wear_limit_mm=0.05)
    assert "no growth can be told" in page(client, edge, shop.setter)


def test_an_edge_nobody_looked_at_shows_no_plot(shop: Shop, client: Client) -> None:
    edge = add_edges(shop, [Past(24)])[0]
    assert "Its wear" not in page(client, edge, shop.setter)
    assert selectors.wear_growth(edge=edge) is None
    look(shop, edge, (12.0, 0.1))
    growth = selectors.wear_growth(edge=edge)  # no model yet
    assert growth is not None
    assert growth.crossing is None


def test_the_box_comes_only_when_a_reading_is_odd_and_keeps_it(shop: Shop, client: Client, edge: Edge) -> None:
    assert "looked twice" not in page(client, edge, shop.setter)
    refused = send(client, "edge_look", edge, wear_land_mm="0.01")
    assert refused.status_code == 400
    text = html.unescape(refused.content.decode())
    assert "wear never falls" in text
    assert "I looked twice: it is right" in text
    assert send(client, "edge_look", edge, wear_land_mm="0.01", looked_twice="on").status_code == 302
    assert edge.inspections.get(looked_twice=True).wear_land_mm == 0.01
    assert "· looked twice" in page(client, edge, shop.setter)


def test_the_wear_at_the_end_is_asked_twice_too(shop: Shop, client: Client, edge: Edge) -> None:
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")
    refused = send(client, "edge_end", edge, outcome="worn", wear_land_mm="0.01")
    assert "I looked twice" in html.unescape(refused.content.decode())
    done = send(client, "edge_end", edge, outcome="worn", wear_land_mm="0.01", looked_twice="on")
    assert done.status_code == 302
    assert Edge.objects.get(pk=edge.pk).state == Edge.State.ENDED
