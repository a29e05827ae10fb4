"""The flag of falling lives: raised once, kept up to date, cleared with the reason, and no matter of stock."""

from __future__ import annotations

import pytest
from django.db import IntegrityError

from crib.catalogue.services import retire_design
from crib.core import clock
from crib.life import selectors as life_selectors
from crib.life import services as life
from crib.life.models import LifeModel
from crib.planning import selectors
from crib.planning import services as planning
from crib.planning.models import Flag
from crib.planning.services import lives
from crib.planning.tasks import check_flags
from tests.life.lives import add_in_order, fallen
from tests.planning.conftest import MONTH, TODAY, PlanningShop

FALL = Flag.Kind.LIVES_FALL


@pytest.fixture
def fallen_shop(shop: PlanningShop) -> PlanningShop:
    add_in_order(shop, fallen())
    life.refit_all()
    return shop


def test_it_is_raised_once_with_its_evidence(fallen_shop: PlanningShop) -> None:
    check_flags()
    check_flags()
    flag = Flag.objects.get(kind=FALL)
    model = LifeModel.objects.get()
    assert flag.design == fallen_shop.chamfer_tip
    assert flag.says.startswith("CT-45-12 in Duplex 1.4462: Lives are about")
    assert flag.evidence["groups"] == [
        {"model": model.pk, "material": "Duplex 1.4462", "kind_of_cut": "chamfering"}
        | {
            name: model.drift[name]
            for name in ("since", "edges_since", "ended_since", "factor", "low", "high", "p", "lot")
        }
    ]


def test_more_evidence_is_written_into_the_same_flag(fallen_shop: PlanningShop) -> None:
    check_flags()
    before = Flag.objects.get(kind=FALL)
    add_in_order(fallen_shop, fallen(0, 4), from_days_ago=20)
    life.refit_all()
    assert planning.refresh_due_flags().written.raised == 0
    after = Flag.objects.get(kind=FALL)
    assert (after.pk, after.raised_at) == (before.pk, before.raised_at)
    assert after.evidence["groups"][0]["edges_since"] == 14


def test_evidence_that_is_not_sure_raises_nothing_and_clears_nothing(
    fallen_shop: PlanningShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = life_selectors.falling_lives()
    monkeypatch.setattr(lives, "falling_lives", lambda: [life_selectors.Falling(one.model, False) for one in found])
    check_flags()
    assert not Flag.objects.filter(kind=FALL).exists()
    monkeypatch.undo()
    monkeypatch.setattr(clock, "now", lambda: TODAY)
    check_flags()
    monkeypatch.setattr(lives, "falling_lives", lambda: [life_selectors.Falling(one.model, False) for one in found])
    check_flags()
    assert Flag.objects.get(kind=FALL).cleared_at is None


def test_it_is_cleared_with_the_reason_when_the_group_learns_anew(fallen_shop: PlanningShop) -> None:
    check_flags()
    life.learn_anew(model=LifeModel.objects.get(), who=fallen_shop.lead)
    assert planning.refresh_due_flags().written.cleared == 1
    flag = Flag.objects.get(kind=FALL)
    assert flag.cleared_at is not None
    assert "learnt anew" in flag.cleared_because


def test_it_is_cleared_when_lives_no_longer_fall(fallen_shop: PlanningShop) -> None:
    check_flags()
    LifeModel.objects.update(drift={})
    check_flags()
    assert Flag.objects.get(kind=FALL).cleared_because == "Lives are no longer shorter than chance explains."


def test_a_retired_design_has_none(fallen_shop: PlanningShop) -> None:
    retire_design(design=fallen_shop.chamfer_tip, who=fallen_shop.lead)
    check_flags()
    assert not Flag.objects.filter(kind=FALL).exists()


def test_a_twin_that_raised_it_first_is_left_alone(fallen_shop: PlanningShop, monkeypatch: pytest.MonkeyPatch) -> None:
    def taken(**_: object) -> Flag:
        raise IntegrityError

    monkeypatch.setattr(Flag.objects, "create", taken)
    assert planning.refresh_due_flags().written.raised == 0


def test_stock_and_lives_do_not_touch_each_other_s_flags(fallen_shop: PlanningShop) -> None:
    check_flags()
    fallen_shop.planned()
    assert Flag.objects.filter(cleared_at=None, kind=FALL).count() == 1
    short = fallen_shop.flag(Flag.Kind.WILL_RUN_SHORT)
    row = next(one for one in selectors.month_ahead(month=MONTH).needs if one.demand.design == fallen_shop.chamfer_tip)
    assert FALL not in {flag.kind for flag in row.flags}
    assert FALL not in {flag.kind for flag in selectors.design_ahead(month=MONTH, code="CT-45-12").flags}
    assert [flag.pk for flag in selectors.pressing_flags()] == [short.pk]
    now = selectors.today_now()
    assert [flag.kind for flag in now.lives_fall] == [FALL]
    assert [flag.pk for flag in now.shortages] == [short.pk]
    # The other way round: the stock is well again, and lives fall still.
    fallen_shop.stock(fallen_shop.chamfer_tip, 5000)
    check_flags()
    assert list(Flag.objects.filter(cleared_at=None).values_list("kind", flat=True)) == [FALL]


def test_falling_lives_alone_are_not_quiet(fallen_shop: PlanningShop) -> None:
    assert selectors.today_now().quiet
    check_flags()
    Flag.objects.exclude(kind=FALL).delete()
    assert not selectors.today_now().quiet
