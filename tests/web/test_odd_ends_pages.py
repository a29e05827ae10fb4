"""Excused ends, falling lives and lots on their pages."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from crib.floor.models import Edge
from crib.life import services as life
from crib.life.models import LifeModel
from crib.people.models import Person
from crib.planning import services as planning
from crib.stock import services as stock
from crib.stock.models import Item
from tests.life.lives import WORN, Past, add_edges, add_in_order, fallen
from tests.shop import Shop
from tests.web.pages import signed_in, text


def see(person: Person, name: str, *args: object) -> str:
    return text(signed_in(person).get(reverse(f"crib:{name}", args=args)))


def send(person: Person, name: str, *args: object, **fields: object) -> Any:
    return signed_in(person).post(reverse(f"crib:{name}", args=args), fields, follow=True)


@pytest.fixture
def broken(shop: Shop) -> Edge:
    return add_edges(shop, [*WORN, Past(9, "broken")])[-1]


def test_an_end_is_left_out_visibly_and_counted_again(shop: Shop, broken: Edge) -> None:
    assert "Not the tip" in see(shop.engineer, "edge", broken.pk)
    answer = text(send(shop.engineer, "edge_excuse", broken.pk, excuse="crash", note="Drove into the vice"))
    assert "Left out of what lives learn: crash." in answer
    assert "Drove into the vice (Enno Vale," in answer
    life.refit_all()
    model = LifeModel.objects.get()
    page = see(shop.setter, "curve", model.pk)
    assert "Ends left out" in page
    assert "Drove into the vice" in page
    assert "Broken, left out: crash" in page
    assert "Count it again" not in see(shop.setter, "edge", broken.pk)
    assert "counts again" in text(send(shop.lead, "edge_count_again", broken.pk))
    assert "Ends left out" not in see(shop.setter, "curve", model.pk)


def test_what_was_typed_stays_when_an_excuse_is_refused(shop: Shop, broken: Edge) -> None:
    answer = send(shop.engineer, "edge_excuse", broken.pk, excuse="crash", note="")
    assert answer.status_code == 400
    assert answer.context["excuse_form"].errors["note"]
    worn_off = add_edges(shop, [Past(20, "taken_off_early")])[0]
    answer = send(shop.engineer, "edge_excuse", worn_off.pk, excuse="crash", note="Nothing")
    assert answer.status_code == 409
    assert "came off before its end" in text(answer)


def test_only_ends_can_be_left_out_and_only_by_those_who_keep_lives(shop: Shop, broken: Edge) -> None:
    in_use = add_edges(shop, [Past(5)])[0]
    assert "Not the tip" not in see(shop.engineer, "edge", in_use.pk)
    assert "Not the tip" not in see(shop.setter, "edge", broken.pk)
    assert send(shop.setter, "edge_excuse", broken.pk, excuse="crash", note="x").status_code == 403


def test_falling_lives_stand_on_today_and_on_their_curve(shop: Shop) -> None:
    add_in_order(shop, fallen())
    life.refit_all()
    planning.refresh_due_flags()
    model = LifeModel.objects.get()
    today = see(shop.setter, "today")
    assert "Lives are falling" in today
    assert "See the evidence" in today
    assert f'href="{reverse("crib:curve", args=[model.pk])}"' in today
    assert "Lives are falling" in see(shop.setter, "curves")
    page = see(shop.setter, "curve", model.pk)
    assert "Lives are falling since" in page
    assert "What to look at" in page
    assert "Ends beyond, summed" in page
    assert "Start anew from here" not in page
    assert "learns anew" in text(send(shop.lead, "curve_learn_anew", model.pk))
    life.refit_all()
    page = see(shop.lead, "curve", model.pk)
    assert "Learns only from edges put in since" in page
    assert "Lives are falling since" not in page
    assert "all its edges again" in text(send(shop.lead, "curve_learn_from_all", model.pk))


def test_risen_lives_are_no_alarm(shop: Shop) -> None:
    add_in_order(shop, [*fallen()[16:], *fallen()[:16]])
    life.refit_all()
    planning.refresh_due_flags()
    assert "Lives have risen since" in see(shop.setter, "curve", LifeModel.objects.get().pk)
    assert "Lives are falling" not in see(shop.setter, "today")


def test_lots_stand_beside_each_other_on_the_curve(shop: Shop) -> None:
    for number, edge in enumerate(add_in_order(shop, fallen())):
        Item.objects.filter(pk=edge.item_id).update(lot="L-2" if number >= 16 else "L-1")
    life.refit_all()
    page = see(shop.setter, "curve", LifeModel.objects.get().pk)
    assert "Lots beside each other" in page
    assert "Lasts less" in page


def test_the_item_s_lot_is_put_right_on_its_page(shop: Shop) -> None:
    item = shop.item(shop.chamfer_tip)
    stock.receive(
        design=shop.chamfer_tip, quantity=5, to_place=shop.bin, supplier=shop.supplier, who=shop.attendant,
        key=shop.key(), lot="L-9",
    )  # fmt: skip
    assert "Received last: L-9" in see(shop.setter, "item", item.pk)
    assert "is of lot L-9" in text(send(shop.setter, "item_lot", item.pk, lot="L-9"))
    assert "Received last" not in see(shop.setter, "item", item.pk)
    assert "Put its lot right" not in see(shop.planner, "item", item.pk)
    assert "no lot written down" in text(send(shop.setter, "item_lot", item.pk, lot=""))
    assert "lot L-9" in see(shop.setter, "ledger")


def test_the_lot_received_last_is_suggested_where_a_tip_is_fitted(shop: Shop) -> None:
    stock.receive(
        design=shop.chamfer_tip, quantity=5, to_place=shop.bin, supplier=shop.supplier, who=shop.attendant,
        key=shop.key(), lot="L-9",
    )  # fmt: skip
    from crib.floor.services import build_assembly

    built = build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    answer = signed_in(shop.setter).get(reverse("crib:assembly", args=[built.pk]))
    assert "Suggested, as received last: CT-45-12 lot L-9." in text(answer)
    [tip] = answer.context["fit_form"].found
    send(shop.setter, "fit_tip", built.pk, key="f", tip=tip, lot="L-9")
    assert Item.objects.filter(design=shop.chamfer_tip, lot="L-9").count() == 1
