"""Lives after a regrind: learnt apart from those of new edges, from which they begin."""

from __future__ import annotations

import math

import numpy as np
import pytest
from django.test import Client

from calc.life.predictive import remaining
from crib.floor.models import Edge, EdgeMinutes, Inspection, Operation
from crib.floor.services import create_operation
from crib.life import services
from crib.life.laws import Key, beliefs, duty_of, law_of
from crib.life.models import Forecast, LifeModel
from crib.life.selectors.groups import lives_by_group
from crib.life.selectors.rivals import naive_lives
from crib.life.selectors.wear_seen import lands_seen
from crib.life.words import evidence
from tests.api.calls import get
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop

SHORTER = [Past(0.7 * past.minutes, "worn") for past in WORN]


def model_of(operation: Operation, *, reground: bool = False) -> LifeModel:
    return LifeModel.objects.get(design=operation.tip, reground=reground)


def typical(model: LifeModel) -> float:
    return math.exp(law_of(model).mean[0])


def forecast_of(edge: Edge) -> Forecast:
    services.refresh_all_due()
    return Forecast.objects.get(edge=edge)


def sister_of(shop: Shop, number: int) -> Operation:
    """The same work by another design of the family."""
    return create_operation(
        job=shop.job, number=number, name="Chamfer the rim", machine=shop.machine, material=shop.material,
        tip=shop.design(f"CT-45-{number}", family=shop.chamfer_tip.family, teeth=4, diameter_mm=16.0, edges=1),
        kind_of_cut="chamfering", surface_speed=60.0, feed=0.05, depth=1.0, width=1.0, minutes_per_part=2.0,
        who=shop.engineer,
    )  # fmt: skip


def key_of_work(operation: Operation, *, reground: bool) -> Key:
    return Key(operation.tip_id, operation.material_id, operation.kind_of_cut, reground)


def test_reground_edges_teach_a_law_of_their_own_and_the_new_ones_nothing(shop: Shop) -> None:
    add_edges(shop, WORN)
    services.refit_all()
    before = model_of(shop.operation)
    add_edges(shop, SHORTER, grind=1)
    report = services.refit_all()
    assert (report.groups, report.refitted, report.held) == (2, 1, 1)
    new, ground = model_of(shop.operation), model_of(shop.operation, reground=True)
    assert (new.version, new.parameters) == (before.version, before.parameters)
    assert (new.ended, ground.ended) == (10, 10)
    assert typical(ground) / typical(new) == pytest.approx(0.7, abs=0.06)
    assert str(ground).endswith(", reground")
    assert services.refit_all().unchanged == 2


def test_before_any_of_them_ended_they_are_taken_for_new_ones_and_less_sure(shop: Shop) -> None:
    add_edges(shop, WORN)
    services.refit_all()
    (fresh,), (ground,) = add_edges(shop, [Past(0)]), add_edges(shop, [Past(0)], grind=2)
    new, after = forecast_of(fresh), forecast_of(ground)
    assert after.model == model_of(shop.operation, reground=True)
    assert (after.minutes_left_50 or 0) == pytest.approx(new.minutes_left_50, rel=0.05)
    assert (after.minutes_left_10 or 0) < (new.minutes_left_10 or 0)
    assert (after.minutes_left_90 or 0) > (new.minutes_left_90 or 0)
    # The refit says of them what the forecast said.
    services.refit_all()
    assert (forecast_of(ground).minutes_left_50 or 0) == pytest.approx(after.minutes_left_50, rel=0.02)
    assert "new edges" in evidence(model_of(shop.operation, reground=True))


def test_what_a_regrind_does_to_one_design_is_expected_of_its_family(shop: Shop) -> None:
    sister = sister_of(shop, 40)
    add_edges(shop, WORN)
    add_edges(shop, WORN, operation=sister)
    add_edges(shop, SHORTER, grind=1)
    add_edges(shop, [Past(2)], operation=sister, grind=1)
    services.refit_all()
    share = typical(model_of(sister, reground=True)) / typical(model_of(sister))
    assert 0.7 < share < 0.97
    assert typical(model_of(sister)) == pytest.approx(typical(model_of(shop.operation)), rel=0.1)
    pooled = model_of(sister, reground=True).parameters["pooled"]
    assert pooled["family"] == {"groups": 1, "worn": 10}
    assert pooled["new"] == {"worn": 10}


