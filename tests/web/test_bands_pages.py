"""The band of the flute on pages: entered with the operation, shown on the sheet, the edge's page and the item's."""

from __future__ import annotations

import re
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.floor import services as floor
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.models import Forecast
from crib.web.flute import flute_of
from tests.life.lives import Past, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text


def rows(page: str) -> list[list[str]]:
    """The cells of the table of bands, without their markup."""
    table = re.search(r'aria-label="Bands of the flute">(.*?)</table>', page)
    assert table
    body = table[1].split("<tbody>")[1]
    return [
        [re.sub(r"<svg.*?</svg>|<[^>]+>", "", cell).strip() for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", body)
    ]


@pytest.fixture
def two_bands(shop: Shop) -> Shop:
    """Edge 1 wore two bands; edge 2 works in the upper one of them."""
    shop.log_run(hour=0, parts=1)
    shop.use_band(0.0, 0.75)
    shop.log_run(hour=1, parts=9)
    shop.use_band(1.0, 1.75)
    last = shop.log_run(hour=2, parts=3)
    floor.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter, at=last.ended_at + timedelta(hours=1))
    services.refresh_all_due()
    return shop


def test_an_edges_page_shows_the_bands_of_its_flute(two_bands: Shop) -> None:
    edge = two_bands.edge
    page = text(signed_in(two_bands.setter).get(f"/edges/{edge.pk}/"))
    used = Forecast.objects.get(edge=edge).life_used or 0.0
    low, high = rows(page)
    assert low[:4] == ["0 mm", "0.75 mm", "18", "9"]
    assert high[:4] == ["1 mm", "1.75 mm", "6", "3"]
    assert high[4].endswith("at work now")
    assert high[4].startswith(f"{round(100 * used)} %")
    assert "at work now" not in low[4]
    link = re.search(r'href="([^"]+)">Find the least worn band', page)
    assert link
    asked = urlsplit(link[1].replace("&amp;", "&"))
    assert asked.path == "/workings/chamfer-edge/"
    assert parse_qs(asked.query) == {"item": [edge.item.label], "chamfer_width": ["0.75 mm"]}
    assert signed_in(two_bands.setter).get(link[1].replace("&amp;", "&")).status_code == 200


def test_where_an_edge_cut_says_the_band_too(two_bands: Shop) -> None:
    first = Edge.objects.get(item=two_bands.edge.item, number=1)
    page = text(signed_in(two_bands.setter).get(f"/edges/{first.pk}/"))
    assert "0 mm to 0.75 mm up the flute" in page
    assert "1 mm to 1.75 mm up the flute" in page
    assert page.count("up the flute") == 2


def test_the_items_page_shows_them_whoever_cut(two_bands: Shop) -> None:
    page = text(signed_in(two_bands.setter).get(f"/stock/items/{two_bands.edge.item_id}/"))
    assert [row[:2] for row in rows(page)] == [["0 mm", "0.75 mm"], ["1 mm", "1.75 mm"]]


def test_a_flute_that_nobody_has_noted_says_what_to_do(shop: Shop) -> None:
    shop.log_run(hour=0, parts=1)
    page = text(signed_in(shop.setter).get(f"/edges/{shop.edge.pk}/"))
    assert "No band has cut yet that anybody noted" in page
    assert "chamfer_width=1+mm" in page


def test_what_has_no_conical_flute_has_no_bands(shop: Shop) -> None:
    drill = shop.design("DR-8", "drill", edges=1, diameter_mm=8.0, point_angle_deg=140.0)
    item = shop.item(drill)
    assert flute_of(item) is None
    assert "Bands of the flute" not in text(signed_in(shop.setter).get(f"/stock/items/{item.pk}/"))


def test_a_share_that_is_not_known_is_said_so(two_bands: Shop) -> None:
    Operation.objects.update(chance_part_lost=float("inf"))
    flute = flute_of(two_bands.edge.item)
    assert flute is not None
    assert [row.gauge for row in flute.rows] == [None, None]
    page = text(signed_in(two_bands.setter).get(f"/stock/items/{two_bands.edge.item_id}/"))
    assert [row[4] for row in rows(page)] == ["Not known", "Not known · at work now"]


def test_the_page_costs_the_same_however_many_bands(two_bands: Shop) -> None:
    client, address = signed_in(two_bands.setter), f"/edges/{two_bands.edge.pk}/"
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for hour in range(5):
        two_bands.use_band(2.0 + hour / 10, 3.0)
        two_bands.log_run(hour=9 + hour, parts=1)
    services.refresh_all_due()
    with CaptureQueriesContext(connection) as more:
        page = client.get(address)
    assert len(rows(text(page))) == 7
    assert len(more) == len(few)


# --- the operation ------------------------------------------------------------------------------------------


def filled(page: str) -> dict[str, str]:
    """What a form shows, to be sent back as it stands."""
    values = dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*?value="([^"]*)"', page))
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', page):
        chosen = re.search(r'value="([^"]*)" selected', options)
        values[name] = chosen[1] if chosen else ""
    return values


def test_the_operations_form_takes_the_band_in_any_unit(shop: Shop) -> None:
    client, address = signed_in(shop.engineer), f"/jobs/operations/{shop.operation.pk}/change/"
    page = text(client.get(address))
    assert "Band of the flute that cuts, from" in page
    assert "Band of the flute that cuts, to" in page
    done = client.post(address, filled(page) | {"contact_low": "0.02 in", "contact_high": "1.5"})
    assert done.status_code == 302
    operation = Operation.objects.get(pk=shop.operation.pk)
    assert (operation.contact_low, operation.contact_high) == (0.508, 1.5)
    again = filled(text(client.get(address)))
    assert (again["contact_low"], again["contact_high"]) == ("0.508", "1.5")
    client.post(address, again | {"contact_low": "", "contact_high": ""})
    assert Operation.objects.get(pk=shop.operation.pk).contact_high is None


def test_a_band_beyond_the_flute_is_refused_beside_its_field(shop: Shop) -> None:
    client, address = signed_in(shop.engineer), f"/jobs/operations/{shop.operation.pk}/change/"
    given = filled(text(client.get(address))) | {"contact_low": "4", "contact_high": "9"}
    refused = client.post(address, given)
    assert refused.status_code == 400
    assert "ends 5 mm above its tip flat, but the band reaches 9 mm" in text(refused)
    assert 'value="9"' in text(refused)


def test_the_operations_page_and_the_setup_sheet_say_the_band(shop: Shop) -> None:
    client, operation = signed_in(shop.setter), shop.operation
    for address in (f"/jobs/operations/{operation.pk}/", f"/jobs/operations/{operation.pk}/setup-sheet/"):
        assert "Band of the flute that cuts" not in text(client.get(address))
    shop.use_band(0.5, 1.25)
    for address in (f"/jobs/operations/{operation.pk}/", f"/jobs/operations/{operation.pk}/setup-sheet/"):
        page = text(client.get(address))
        assert "Band of the flute that cuts</dt><dd>0.5 mm to 1.25 mm above the tip flat" in page


def test_an_operations_edges_stand_once_whatever_their_bands(two_bands: Shop) -> None:
    add_edges(two_bands, [Past(12, "worn")])
    page = text(signed_in(two_bands.setter).get(f"/jobs/operations/{two_bands.operation.pk}/"))
    table = page.split('aria-label="Edges that have worked here"')[1].split("</table>")[0]
    assert table.count("<tr>") - 1 == 2
    assert '<td class="num">26</td>' in table
