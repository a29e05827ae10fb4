"""Life models, forecasts and scores over REST."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crib.floor import services as floor
from crib.life import services
from crib.life.models import RefitMark
from tests.api.calls import BASE, api
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, [*WORN, Past(12), Past(4, "broken")])
    services.refit_all()
    services.refresh_all_due()
    return shop


def test_life_models_say_what_was_learnt_and_from_what(learnt: Shop) -> None:
    answer = api(learnt.planner).get(f"{BASE}/life-models/", {"design": "CT-45-12"})
    (model,) = answer.data["results"]
    assert (model["standing"], model["ended"], model["broken"], model["censored"]) == ("fitted", 10, 1, 1)
    assert model["reference"] == {"surface_speed": 60.0, "feed": 0.05, "depth": 1.0, "width": 1.0}
    assert {"ln_scale", "speed", "ln_shape", "breaks_per_minute"} <= set(model["parameters"])
    assert "seen" not in model["parameters"]
    detail = api(learnt.planner).get(f"{BASE}/life-models/{model['id']}/")
    assert len(detail.data["covariance"]) == 6
    pooled = detail.data["pooled"]
    assert pooled["own"] + pooled["relatives"] + pooled["start"] == pytest.approx(1.0, abs=1e-3)
    assert pooled["own"] > 0.9
    assert pooled["family"] == {"groups": 0, "worn": 0}
    assert "before" not in pooled


def test_forecasts_give_minutes_and_parts_at_10_50_90(learnt: Shop) -> None:
    (forecast,) = api(learnt.setter).get(f"{BASE}/forecasts/").data["results"]
    assert forecast["minutes_left"]["10"] < forecast["minutes_left"]["50"] < forecast["minutes_left"]["90"]
    assert forecast["parts_left"]["50"] == forecast["minutes_left"]["50"] // 2
    assert forecast["behind"] is False
    learnt.log_run(parts=1)
    assert (
        api(learnt.setter).get(f"{BASE}/forecasts/", {"edge": forecast["edge"]}).data["results"][0]["behind"] is False
    )
    assert api(learnt.setter).get(f"{BASE}/forecasts/", {"machine": "VM-1"}).data["count"] == 1
    assert api(learnt.setter).get(f"{BASE}/forecasts/", {"machine": "NOPE"}).data["count"] == 0


def test_an_edge_without_an_operation_has_trouble_and_no_numbers(shop: Shop) -> None:
    add_edges(shop, [Past(0)], operation=None)
    from crib.floor.models import Edge

    Edge.objects.update(operation=None)
    services.refresh_all_due()
    (forecast,) = api(shop.setter).get(f"{BASE}/forecasts/").data["results"]
    assert forecast["minutes_left"] is forecast["parts_left"] is None
    assert "Load its tool" in forecast["trouble"]


def test_scores_tell_how_kept_forecasts_held(shop: Shop) -> None:
    shop.log_run(parts=1)
    services.refresh_all_due()
    assert api(shop.setter).get(f"{BASE}/scores/", {"waiting": "true"}).data["count"] == 1
    floor.end_edge(edge=shop.edge, outcome="worn", who=shop.setter)
    services.score_ended()
    (score,) = api(shop.setter).get(f"{BASE}/scores/").data["results"]
    assert (score["minutes_really_left"], score["censored"]) == (0, False)


def test_scores_keep_the_whole_forecast_and_what_rivals_said(learnt: Shop) -> None:
    learnt.log_run(parts=1)
    services.refresh_all_due()
    edge = learnt.edge
    floor.end_edge(edge=edge, outcome="worn", who=learnt.setter)
    services.score_ended()
    (score,) = api(learnt.setter).get(f"{BASE}/scores/", {"edge": edge.pk}).data["results"]
    assert len(score["quantiles"]) == 19
    assert score["quantiles"] == sorted(score["quantiles"])
    # Nothing was left: the rival was off by all that it had said.
    assert score["mean_life_crps"] == pytest.approx(score["mean_life_left"])
    assert 0 < score["crps"] < score["mean_life_crps"]
    assert score["fixed_count_left"] is score["fixed_count_crps"] is None


def test_the_record_of_the_forecasts_is_told_to_programs(learnt: Shop) -> None:
    empty = api(learnt.planner).get(f"{BASE}/scores/summary/").data
    assert (empty["overall"]["forecasts"], empty["overall"]["verdict"], empty["groups"]) == (0, "none", [])
    learnt.log_run(parts=1)
    services.refresh_all_due()
    edge = learnt.edge
    floor.end_edge(edge=edge, outcome="worn", who=learnt.setter)
    services.score_ended()
    told = api(learnt.planner).get(f"{BASE}/scores/summary/").data
    assert told["overall"]["forecasts"] == told["groups"][0]["forecasts"] == told["months"][0]["forecasts"] == 1
    assert told["groups"][0]["of"] == str(edge.forecast.model_id)
    assert [one["rival"] for one in told["overall"]["against"]] == ["fixed_count", "mean_life", "last_life"]
    assert told["points"][0]["of"] == "0"
    assert APIClient().get(f"{BASE}/scores/summary/").status_code == 401


def test_a_refit_is_asked_for_with_the_right_and_refused_without(learnt: Shop) -> None:
    assert api(learnt.setter).post(f"{BASE}/life-models/refit/").status_code == 403
    assert not services.refit_is_due()
    assert api(learnt.engineer).post(f"{BASE}/life-models/refit/").status_code == 202
    assert services.refit_is_due()
    assert RefitMark.objects.get().refit_asked_by == learnt.engineer


@pytest.mark.parametrize("path", ["life-models", "forecasts", "scores"])
def test_lists_refuse_what_they_cannot_filter_by_and_nobody_unknown(shop: Shop, path: str) -> None:
    assert api(shop.setter).get(f"{BASE}/{path}/", {"colour": "red"}).status_code == 400
    assert APIClient().get(f"{BASE}/{path}/").status_code == 401
    assert api(shop.setter).post(f"{BASE}/{path}/", {}).status_code in (403, 405)
    assert api(shop.setter).get(f"{BASE}/{path}/999999/").status_code == 404


def test_a_longer_list_of_forecasts_costs_no_more_queries(learnt: Shop) -> None:
    client = api(learnt.setter)
    with CaptureQueriesContext(connection) as few:
        client.get(f"{BASE}/forecasts/")
    add_edges(learnt, [Past(3 + number) for number in range(30)])
    services.refresh_all_due()
    with CaptureQueriesContext(connection) as many:
        assert client.get(f"{BASE}/forecasts/").data["count"] == 31
    assert len(many) == len(few)
