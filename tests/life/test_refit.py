"""Refits: what is learnt, what is not, and that nothing is learnt twice."""

from __future__ import annotations

import json
import math
from io import StringIO
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command

from calc.life.centring import centred
from calc.life.fitting import fit, lives
from calc.life.likelihood import Prior
from crib.life import services
from crib.life.laws import GENERAL_SOURCE, law_of
from crib.life.models import Forecast, LifeModel, LifePrior, RefitMark
from crib.life.services import refitting
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def the_model() -> LifeModel:
    return LifeModel.objects.get()


def test_an_empty_shop_has_nothing_to_learn(shop: Shop) -> None:
    report = services.refit_all()
    assert (report.groups, report.refitted, report.troubles) == (0, 0, [])
    assert not LifeModel.objects.exists()


def test_a_group_learns_what_a_fit_of_its_own_edges_says(shop: Shop) -> None:
    prior = LifePrior.objects.create(
        design=shop.chamfer_tip, kind_of_cut="chamfering", life_minutes=40, surface_speed=60, feed=0.05, depth=1.0,
        source="the shop's own trials",
    )  # fmt: skip
    add_edges(shop, [*WORN, Past(30, "taken_off_early"), Past(20, "broken"), Past(12)])
    report = services.refit_all()
    assert (report.groups, report.refitted, report.edges) == (1, 1, 13)
    model = the_model()
    assert (model.standing, model.ended, model.broken, model.censored) == ("fitted", 10, 1, 2)
    assert (model.prior, model.prior_source, model.version) == (prior, "the shop's own trials", 1)
    law = law_of(model)
    minutes = [past.minutes for past in WORN] + [30, 20, 12]
    duty = np.column_stack([np.ones(13), np.zeros((13, 4))])
    start = np.array([[math.log(40), -4.0, -1.0, -0.3, -0.3, math.log(2.5)]])
    spread = np.array([0.5, 0.4, 0.4, 0.4, 0.4, 0.3])
    data, about = lives([0] * 13, [True] * 10 + [False] * 3, minutes, duty), Prior(start, np.diag(1 / spread**2)[None])
    alone = centred(data, about, fit(data, about))
    assert law.mean == pytest.approx([*alone.coefficients[0], alone.log_shape[0]], abs=1e-6)
    assert law.covariance == pytest.approx(alone.covariance[0], rel=1e-6, abs=1e-9)
    assert law.breaks / law.break_minutes == pytest.approx(1 / (sum(minutes) + 1), rel=1e-6)


def test_the_same_refit_again_changes_nothing(shop: Shop) -> None:
    add_edges(shop, WORN)
    services.refit_all()
    before = the_model()
    report = services.refit_all()
    assert (report.refitted, report.unchanged) == (0, 1)
    after = the_model()
    assert (after.version, after.fitted_at) == (before.version, before.fitted_at)


def test_one_more_end_makes_a_new_version_and_its_forecasts_due(shop: Shop) -> None:
    in_use = add_edges(shop, [*WORN, Past(12)])[-1]
    services.refit_all()
    assert services.refresh_all_due() == 1
    assert services.claim_due() == []
    add_edges(shop, [Past(90, "worn")])
    services.refit_all()
    assert the_model().version == 2
    assert services.claim_due() == [in_use.pk]


