"""Limits on what one person, or one job, may draw: how they count, when they free, who may allow more."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core import clock
from crib.core.errors import BadInput, NotAllowed, Refused
from crib.people.models import ChangeRecord
from crib.stock import selectors, services
from crib.stock.errors import JobNeeded, LimitReached
from crib.stock.models import Condition, Move, TakeLimit
from tests.shop import Shop, assert_ledger_balances, at_once


def limit(shop: Shop, *, per: str = "person", most: int = 4, days: int | None = 7) -> TakeLimit:
    return services.set_take_limit(design=shop.chamfer_tip, per=per, most=most, days=days, who=shop.lead)


def draw(shop: Shop, quantity: int = 1, **given: object) -> Move:
    fields = {
        "design": shop.chamfer_tip, "quantity": quantity, "person": shop.setter, "from_place": shop.bin,
        "who": shop.setter, "key": shop.key(),
    }  # fmt: skip
    return services.check_out(**(fields | given))  # type: ignore[arg-type]  # as named by each test


def bring(shop: Shop, quantity: int = 1, condition: str = Condition.NEW) -> Move:
    return services.take_back(
        design=shop.chamfer_tip, quantity=quantity, person=shop.setter, to_place=shop.bin, who=shop.setter,
        key=shop.key(), condition=condition,
    )  # fmt: skip


def test_the_refusal_says_how_many_were_drawn_when_it_frees_and_who_may_allow_more(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop)
    draw(shop, 3, at=clock.now() - timedelta(days=6))
    draw(shop, 1)
    with pytest.raises(LimitReached) as refused:
        draw(shop, 1)
    said = refused.value.sentence
    assert "Sela Marsh has drawn 4 of the 4 CT-45-12 that one person may draw within 7 days; 1 asked for." in said
    assert "It frees again on " in said
    assert "Lena Holt may let more go out." in said
    drawn = selectors.drawn_against(limit=TakeLimit.objects.get(), person=shop.setter, job=None)
    assert drawn.quantity == 4
    # The three of six days ago leave the window tomorrow.
    assert drawn.frees_at is not None
    assert timedelta(hours=23) < drawn.frees_at - clock.now() <= timedelta(days=1)
    draw(shop, 2, person=shop.other_setter, who=shop.other_setter)
    assert_ledger_balances()


def test_what_left_the_window_counts_no_more(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, days=1)
    draw(shop, 4, at=clock.now() - timedelta(hours=25))
    draw(shop, 4)
    with pytest.raises(LimitReached, match="within a day"):
        draw(shop)


def test_what_comes_back_usable_may_be_drawn_again_but_spent_edges_were_used(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, days=None)
    draw(shop, 4)
    with pytest.raises(LimitReached, match="It frees again when some are brought back"):
        draw(shop)
    bring(shop)
    draw(shop)
    bring(shop, condition=Condition.SPENT)
    with pytest.raises(LimitReached):
        draw(shop)
    out = Move.objects.filter(why="check_out").first()
    assert out is not None
    services.reverse(move=out, who=shop.attendant, key=shop.key())
    draw(shop)
    with pytest.raises(LimitReached, match=r"5 asked for\. 4 may still go out"):
        draw(shop, 5, person=shop.other_setter, who=shop.other_setter)


def test_a_limit_for_each_job_needs_the_job(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, per="job", most=2, days=None)
    with pytest.raises(JobNeeded, match="Scan the job"):
        draw(shop)
    draw(shop, 1, job=shop.job)
    with pytest.raises(LimitReached, match=r"For job J-1001 1 of the 2 .* One may still go out"):
        draw(shop, 2, job=shop.job, person=shop.other_setter, who=shop.other_setter)


def test_a_lead_lets_more_go_out_and_says_why(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, most=1)
    within = draw(shop, 1, allowed_by=shop.lead, note="in case")
    assert within.allowed_by is None
    with pytest.raises(NotAllowed, match="Atto Lind may not let more go out"):
        draw(shop, 1, allowed_by=shop.attendant, note="because")
    with pytest.raises(BadInput, match="why more goes out"):
        draw(shop, 1, allowed_by=shop.lead, note=" ")
    more = draw(shop, 2, allowed_by=shop.lead, note="chipped at the start")
    kept = Move.objects.get(pk=more.pk)
    assert (kept.allowed_by, kept.note, kept.who) == (shop.lead, "chipped at the start", shop.setter)


def test_the_same_key_is_answered_even_when_the_limit_is_reached(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, most=2)
    first = draw(shop, 2, key="k")
    assert draw(shop, 2, key="k").pk == first.pk


def test_over_several_bins_the_whole_is_asked_for(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    shop.stock(shop.chamfer_tip, 3, place=shop.other_bin)
    limit(shop, most=3)
    given = {"design": shop.chamfer_tip, "quantity": 4, "person": shop.setter, "who": shop.setter}
    with pytest.raises(LimitReached, match=r"drawn 0 of the 3 .*; 4 asked for"):
        services.check_out_anywhere(key="a", **given)  # type: ignore[arg-type]  # named just above
    assert not Move.objects.filter(why="check_out").exists()
    moves = services.check_out_anywhere(key="b", allowed_by=shop.lead, note="two machines", **given)  # type: ignore[arg-type]  # as above
    assert sum(move.quantity for move in moves) == 4
    assert {move.allowed_by for move in moves} == {None, shop.lead}


def test_limits_are_set_by_a_lead_and_lifted_again(shop: Shop) -> None:
    made = limit(shop)
    assert limit(shop, most=6, days=None).pk == made.pk
    assert [(one.most, one.days) for one in selectors.limits_of(design=shop.chamfer_tip)] == [(6, None)]
    given = {"design": shop.chamfer_tip, "who": shop.lead}
    for wrong in ({"per": "shift", "most": 1, "days": 1}, {"per": "job", "most": -1, "days": 1},
                  {"per": "job", "most": 1, "days": 0}):  # fmt: skip
        with pytest.raises(BadInput):
            services.set_take_limit(**given, **wrong)  # type: ignore[arg-type]  # wrong on purpose
    with pytest.raises(NotAllowed):
        services.lift_take_limit(limit=made, who=shop.attendant)
    services.lift_take_limit(limit=made, who=shop.lead)
    assert not TakeLimit.objects.exists()
    assert [one.act for one in ChangeRecord.objects.filter(what="limit").order_by("pk")] == [
        "created", "changed", "lifted",
    ]  # fmt: skip


def test_a_design_without_limits_costs_one_question_more(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    draw(shop)
    with CaptureQueriesContext(connection) as asked:
        draw(shop)
    assert len([one for one in asked if "takelimit" in one["sql"]]) == 1


@pytest.mark.django_db(transaction=True)
def test_two_tablets_at_once_cannot_pass_the_limit_together(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 20)
    limit(shop, most=3)
    _ = shop.setter, shop.bin
    outcomes = at_once(*[lambda: draw(shop, 1) for _ in range(6)])
    drawn = [one for one in outcomes if isinstance(one, Move)]
    assert len(drawn) == 3
    assert all(isinstance(one, Refused) for one in outcomes if not isinstance(one, Move))
    assert_ledger_balances()
