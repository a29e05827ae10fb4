"""Designs that lean on their relatives, and refits that change no more than they must."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.utils import timezone

from crib.core import clock
from crib.floor.models import Edge, EdgeMinutes, Operation, Run
from crib.floor.services import change_operation, count_again, create_operation, end_edge, excuse_end, log_run
from crib.life import learning, services
from crib.life.laws import law_of
from crib.life.learning import fit_groups
from crib.life.models import Forecast, LifeModel, RefitMark
from crib.life.services import refitting
from crib.life.tasks import refresh_stale_forecasts
from crib.life.words import evidence
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop, at_once

LONG = [Past(minutes, "worn") for minutes in (92, 118, 104, 131, 99, 87, 125, 110, 96, 121, 108, 115)]


def operation_for(shop: Shop, tip: Any, number: int, **figures: Any) -> Operation:
    given = {"surface_speed": 60.0, "feed": 0.05, "depth": 1.0, "width": 1.0, "minutes_per_part": 2.0} | figures
    return create_operation(
        job=shop.job, number=number, name="Chamfer the rim", machine=shop.machine, tip=tip, material=shop.material,
        kind_of_cut="chamfering", who=shop.engineer, **given,
    )  # fmt: skip


@pytest.fixture
def sister(shop: Shop) -> Operation:
    """The same work by another design of the same family."""
    return operation_for(
        shop, shop.design("CT-45-16", family=shop.chamfer_tip.family, teeth=4, diameter_mm=16.0, edges=1), 40
    )


@pytest.fixture
def stranger(shop: Shop) -> Operation:
    """The same work by a design without a family."""
    return operation_for(shop, shop.design("CT-60-20", family="", teeth=4, diameter_mm=20.0, edges=1), 50)


def model_of(operation: Operation) -> LifeModel:
    return LifeModel.objects.get(design=operation.tip)


def typical(operation: Operation) -> float:
    return math.exp(law_of(model_of(operation)).mean[0])


def test_a_design_that_was_never_worn_leans_on_its_family_and_less_on_strangers(
    shop: Shop, sister: Operation, stranger: Operation
) -> None:
    add_edges(shop, LONG)
    add_edges(shop, [Past(3)], operation=sister)
    add_edges(shop, [Past(3)], operation=stranger)
    services.refit_all()
    # The general starting value is 30 minutes; the family lasts about 110.
    assert typical(shop.operation) > typical(sister) > typical(stranger) > 33
    model = model_of(sister)
    assert model.standing == "prior"
    assert model.parameters["pooled"]["family"] == {"groups": 1, "worn": 12}
    assert model.parameters["pooled"]["material_group"] == {"groups": 1, "worn": 0}
    assert evidence(model).endswith("leans on 12 ended edges of its family")
    assert evidence(model_of(stranger)).endswith("leans on 12 ended edges in like materials")
    assert "leans" not in evidence(model_of(shop.operation))
    assert model_of(stranger).covariance[0][0] > model.covariance[0][0]


def test_a_model_that_was_only_forecast_leans_too_once_the_refit_came(shop: Shop, sister: Operation) -> None:
    add_edges(shop, LONG)
    services.refit_all()
    add_edges(shop, [Past(0)], operation=sister)
    services.refresh_all_due()
    assert typical(sister) == pytest.approx(30)
    RefitMark.objects.update(refit_started_at=clock.now() - timedelta(minutes=11))
    assert services.refit_is_due()
    services.refit_all()
    assert typical(sister) > 40


def test_a_relatives_hair_writes_the_mark_alone_and_makes_no_forecast_due(shop: Shop, sister: Operation) -> None:
    add_edges(shop, [*WORN, *LONG, Past(12)])
    first = add_edges(shop, [*WORN, Past(10)], operation=sister)[-1]
    services.refit_all()
    services.refresh_all_due()
    before = model_of(shop.operation)
    first.totals.update(minutes=10.5)
    report = services.refit_all()
    assert (report.refitted, report.held, report.unchanged, report.trees) == (0, 2, 0, 1)
    after = model_of(shop.operation)
    assert (after.version, after.fitted_at) == (before.version, before.fitted_at)
    assert after.data_mark != before.data_mark
    assert services.claim_due() == []
    assert services.refit_all().unchanged == 2


def test_a_relatives_lives_that_move_the_law_raise_its_version(shop: Shop, sister: Operation) -> None:
    add_edges(shop, [Past(12)])
    services.refit_all()
    add_edges(shop, LONG, operation=sister)
    report = services.refit_all()
    assert (report.refitted, report.trees) == (2, 1)
    assert model_of(shop.operation).version == 2


def test_groups_of_another_tree_are_left_alone(shop: Shop, sister: Operation) -> None:
    other = operation_for(shop, shop.design("DR-8", kind="drill", diameter_mm=8.0, edges=1), 60)
    Operation.objects.filter(pk=other.pk).update(kind_of_cut="drilling")
    other.refresh_from_db()
    add_edges(shop, WORN)
    add_edges(shop, WORN, operation=other)
    services.refit_all()
    add_edges(shop, LONG, operation=sister)
    report = services.refit_all()
    assert (report.groups, report.unchanged, report.trees) == (3, 1, 1)
    by_key = services.refit_all(keys=[])
    assert by_key.groups == 0


def test_a_refit_comes_due_by_itself_ten_minutes_after_the_last(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not services.refit_is_due()
    (edge,) = add_edges(shop, [Past(40, "worn")])
    assert services.refit_is_due()
    services.refit_all()
    now = timezone.now()
    Edge.objects.filter(pk=edge.pk).update(ended_at=now - timedelta(minutes=2))
    monkeypatch.setattr(clock, "now", lambda: now + timedelta(minutes=11))
    assert not services.refit_is_due()
    Edge.objects.filter(pk=edge.pk).update(ended_at=now + timedelta(minutes=4))
    assert services.refit_is_due()
    monkeypatch.setattr(clock, "now", lambda: now + timedelta(minutes=5))
    assert not services.refit_is_due()
    Edge.objects.filter(pk=edge.pk).update(ended_at=now - timedelta(days=1), excused_at=now + timedelta(minutes=4))
    monkeypatch.setattr(clock, "now", lambda: now + timedelta(minutes=11))
    assert services.refit_is_due()


def test_what_counts_again_and_what_is_asked_for_during_a_refit_wait_for_the_next(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    (edge,) = add_edges(shop, [Past(40, "broken")])
    excuse_end(edge=edge, excuse="crash", note="Drove into the vice", who=shop.lead)
    services.refit_all()
    now = timezone.now()
    long_since = {"ended_at": now - timedelta(days=2), "excused_at": now - timedelta(days=1)}
    Edge.objects.filter(pk=edge.pk).update(**long_since)
    monkeypatch.setattr(clock, "now", lambda: now + timedelta(minutes=11))
    assert not services.refit_is_due()
    count_again(edge=edge, who=shop.lead)
    assert services.refit_is_due(), "the edge keeps no trace of it"
    monkeypatch.undo()
    services.refit_all()
    assert model_of(shop.operation).broken == 1
    assert not services.refit_is_due()
    began = timezone.now()
    RefitMark.objects.update(
        refit_started_at=began, refit_asked_at=began + timedelta(seconds=5), refit_ended_at=began + timedelta(seconds=9)
    )
    assert services.refit_is_due(), "it was asked for when the edges had been read already"


def test_a_refit_comes_due_by_an_end_that_was_written_down_late(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.log_run(parts=5)
    services.refresh_all_due()
    add_edges(shop, WORN)
    services.refit_all()
    hour = timezone.now() + timedelta(hours=1)
    RefitMark.objects.update(refit_started_at=hour, refit_ended_at=hour)
    monkeypatch.setattr(clock, "now", lambda: hour + timedelta(minutes=11))
    assert not services.refit_is_due()
    end_edge(edge=shop.edge, outcome="worn", who=shop.setter, at=timezone.now())
    refresh_stale_forecasts()
    assert model_of(shop.operation).ended == len(WORN) + 1
    assert not services.refit_is_due()
    monkeypatch.setattr(clock, "now", lambda: hour + timedelta(minutes=23))
    assert not services.refit_is_due(), "what was scored before a refit began is no news to it"


def test_an_excused_end_counts_as_an_edge_taken_off(shop: Shop) -> None:
    edges = add_edges(shop, [*WORN, Past(2, "worn"), Past(3, "broken")])
    services.refit_all()
    early = model_of(shop.operation)
    Edge.objects.filter(pk__in=[edge.pk for edge in edges[-2:]]).update(excuse="crash")
    services.refit_all()
    model = model_of(shop.operation)
    assert (early.ended, early.broken, early.censored) == (11, 1, 0)
    assert (model.ended, model.broken, model.censored) == (10, 0, 2)
    assert model.version == 2
    assert law_of(model).mean[-1] > law_of(early).mean[-1]
    assert law_of(model).breaks < law_of(early).breaks


def test_breakage_goes_by_entries_where_every_work_says_them(shop: Shop) -> None:
    change_operation(operation=shop.operation, who=shop.engineer, entries_per_part=8)
    in_use = add_edges(shop, [*WORN, Past(30, "broken"), Past(10, "chipped"), Past(4)])[-1]
    services.refit_all()
    law = law_of(model_of(shop.operation))
    minutes = sum(past.minutes for past in WORN) + 44
    # 2 minutes per part and 8 entries: the parts that were counted, times 8, and the starting value's 1,000 min so.
    parts = sum(past.minutes // 2 for past in WORN) + 15 + 5 + 2
    assert law.break_entries == pytest.approx(8 * parts * (1 + 1000 / minutes))
    assert law.breaks == pytest.approx(2.5)
    services.refresh_all_due()
    slow = Forecast.objects.get(edge=in_use).minutes_left_50 or 0.0
    change_operation(operation=shop.operation, who=shop.engineer, entries_per_part=800)
    services.refresh_all_due()
    # A hundred times the entries in each minute: breakage ends the edge long before wear.
    assert 0 < (Forecast.objects.get(edge=in_use).minutes_left_50 or 0.0) < 0.3 * slow


def test_breakage_goes_by_minutes_where_one_work_says_no_entries(shop: Shop, sister: Operation) -> None:
    change_operation(operation=shop.operation, who=shop.engineer, entries_per_part=8)
    plain = operation_for(shop, shop.chamfer_tip, 70)
    add_edges(shop, [*WORN, Past(30, "broken")])
    add_edges(shop, [Past(20)], operation=plain)
    services.refit_all()
    assert not law_of(model_of(shop.operation)).breaks_by_entry


def test_entries_told_later_are_learnt_also_where_no_minutes_per_part_are_known(shop: Shop) -> None:
    add_edges(shop, [*WORN, Past(30, "broken")])
    Operation.objects.filter(pk=shop.operation.pk).update(minutes_per_part=None)
    services.refit_all()
    assert not law_of(model_of(shop.operation)).breaks_by_entry
    Operation.objects.filter(pk=shop.operation.pk).update(entries_per_part=8)
    services.refit_all()
    assert law_of(model_of(shop.operation)).breaks_by_entry


def test_entries_told_later_turn_minutes_into_entries_and_raise_the_version(shop: Shop) -> None:
    add_edges(shop, [*WORN, Past(30, "broken")])
    services.refit_all()
    change_operation(operation=shop.operation, who=shop.engineer, entries_per_part=8)
    assert services.refit_all().refitted == 1
    model = model_of(shop.operation)
    assert (model.version, law_of(model).breaks_by_entry) == (2, True)


def test_a_fit_that_is_no_law_of_an_edge_leaves_the_starting_value(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    # Nothing is a law: neither the fit nor what relatives say.
    monkeypatch.setattr(learning, "SHAPES", (50.0, 51.0))
    add_edges(shop, WORN)
    services.refit_all()
    model = model_of(shop.operation)
    assert model.standing == "fallback"
    assert law_of(model).mean[0] == pytest.approx(math.log(30))
    assert law_of(model).covariance[0][0] == pytest.approx(0.64)


def test_minutes_in_another_kind_of_cut_count_as_at_the_reference(shop: Shop) -> None:
    milled = operation_for(shop, shop.chamfer_tip, 70, surface_speed=240.0)
    Operation.objects.filter(pk=milled.pk).update(kind_of_cut="milling")
    edge = add_edges(shop, [*WORN, Past(20)])[-1]
    long_ago = clock.now() - timedelta(days=9)
    EdgeMinutes.objects.create(
        edge=edge, operation=milled, minutes=15, parts=7, first_started_at=long_ago, last_ended_at=long_ago
    )
    services.refit_all()
    model = model_of(shop.operation)
    # 35 minutes at the reference, although 240 m/min of the same work would have counted 256 times as much.
    seen = model.parameters["seen"][str(edge.pk)]
    assert seen == pytest.approx(35 * math.exp(-law_of(model).mean[0]))


def test_no_edge_had_ended_by_then(shop: Shop) -> None:
    add_edges(shop, WORN)
    assert refitting.laws_by(until=clock.now() - timedelta(days=30)) == {}


def test_numbers_that_are_none_are_no_law() -> None:
    sound = np.array([4.0, -4.0, -1.0, -0.3, -0.3, 0.9])
    assert learning._is_law(sound, np.eye(6))
    assert not learning._is_law(sound * np.nan, np.eye(6))
    assert not learning._is_law(sound, np.zeros((6, 6)))


def test_a_wider_cut_is_taken_to_shorten_lives_and_lives_can_say_otherwise(shop: Shop) -> None:
    wide = operation_for(shop, shop.chamfer_tip, 70, width=4.0)
    add_edges(shop, WORN)
    services.refit_all()
    assert law_of(model_of(shop.operation)).mean[4] == pytest.approx(-0.3)
    add_edges(shop, LONG, operation=wide)
    services.refit_all()
    assert law_of(model_of(shop.operation)).mean[4] > 0
    assert model_of(shop.operation).parameters["reference"]["width"] == 1.0


def test_a_model_kept_before_widths_counted_is_read_and_fitted_anew(shop: Shop) -> None:
    in_use = add_edges(shop, [*WORN, Past(12)])[-1]
    services.refit_all()
    model = model_of(shop.operation)
    kept = law_of(model)
    del model.parameters["width"], model.parameters["pooled"], model.parameters["reference"]["width"]
    del model.parameters["breakage"]["entries"]
    model.covariance = np.delete(np.delete(np.array(model.covariance), 4, 0), 4, 1).tolist()
    model.data_mark = "as fitted then"
    model.save()
    law = law_of(model)
    assert law.mean == pytest.approx(kept.mean)
    assert law.covariance == pytest.approx(kept.covariance)
    assert services.refresh_all_due() == 1
    assert Forecast.objects.get(edge=in_use).trouble == ""
    RefitMark.objects.update(refit_started_at=clock.now() - timedelta(days=1))
    Edge.objects.update(ended_at=clock.now() - timedelta(days=2))
    assert services.refit_is_due(), "no end tells of it, so the mark must"
    assert services.refit_all().refitted == 1
    assert not services.refit_is_due()
    assert model_of(shop.operation).parameters["reference"]["width"] == 1.0


@pytest.mark.django_db(transaction=True)
def test_runs_are_logged_while_a_refit_learns_and_saves(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    edge, setter = shop.edge, shop.setter
    drafts = [shop.run_draft(hour=hour) for hour in range(4)]
    add_edges(shop, [*WORN, *LONG])
    held = []

    def fit_while_runs_come_in(groups: Any) -> Any:
        held.append(connection.in_atomic_block)
        outcomes = at_once(*[lambda draft=draft: log_run(draft=draft, who=setter) for draft in drafts])
        assert [type(outcome) for outcome in outcomes] == [Run] * 4
        return fit_groups(groups)

    monkeypatch.setattr(refitting, "fit_groups", fit_while_runs_come_in)
    services.refit_all()
    assert held == [False]
    edge.refresh_from_db()
    assert edge.parts == 20
    # What the refit had not read yet is learnt the next time.
    monkeypatch.setattr(refitting, "fit_groups", fit_groups)
    assert services.refit_all().trees == 1