def test_a_refit_killed_between_groups_goes_on_where_it_stopped(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    other = shop.design("CT-60-12", family="chamfer tips", teeth=4, diameter_mm=12.0)
    from crib.floor.services import create_operation

    second = create_operation(
        job=shop.job, number=30, name="Chamfer the bore", machine=shop.machine, tip=other, material=shop.material,
        kind_of_cut="chamfering", surface_speed=70.0, feed=0.05, depth=1.0, minutes_per_part=1.0, who=shop.engineer,
    )  # fmt: skip
    add_edges(shop, WORN)
    add_edges(shop, WORN, operation=second)
    monkeypatch.setattr(refitting, "SAVED_AT_ONCE", 1)
    save, calls = refitting._save_one, []

    def killed_at_the_second(*arguments: Any) -> None:
        calls.append(arguments)
        if len(calls) == 2:
            raise KeyboardInterrupt
        save(*arguments)

    monkeypatch.setattr(refitting, "_save_one", killed_at_the_second)
    with pytest.raises(KeyboardInterrupt):
        services.refit_all()
    assert LifeModel.objects.count() == 1
    assert services.refit_is_due()
    monkeypatch.setattr(refitting, "_save_one", save)
    report = services.refit_all()
    assert (report.refitted, report.unchanged) == (1, 1)
    assert LifeModel.objects.count() == 2
    assert not services.refit_is_due()


def test_all_censored_stays_a_starting_value_and_moves_it_up(shop: Shop) -> None:
    add_edges(shop, [Past(80, "taken_off_early"), Past(75, "end_of_job"), Past(90)])
    services.refit_all()
    model = the_model()
    assert (model.standing, model.ended, model.censored) == ("prior", 0, 3)
    assert model.prior_source == GENERAL_SOURCE
    assert math.exp(law_of(model).mean[0]) > 30


@pytest.mark.parametrize("minutes", [[1e-6, 1e6, 3.0], [40.0, 40.0, 40.0], [5e5]])
def test_absurd_lives_leave_numbers_that_can_be_used(shop: Shop, minutes: list[float]) -> None:
    add_edges(shop, [*(Past(each, "worn") for each in minutes), Past(3)])
    services.refit_all()
    law = law_of(the_model())
    assert np.isfinite(law.mean).all()
    assert np.isfinite(law.covariance).all()
    assert services.refresh_all_due() == 1
    assert (Forecast.objects.get().minutes_left_50 or 0) > 0


def test_a_group_that_cannot_be_fitted_keeps_its_starting_value_and_says_why(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("calc.life.likelihood.MOST_STEPS", 1)
    in_use = add_edges(shop, [*(Past(minutes, "worn") for minutes in (2, 3, 2.5)), Past(1)])[-1]
    report = services.refit_all()
    model = the_model()
    services.refresh_all_due()
    assert Forecast.objects.get(edge=in_use).evidence.endswith("did not settle")
    assert model.standing == "fallback"
    assert "settle" in model.reason
    assert report.troubles
    assert law_of(model).mean[0] == pytest.approx(math.log(30))


@pytest.mark.parametrize(
    ("fields", "wins"),
    [
        ([{"design": True}, {"family": "chamfer tips"}, {"iso_group": "M"}], 0),
        ([{"iso_group": "M"}, {"family": "chamfer tips"}], 1),
        ([{"iso_group": "S"}, {"iso_group": "M"}], 1),
        ([{"design": True}, {"design": True, "material": True}], 1),
        ([{"design": True, "kind_of_cut": "drilling"}, {}], 1),
    ],
)
def test_the_narrowest_starting_value_is_taken(shop: Shop, fields: list[dict[str, Any]], wins: int) -> None:
    for number, given in enumerate(fields):
        given = dict(given)
        if given.pop("design", False):
            given["design"] = shop.chamfer_tip
        if given.pop("material", False):
            given["material"] = shop.material
        LifePrior.objects.create(
            **(
                {"kind_of_cut": "chamfering", "life_minutes": 40, "surface_speed": 60, "feed": 0.05, "depth": 1.0}
                | given
            ),
            source=f"source {number}",
        )
    add_edges(shop, WORN)
    services.refit_all()
    assert the_model().prior_source == f"source {wins}"


def test_without_any_prior_the_speed_exponent_is_the_materials(shop: Shop) -> None:
    add_edges(shop, [Past(10)])
    services.refit_all()
    # The cast's material has Taylor's n = 0.25.
    assert law_of(the_model()).mean[1] == pytest.approx(-4.0)


def test_the_command_reports_as_json_and_in_words(shop: Shop) -> None:
    out = StringIO()
    call_command("refit", stdout=out)
    assert "nothing to learn" in out.getvalue()
    out = StringIO()
    add_edges(shop, WORN)
    call_command("refit", "--json", stdout=out)
    assert json.loads(out.getvalue())["refitted"] == 1
    out = StringIO()
    call_command("refit", stdout=out)
    assert "Nothing has changed" in out.getvalue()


def test_a_refit_asked_for_is_done_by_the_next_sweep(shop: Shop) -> None:
    from crib.life.tasks import refresh_stale_forecasts

    add_edges(shop, WORN)
    services.ask_for_refit(who=shop.engineer)
    assert services.refit_is_due()
    refresh_stale_forecasts()
    assert not services.refit_is_due()
    assert LifeModel.objects.count() == 1
    assert RefitMark.objects.get().refit_asked_by == shop.engineer


def test_a_thread_that_finds_a_refit_under_way_begins_no_second(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from crib.life.tasks import refresh_stale_forecasts

    add_edges(shop, WORN)
    begun = []
    refit = services.refit_all

    def woken_meanwhile() -> Any:
        begun.append("refit")
        refresh_stale_forecasts()
        return refit()

    monkeypatch.setattr(services, "refit_all", woken_meanwhile)
    refresh_stale_forecasts()
    assert begun == ["refit"]
    assert LifeModel.objects.count() == 1
    assert not services.refit_is_due()
