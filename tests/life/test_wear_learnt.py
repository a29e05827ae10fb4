"""What looks at edges teach of how lands grow, and the gauge by which odd readings are then questioned."""

from __future__ import annotations

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.life.wear_forecast import ASSUMED, GAUGE_SD
from crib.floor.errors import OddReading
from crib.floor.models import Edge, Inspection
from crib.life import services
from crib.life.laws import Key
from crib.life.models import LifeModel
from crib.life.selectors.due import due_edges
from crib.life.selectors.wear_seen import lands_seen
from crib.life.services import refitting
from crib.life.services.wearing import learn_wear
from crib.life.wear import gauge_of, habits_of
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def look(shop: Shop, edges: list[Edge], *, gauge: float, start: float = 0.05) -> None:
    draw = np.random.default_rng(4)
    Inspection.objects.bulk_create(
        Inspection(
            edge=edge,
            at_minutes=share * edge.minutes,
            wear_land_mm=max(start + (0.3 - start) * share + draw.normal(0, gauge), 0.0),
            seen_by=shop.setter,
        )
        for edge in edges
        for share in (0.2, 0.4, 0.6, 0.8, 0.95)
    )


def key_of(shop: Shop) -> Key:
    return Key(shop.chamfer_tip.pk, shop.material.pk, shop.operation.kind_of_cut)


def test_the_refit_learns_how_lands_grow_and_keeps_it_with_the_model(shop: Shop) -> None:
    edges = add_edges(shop, [*WORN, *WORN])
    look(shop, edges, gauge=0.004, start=0.09)
    services.refit_all()
    model = LifeModel.objects.get()
    assert (model.wear["edges"], model.wear["readings"]) == (20, 100)
    habits = habits_of(model.wear)
    assert model.wear["gauge_sd"] == gauge_of(model.wear) < 0.6 * GAUGE_SD
    assert model.wear["start"] == pytest.approx(0.09, abs=0.012)
    assert np.asarray(habits.start_sd) < np.asarray(ASSUMED.start_sd)


def test_what_is_learnt_makes_the_forecasts_due_that_rest_on_readings(shop: Shop) -> None:
    others = add_edges(shop, WORN)
    read, _ = add_edges(shop, [Past(30), Past(30)])
    services.look_at_edge(edge=read, wear_land_mm=0.15, who=shop.setter)
    services.refit_all()
    services.refresh_all_due()
    assert not due_edges().exists()
    look(shop, others, gauge=0.004, start=0.09)
    assert learn_wear(keys=[key_of(shop)]) == 1
    assert list(due_edges()) == [read], "of the other nobody read any wear"
    services.refresh_all_due()
    assert learn_wear(keys=[key_of(shop)]) == 0
    assert not due_edges().exists()


def test_a_refit_cut_short_before_the_wear_was_learnt_is_made_good(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(**_: object) -> int:
        raise KeyboardInterrupt

    look(shop, add_edges(shop, WORN), gauge=0.004)
    with monkeypatch.context() as patch:
        patch.setattr(refitting, "learn_wear", killed)
        with pytest.raises(KeyboardInterrupt):
            services.refit_all()
    assert LifeModel.objects.get().wear == {}
    assert services.refit_is_due()
    assert services.refit_all().unchanged == 1, "the fit itself stands"
    assert LifeModel.objects.get().wear["edges"] == len(WORN)


def test_without_two_readings_of_an_edge_nothing_is_learnt(shop: Shop) -> None:
    edges = add_edges(shop, WORN)
    Inspection.objects.create(edge=edges[0], at_minutes=10, wear_land_mm=0.1, seen_by=shop.setter)
    services.refit_all()
    assert LifeModel.objects.get().wear == {}
    assert learn_wear(keys=[key_of(shop)]) == 0


def test_the_land_of_the_end_is_a_reading_too_and_counts_once(shop: Shop) -> None:
    edge = add_edges(shop, [Past(40, "worn")], wear_land_mm=0.31)[0]
    Inspection.objects.create(edge=edge, at_minutes=20, wear_land_mm=0.16, seen_by=shop.setter)
    Inspection.objects.create(edge=edge, at_minutes=40, wear_land_mm=0.3, seen_by=shop.setter)
    seen = lands_seen(keys=[key_of(shop)])[key_of(shop)]
    assert [(one.minutes, one.wear_land_mm) for one in seen] == [(20.0, 0.16), (40.0, 0.3)]


def test_a_shop_that_reads_well_questions_smaller_falls(shop: Shop) -> None:
    look(shop, add_edges(shop, [*WORN, *WORN]), gauge=0.003)
    services.refit_all()
    edge = add_edges(shop, [Past(30)])[0]
    services.look_at_edge(edge=edge, wear_land_mm=0.15, who=shop.setter, at_minutes=20.0)
    with pytest.raises(OddReading, match="wear never falls"):
        services.look_at_edge(edge=edge, wear_land_mm=0.1, who=shop.setter)
    LifeModel.objects.update(wear={})
    assert not services.look_at_edge(edge=edge, wear_land_mm=0.1, who=shop.setter).looked_twice


def test_learning_costs_the_same_queries_for_many_edges(shop: Shop) -> None:
    look(shop, add_edges(shop, WORN[:2]), gauge=0.01)
    services.refit_all()
    LifeModel.objects.update(wear={})
    with CaptureQueriesContext(connection) as few:
        learn_wear(keys=[key_of(shop)])
    look(shop, add_edges(shop, WORN * 3), gauge=0.01)
    with CaptureQueriesContext(connection) as many:
        assert learn_wear(keys=[key_of(shop)]) == 1
    assert len(many) == len(few)
