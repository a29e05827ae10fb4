"""Lives that cannot tell all that is asked of them: the forecast stays usable, and the reason is said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from crib.floor.models import Operation
from crib.floor.services import create_operation
from crib.life import learning, services
from crib.life.laws import law_of
from crib.life.models import Forecast, LifeModel
from crib.life.remarks import BEYOND_SENSE
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


@pytest.fixture
def faster(shop: Shop) -> Operation:
    return create_operation(
        job=shop.job, number=70, name="Chamfer it fast", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", surface_speed=110.0, feed=0.05, depth=1.0, width=1.0,
        minutes_per_part=1.0, who=shop.engineer,
    )  # fmt: skip


def worn(*minutes: float) -> list[Past]:
    return [Past(each, "worn") for each in minutes]


def off(*minutes: float) -> list[Past]:
    return [Past(each, "taken_off_early") for each in minutes]


@pytest.mark.parametrize(
    ("pasts", "standing", "words"),
    [
        (off(40, 55, 61), "prior", "no edge has worn out yet"),
        (off(35), "prior", "no edge has worn out yet"),
        (worn(35), "fitted", "one worn edge says nothing of how lives spread"),
        (worn(*[40.0] * 3), "fitted", "all worn edges lasted alike"),
        (worn(*[40.0] * 400), "fitted", "all worn edges lasted alike"),
        (worn(1e-9, 38, 44), "fitted", "1 life beyond sense left out"),
        (worn(1e9, 38, 44), "fitted", "1 life beyond sense left out"),
        (
            [*worn(1e-9, 1e9), Past(4e5), *off(38, 44)],
            "prior",
            "3 lives beyond sense left out; no edge has worn out yet",
        ),
        (worn(1e9), "prior", "1 life beyond sense left out"),
        (worn(38, 44, 52), "fitted", "all edges ran at one duty"),
    ],
)
def test_what_lives_cannot_tell_is_said_and_the_forecast_stays_sane(
    shop: Shop, pasts: list[Past], standing: str, words: str
) -> None:
    in_use = add_edges(shop, [*pasts, Past(3)])[-1]
    report = services.refit_all()
    model = LifeModel.objects.get()
    assert (model.standing, report.troubles) == (standing, [])
    assert words in model.reason
    services.refresh_all_due()
    forecast = Forecast.objects.get(edge=in_use)
    assert forecast.trouble == ""
    low, middle, high = forecast.minutes_left_10, forecast.minutes_left_50, forecast.minutes_left_90
    assert low is not None
    assert middle is not None
    assert high is not None
    assert 0.1 < low < middle < high < 2000
    assert high / low > 1.3


def test_lives_all_alike_keep_the_starting_spread_of_lives(shop: Shop) -> None:
    add_edges(shop, worn(*[40.0] * 30))
    services.refit_all()
    law = law_of(LifeModel.objects.get())
    assert law.shape == pytest.approx(2.5, rel=1e-3)
    assert math.sqrt(law.covariance[-1][-1]) == pytest.approx(0.35)
    # With the shape at 2.5 the scale of 30 lives of 40 minutes is 40; the start pulls it a little.
    assert math.exp(law.mean[0]) == pytest.approx(40, rel=0.02)


def test_speeds_that_split_worn_edges_from_others_are_told_and_lean_on_the_start(shop: Shop, faster: Operation) -> None:
    add_edges(shop, worn(20, 24, 31, 28), operation=faster)
    add_edges(shop, off(20, 25, 30))
    services.refit_all()
    model = LifeModel.objects.get()
    assert "no speed saw both worn edges and others" in model.reason
    law = law_of(model)
    assert -8 < law.mean[1] < -1
    assert math.sqrt(law.covariance[1][1]) > 0.4


def test_speeds_that_overlap_are_not_remarked_on(shop: Shop, faster: Operation) -> None:
    add_edges(shop, [*worn(20, 24, 31, 28), *off(12, 15)], operation=faster)
    add_edges(shop, [*off(20, 25, 30), *worn(61, 78)])
    services.refit_all()
    assert LifeModel.objects.get().reason == ""


def test_one_taken_off_says_too_little_of_a_split(shop: Shop, faster: Operation) -> None:
    add_edges(shop, worn(20, 24, 31, 28), operation=faster)
    add_edges(shop, off(20))
    services.refit_all()
    assert LifeModel.objects.get().reason == ""


def test_a_fit_beyond_sense_gives_way_to_what_was_known(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(learning, "TYPICAL", (35.0, 36.0))
    add_edges(shop, WORN)
    report = services.refit_all()
    model = LifeModel.objects.get()
    assert (model.standing, model.reason) == ("fallback", BEYOND_SENSE)
    assert report.troubles
    assert math.exp(law_of(model).mean[0]) == pytest.approx(30)
    assert np.isfinite(law_of(model).covariance).all()
