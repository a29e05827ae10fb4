"""The counter's longer conversations: the job last, limits with a lead's word, and too few of a thing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crib.core import clock
from crib.people.models import Person
from crib.stock import services
from crib.stock.counter import Short
from crib.stock.models import Move, TakeLimit
from tests.shop import Shop, assert_ledger_balances
from tests.stock.test_counter import Tablet, badge, held


def limit(shop: Shop, *, most: int = 2, per: str = "person") -> TakeLimit:
    return services.set_take_limit(design=shop.chamfer_tip, per=per, most=most, days=7, who=shop.lead)


def standing_out() -> list[Move]:
    return list(Move.objects.filter(why="check_out", reversed_by=None).order_by("pk"))


def test_person_things_job(shop: Shop) -> None:
    """The job scanned last counts for what was drawn before it in the same turn, and says so."""
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop)
    for text in (badge(shop.setter), "2*CT-45-12", "CT-45-12"):
        tablet.scan(text)
    answer = tablet.scan(shop.job.code, key="the-job").answer
    assert (answer.tone, answer.words) == ("info", "Job J-1001")
    assert "The 2 drawn before are written down for it too" in answer.more
    assert [(move.quantity, move.job) for move in standing_out()] == [(2, shop.job), (1, shop.job)]
    assert held(shop.setter) == {"CT-45-12": 3}
    # The lines of the list are those that stand, so that undo takes back the right one.
    assert tablet.says("undo").startswith("Undone: 1 × CT-45-12")
    assert held(shop.setter) == {"CT-45-12": 2}
    assert_ledger_balances()


def test_the_job_may_come_at_any_time(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    job, who, thing = shop.job.code, badge(shop.setter), "CT-45-12"
    for order in ((job, who, thing), (thing, job, who), (thing, who, job), (who, job, thing)):
        tablet = Tablet(shop)
        for text in order:
            tablet.scan(text)
        assert standing_out()[-1].job == shop.job, order
    assert len(standing_out()) == 4
    assert_ledger_balances()


def test_a_job_scanned_for_one_person_is_not_the_next_persons(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop)
    for text in (badge(shop.setter), shop.job.code, "CT-45-12", badge(shop.other_setter), "CT-45-12"):
        tablet.scan(text)
    assert [move.job for move in standing_out()] == [shop.job, None]


def test_a_job_scanned_much_later_is_for_what_comes_next(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop, signed_in=shop.setter)
    tablet.scan("CT-45-12")
    later = clock.now() + timedelta(minutes=6)
    monkeypatch.setattr(clock, "now", lambda: later)
    tablet.scan(shop.job.code)
    assert [move.job for move in standing_out()] == [None]


def test_the_job_scan_sent_twice_counts_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop, signed_in=shop.setter)
    tablet.scan("CT-45-12")
    before = tablet.state
    tablet.scan(shop.job.code, key="k")
    # The answer and the page's memory were lost; the ledger still knows what was done.
    tablet.state = before
    tablet.scan(shop.job.code, key="k")
    assert len(standing_out()) == 1
    assert Move.objects.filter(why="reverse").count() == 1
    assert_ledger_balances()


def test_what_is_limited_for_a_job_waits_for_the_job(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    limit(shop, per="job")
    tablet = Tablet(shop)
    tablet.scan(badge(shop.setter))
    answer = tablet.scan("2*CT-45-12").answer
    assert (answer.tone, "Scan the job" in answer.more) == ("info", True)
    assert standing_out() == []
    assert tablet.says(shop.job.code) == "2 × CT-45-12 → Sela Marsh"
    assert standing_out()[0].job == shop.job
    # Left waiting, it is not handed to whoever comes next.
    other = Tablet(shop)
    for text in (badge(shop.setter), "CT-45-12", badge(shop.other_setter), shop.job.code):
        other.scan(text)
    assert held(shop.other_setter) == {}


def over_the_limit(shop: Shop, person: Person | None = None) -> Tablet:
    shop.stock(shop.chamfer_tip, 10)
    limit(shop)
    tablet = Tablet(shop, signed_in=person)
    if person is None:
        tablet.scan(badge(shop.setter))
    return tablet


def test_a_lead_lets_more_go_out_by_badge_and_reason(shop: Shop) -> None:
    tablet = over_the_limit(shop)
    refused = tablet.scan("3*CT-45-12").answer
    assert refused.tone == "bad"
    assert "drawn 0 of the 2 CT-45-12" in refused.words
    assert "A lead may scan the badge here" in refused.more
    assert tablet.says(badge(shop.lead)) == "Lena Holt: why?"
    assert "few words" in tablet.says("because")
    answer = tablet.scan("chipped at the start").answer
    assert (answer.tone, answer.words) == ("good", "3 × CT-45-12 → Sela Marsh")
    assert "allowed by Lena Holt" in answer.more
    (move,) = standing_out()
    assert (move.who, move.allowed_by, move.note) == (shop.setter, shop.lead, "chipped at the start")
    # The lead has gone again: what follows is the machinist's, under the limit.
    assert tablet.scan("CT-45-12").answer.tone == "bad"
    assert tablet.acting == shop.setter
    assert_ledger_balances()


def test_the_leads_badge_twice_is_for_drawing(shop: Shop) -> None:
    tablet = over_the_limit(shop)
    tablet.scan("3*CT-45-12")
    tablet.scan(badge(shop.lead))
    tablet.scan(badge(shop.lead))
    assert tablet.acting == shop.lead
    assert tablet.state.over == ()


def test_something_else_scanned_instead_of_a_reason_is_taken_as_such(shop: Shop) -> None:
    tablet = over_the_limit(shop)
    tablet.scan("3*CT-45-12")
    tablet.scan(badge(shop.lead))
    assert tablet.says("CT-45-12") == "1 × CT-45-12 → Sela Marsh"
    assert tablet.says("two words") == "“two words” is not known here. Scan it again, or type the code."
    assert [move.allowed_by for move in standing_out()] == [None]


def test_who_may_not_allow_it_allows_nothing(shop: Shop) -> None:
    tablet = over_the_limit(shop)
    tablet.scan("3*CT-45-12")
    tablet.scan("chipped at the start")
    tablet.scan(badge(shop.attendant))
    tablet.scan("chipped at the start")
    assert standing_out() == []


def test_at_a_machinists_own_screen_a_leads_badge_allows_nothing(shop: Shop) -> None:
    tablet = over_the_limit(shop, shop.setter)
    tablet.scan("3*CT-45-12")
    assert "counts at the crib's counter" in tablet.says(badge(shop.lead))
    tablet.scan("chipped at the start")
    assert standing_out() == []


def test_a_lead_who_is_signed_in_types_the_reason_alone(shop: Shop) -> None:
    tablet = over_the_limit(shop, shop.lead)
    tablet.scan(badge(shop.setter))
    assert "type why" in tablet.scan("3*CT-45-12").answer.more
    # One word that is not known is a scan that was misread, not a reason.
    assert "is not known here" in tablet.says("4006381333931")
    assert tablet.says("three machines at once") == "3 × CT-45-12 → Sela Marsh"
    (move,) = standing_out()
    assert (move.who, move.allowed_by) == (shop.lead, shop.lead)


def test_things_first_over_the_limit_wait_for_the_lead_together(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    limit(shop, most=0)
    tablet = Tablet(shop)
    for text in ("CT-45-12", "2*CT-45-12"):
        tablet.scan(text)
    answer = tablet.scan(badge(shop.setter)).answer
    assert (answer.tone, answer.words) == ("bad", "0 of 2 → Sela Marsh")
    tablet.scan(badge(shop.lead))
    assert tablet.says("start of the batch") == "2 things allowed by Lena Holt"
    assert held(shop.setter) == {"CT-45-12": 3}


def test_too_few_is_remembered_until_something_is_drawn(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    tablet = Tablet(shop, signed_in=shop.setter)
    refused = tablet.scan("3*CT-45-12").answer
    assert "what may be taken instead" in refused.more
    assert tablet.state.short == Short(shop.chamfer_tip.pk, 3)
    tablet.scan("2*CT-45-12")
    assert tablet.state.short is None
    tablet.scan("CT-45-12")
    assert tablet.state.short == Short(shop.chamfer_tip.pk, 1)
    tablet.scan("done")
    assert tablet.state.short is None
