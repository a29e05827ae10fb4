"""Taylor's n and C from the shop's own edges: only once they have shown enough, and what they have shown."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from crib.floor.models import Operation
from crib.floor.services import create_operation
from crib.life import services
from crib.life.laws import Floats, starting_covariance
from crib.life.models import LifeModel, LifePrior
from crib.life.selectors import FittedTaylor, fitted_taylor, law_facts
from crib.life.selectors.taylor import taylor_of, told_of_speed
from tests.life.lives import Past, add_edges
from tests.shop import Shop

# The law the edges below are drawn from: 60 min at 60 m/min, exponent 3, so n = 1/3 and C = 60 · 60^(1/3).
EXPONENT, LIFE, SPEED, SHAPE = 3.0, 60.0, 60.0, 4.0


def at_speed(shop: Shop, speed: float, number: int, **changes: Any) -> Operation:
    given: dict[str, Any] = {
        "job": shop.job, "number": number, "name": f"At {speed:g}", "machine": shop.machine, "tip": shop.chamfer_tip,
        "body": shop.body, "material": shop.material, "kind_of_cut": "chamfering", "surface_speed": speed,
        "feed": 0.05, "depth": 1.0, "width": 1.0, "minutes_per_part": 1.0, "who": shop.engineer,
    }  # fmt: skip
    return create_operation(**(given | changes))


def lives(speed: float, count: int, exponent: float = EXPONENT) -> list[float]:
    """Evenly spread over the Weibull law, so that the claim needs no luck."""
    shares = (np.arange(count) + 0.5) / count
    scale = LIFE * (speed / SPEED) ** -exponent
    return [float(minutes) for minutes in scale * (-np.log1p(-shares)) ** (1 / SHAPE)]


def wear_out(shop: Shop, speeds: dict[float, int], **changes: Any) -> None:
    for number, (speed, count) in enumerate(speeds.items(), start=100):
        work = at_speed(shop, speed, number + 10 * len(changes), **changes)
        add_edges(shop, [Past(minutes, "worn", work) for minutes in lives(speed, count)])
    services.refit_all()


def fitted(before: Floats, own: Floats) -> Floats:
    """The covariance of a fit: information adds up."""
    covariance: Floats = np.asarray(np.linalg.inv(np.linalg.inv(before) + own), dtype=np.float64)
    return covariance


def fit(shop: Shop) -> FittedTaylor | None:
    return fitted_taylor(material=shop.material)


def test_speeds_that_differ_give_n_and_c_with_their_interval(shop: Shop) -> None:
    wear_out(shop, {45.0: 12, 60.0: 12, 80.0: 12})
    found = fit(shop)
    assert found is not None
    assert found.n == pytest.approx(1 / EXPONENT, rel=0.08)  # the starting value of 4 still draws it a little
    assert found.n_low < 1 / EXPONENT < found.n_high < 0.5
    # Back at its own speed the law says the life it was drawn from: T = (C / vc)^(1/n).
    assert (found.c / SPEED) ** (1 / found.n) == pytest.approx(LIFE, rel=0.1)
    assert (found.ended, found.tool, found.kind_of_cut) == (36, "CT-45-12", "chamfering")
    assert (found.feed, found.depth) == (0.05, 1.0)
    assert found.source.startswith(
        "fitted to 36 ended edges of CT-45-12, chamfering at feed 0.05 mm and depth 1 mm; n is"
    )


def test_c_is_the_speed_at_which_the_law_s_typical_life_is_one_minute(shop: Shop) -> None:
    wear_out(shop, {45.0: 12, 80.0: 12})
    found, model = fit(shop), LifeModel.objects.get()
    assert found is not None
    kept = model.parameters
    speed = kept["reference"]["surface_speed"]
    assert kept["ln_scale"] + kept["speed"] * math.log(found.c / speed) == pytest.approx(0.0, abs=1e-9)
    assert found.n == pytest.approx(-1 / kept["speed"])


@pytest.mark.parametrize(
    "speeds",
    [
        {60.0: 40},  # one speed tells nothing of speed
        {60.0: 15, 63.0: 15},  # nor do two that hardly differ
        {40.0: 3, 80.0: 4},  # too few
    ],
)
def test_until_they_have_shown_enough_nothing_is_said(shop: Shop, speeds: dict[float, int]) -> None:
    wear_out(shop, speeds)
    assert fit(shop) is None


def test_one_speed_far_from_the_reference_tells_nothing_of_speed(shop: Shop) -> None:
    LifePrior.objects.create(
        design=shop.chamfer_tip, kind_of_cut="chamfering", life_minutes=600, surface_speed=10, feed=0.05, depth=1.0,
        life_spread=0.2, exponent_spread=1.0,
    )  # fmt: skip
    wear_out(shop, {60.0: 40})
    model = LifeModel.objects.select_related("prior").get()
    covariance, before = np.array(model.covariance), starting_covariance(model.prior)
    # The fit has narrowed the exponent to a fifth, yet only by way of the life that was assumed at the reference.
    assert covariance[1, 1] < before[1, 1] / 20
    assert told_of_speed(covariance, before) * before[1, 1] < 0.01
    assert fit(shop) is None


def test_what_edges_tell_is_what_they_alone_say_of_the_exponent() -> None:
    before: Floats = np.diag([0.25, 0.16, 0.16, 0.16, 0.09])
    # Told 4 about the exponent of speed by itself, and 9 of scale: nothing shared, all of it counts.
    own: Floats = np.diag([9.0, 4.0, 0.0, 0.0, 2.0])
    assert told_of_speed(fitted(before, own), before) == pytest.approx(4.0)
    own[0, 1] = own[1, 0] = 6.0  # sqrt(9 · 4): the same direction, so it could be the scale as well
    assert told_of_speed(fitted(before, own), before) == pytest.approx(0.0, abs=1e-6)


def test_of_several_groups_the_one_with_most_ended_edges_and_of_a_tool_its_own(shop: Shop) -> None:
    wear_out(shop, {45.0: 9, 80.0: 9})
    other = shop.design("CT-60-12", teeth=4, diameter_mm=12.0, machine_side_system="screw-on", machine_side_size="M8")
    wear_out(shop, {45.0: 12, 80.0: 12}, tip=other)
    best = fit(shop)
    assert best is not None
    assert (best.tool, best.ended) == ("CT-60-12", 24)
    own = fitted_taylor(material=shop.material, tool=" ct-45-12 ")
    assert own is not None
    assert (own.tool, own.ended) == ("CT-45-12", 18)
    assert fitted_taylor(material=shop.material, tool="DR-8") is None


def test_a_law_that_no_edge_follows_is_not_passed_on(shop: Shop) -> None:
    wear_out(shop, {45.0: 12, 80.0: 12})
    model = LifeModel.objects.select_related("design", "prior").get()
    assert taylor_of(model) is not None
    sound = dict(model.parameters)
    for change in ({"speed": 0.5}, {"speed": -0.5}, {"ln_scale": 40.0}, {"reference": {"feed": 0.05}}):
        model.parameters = sound | change
        assert taylor_of(model) is None
    model.parameters, model.standing = sound, LifeModel.Standing.FALLBACK
    assert taylor_of(model) is None


def test_the_law_s_facts_say_n_once_it_is_told(shop: Shop) -> None:
    def said(model: LifeModel) -> list[tuple[str, str]]:
        return [(fact.value, fact.range) for fact in law_facts(model=model) if fact.name.startswith("Taylor's n")]

    wear_out(shop, {60.0: 12})
    assert said(LifeModel.objects.get()) == [("not told yet", "needs 8 or more ended edges, at speeds that differ")]
    wear_out(shop, {45.0: 12, 80.0: 12}, name="Another")
    found = fit(shop)
    assert found is not None
    ((value, around),) = said(LifeModel.objects.get())
    low, high = (float(end) for end in around.split(" to "))
    assert value == f"{found.n:.2f}"
    assert found.n_low - 0.01 < low < found.n < high < found.n_high + 0.01
