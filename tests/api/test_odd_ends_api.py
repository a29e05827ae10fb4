"""Excuses, drift and lots over REST."""

from __future__ import annotations

import pytest

from crib.floor.models import Edge
from crib.life import services
from crib.life.models import LifeModel
from crib.stock.models import Item
from tests.api.calls import get, post
from tests.life.lives import Past, add_edges, add_in_order, fallen
from tests.shop import Shop


@pytest.fixture
def broken(shop: Shop) -> Edge:
    return add_edges(shop, [Past(9, "broken")])[0]


def test_an_end_is_left_out_and_counted_again(shop: Shop, broken: Edge) -> None:
    done = post(shop.engineer, f"edges/{broken.pk}/excuse/", {"excuse": "crash", "note": "Drove into the vice"})
    assert done.status_code == 200
    assert (done.data["excuse"], done.data["excuse_note"], done.data["excused_by"]) == (
        "crash", "Drove into the vice", "enno",
    )  # fmt: skip
    assert get(shop.setter, "edges/?excuse=crash").data["count"] == 1
    again = post(shop.engineer, f"edges/{broken.pk}/excuse/", {"excuse": "crash", "note": "Twice"})
    assert (again.status_code, again.data["type"].rpartition(":")[2]) == (409, "edge-excused")
    back = post(shop.lead, f"edges/{broken.pk}/count-again/")
    assert (back.status_code, back.data["excuse"], back.data["excused_by"]) == (200, "", None)
    assert post(shop.lead, f"edges/{broken.pk}/count-again/").status_code == 409


@pytest.mark.parametrize(
    "body", [{}, {"excuse": "crash"}, {"excuse": "weather", "note": "Rain"}, {"excuse": "crash", "note": ""}]
)
def test_an_excuse_without_reason_or_note_is_refused(shop: Shop, broken: Edge, body: dict[str, str]) -> None:
    refused = post(shop.engineer, f"edges/{broken.pk}/excuse/", body)
    assert refused.status_code == 400
    assert set(refused.data["errors"]) <= {"excuse", "note"}


def test_machinists_leave_nothing_out(shop: Shop, broken: Edge) -> None:
    for act in ("excuse", "count-again"):
        assert post(shop.setter, f"edges/{broken.pk}/{act}/", {"excuse": "crash", "note": "x"}).status_code == 403


def test_a_life_model_tells_its_drift_and_its_lots(shop: Shop) -> None:
    for number, edge in enumerate(add_in_order(shop, fallen())):
        Item.objects.filter(pk=edge.item_id).update(lot="L-2" if number >= 16 else "L-1")
    services.refit_all()
    (model,) = get(shop.planner, "life-models/").data["results"]
    assert model["learns_since"] is None
    assert model["drift"]["falling"] is True
    assert model["drift"]["ended_since"] == 10
    lots = get(shop.planner, f"life-models/{model['id']}/lots/").data
    assert [(one["lot"], one["edges"], one["stands_out"]) for one in lots] == [("L-1", 16, False), ("L-2", 10, True)]
    services.learn_anew(model=LifeModel.objects.get(), who=shop.lead)
    (model,) = get(shop.planner, "life-models/").data["results"]
    assert model["learns_since"] is not None
    assert model["drift"] is None


def test_a_lot_is_written_on_a_piece_and_with_a_fitting(shop: Shop) -> None:
    item = shop.item(shop.chamfer_tip)
    done = post(shop.setter, f"items/{item.label}/lot/", {"lot": "L-7"})
    assert (done.status_code, done.data["lot"]) == (200, "L-7")
    assert post(shop.planner, f"items/{item.label}/lot/", {"lot": "L-8"}).status_code == 403
    assert post(shop.setter, f"items/{item.label}/lot/", {"lot": "x" * 41}).status_code == 400
    from crib.floor.services import build_assembly

    built = build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    body = {"assembly": built.pk, "item": item.label, "lot": "L-7"}
    fitted = post(shop.setter, "fittings/", body, key="f")
    assert (fitted.status_code, fitted.data["lot"]) == (201, "L-7")
    assert get(shop.setter, "edges/?lot=L-7").data["count"] == 2