def test_reground_edges_of_a_design_that_was_never_used_new_are_still_about_their_own_duty(shop: Shop) -> None:
    add_edges(shop, SHORTER, grind=1)
    services.refit_all()
    ground, new = model_of(shop.operation, reground=True), model_of(shop.operation)
    assert ground.parameters["reference"] == new.parameters["reference"]
    assert ground.parameters["reference"]["surface_speed"] == 60.0
    assert (new.standing, new.ended, ground.standing) == ("prior", 0, "fitted")
    assert services.refit_all().unchanged == 2


def test_rivals_wear_lands_and_what_was_cut_in_a_band_are_told_apart_too(shop: Shop) -> None:
    (new,), (ground,) = add_edges(shop, [Past(50, "worn")]), add_edges(shop, [Past(30, "worn")], grind=1)
    for edge, land in ((new, 0.2), (ground, 0.1)):
        Inspection.objects.create(edge=edge, at_minutes=10, wear_land_mm=land, seen_by=shop.setter)
    keys = [key_of_work(shop.operation, reground=one) for one in (False, True)]
    assert [naive_lives(keys=keys)[key].mean for key in keys] == [50, 30]
    assert [[seen.wear_land_mm for seen in lands_seen(keys=keys)[key]] for key in keys] == [[0.2], [0.1]]
    # Ground away is what an edge before the regrind had cut in the band.
    shop.use_band(0.0, 1.0)
    EdgeMinutes.objects.update(contact_low=0.0, contact_high=1.0)
    Edge.objects.filter(pk=ground.pk).update(item=new.item)
    assert [len(lives_by_group(keys=keys)[key]) for key in keys] == [1, 1]
    after = Edge.objects.create(item=new.item, number=1, grind=2, state="in_use", operation=shop.operation)
    assert forecast_of(after).life_used == 0.0


def test_forecasts_of_reground_edges_are_not_biased_where_they_live_seven_tenths(shop: Shop) -> None:
    """Weibull lives of shape 3, of four sister designs; each judged on a hundred lives that nobody learnt from."""
    drawn = np.random.default_rng(7)
    works = [shop.operation, *(sister_of(shop, number) for number in (40, 50, 60))]
    scales = {work.pk: 50.0 * math.exp(0.3 * drawn.standard_normal()) for work in works}

    def lives(work: Operation, share: float, count: int) -> list[float]:
        return [float(life) for life in share * scales[work.pk] * drawn.weibull(3.0, count)]

    for work in works:
        add_edges(shop, [Past(life, "worn") for life in lives(work, 1.0, 10)], operation=work)
        add_edges(shop, [Past(life, "worn") for life in lives(work, 0.7, 6)], operation=work, grind=1)
    services.refit_all()
    for share, reground in ((1.0, False), (0.7, True)):
        laws = [law_of(model_of(work, reground=reground)) for work in works]
        said = remaining(np.zeros(len(works)), beliefs(laws, [duty_of(work) for work in works]))
        came = np.array([lives(work, share, 100) for work in works])
        inside = ((came > said[:, :1]) & (came < said[:, 2:])).mean()
        assert 0.72 < inside < 0.9
        assert 0.4 < (came < said[:, 1:2]).mean() < 0.6


def test_pages_and_the_api_say_which_curve_is_of_reground_edges(shop: Shop, client: Client) -> None:
    add_edges(shop, WORN)
    add_edges(shop, SHORTER, grind=1)
    services.refit_all()
    new, ground = model_of(shop.operation), model_of(shop.operation, reground=True)
    client.force_login(shop.engineer)
    assert "Chamfering, reground" in client.get("/life-curves/").content.decode()
    page = client.get(f"/life-curves/{ground.pk}/").content.decode()
    assert "upon what new edges of the design last" in page
    assert f'<a href="/life-curves/{new.pk}/">The curve of its new edges</a>' in page
    found = get(shop.engineer, "life-models/?reground=True").data["results"]
    assert [(one["id"], one["reground"]) for one in found] == [(ground.pk, True)]
