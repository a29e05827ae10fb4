"""Changes ahead: which stops come when, what shares one, what each takes, and what cannot be told."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Machine, MachineShift
from crib.catalogue.services import ShiftTimes, set_shifts
from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Edge, Operation, PocketLoad
from crib.life import services
from crib.life.calendar import Hours, shifts_ahead
from crib.life.changing import change_points
from crib.life.laws import law_of
from crib.life.models import Forecast, LifeModel
from crib.life.selectors import MachineAhead, changes_ahead, sharing, slots
from crib.web import changes_shown
from tests.api.calls import get
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text

MONDAY = datetime(2026, 11, 23, 9, 0, tzinfo=UTC)
UTC_ZONE = ZoneInfo("UTC")


@pytest.fixture(autouse=True)
def nothing_kept() -> Iterator[None]:
    changes_shown._kept.clear()
    yield
    changes_shown._kept.clear()


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, WORN)
    services.refit_all()
    Operation.objects.filter(pk=shop.operation.pk).update(cycle_minutes=5.0)
    shop.job.quantity = 5000
    shop.job.save()
    shop.log_run(parts=2)
    services.refresh_all_due()
    return shop


def due_in(edge: Edge, minutes: float, *, parts: int = 3, **fields: Any) -> None:
    """The forecast as if the edge were due so many clock minutes from now."""
    at = clock.now() + timedelta(minutes=minutes)
    Forecast.objects.filter(edge=edge).update(change_by_at=at, change_by_parts=parts, **fields)


def ahead(shop: Shop) -> MachineAhead:
    [one] = changes_ahead(machine=Machine.objects.get()).machines
    return one


def more_tools(shop: Shop, count: int) -> list[Edge]:
    """So many more tools in pockets of the machine, each with an edge that has run once."""
    taken = PocketLoad.objects.count()
    for number in range(count):
        tool = shop.assembly_with(shop.chamfer_tip)
        pocket = 4 + taken + number
        floor.load_pocket(machine=shop.machine, pocket=pocket, assembly=tool, who=shop.setter, at=shop.long_ago)
        shop.log_run(pocket=pocket, parts=2, hour=1.0 + taken + number)
    services.refresh_all_due()
    return list(Edge.objects.filter(state="in_use", last_run_ended_at__isnull=False).order_by("pk"))


# --- shifts and hours -------------------------------------------------------------------------------


def shift(weekday: int, starts: int, ends: int) -> MachineShift:
    return MachineShift(weekday=weekday, starts=time(starts), ends=time(ends))


def test_this_shift_is_the_one_that_runs_and_the_next_follows_it() -> None:
    week = [shift(day, 6, 14) for day in range(5)] + [shift(day, 14, 22) for day in range(5)]
    this, after = shifts_ahead(now=MONDAY, shifts=week, zone=UTC_ZONE)
    assert (this.starts.hour, this.ends.hour, after.starts.hour, after.ends.hour) == (6, 14, 14, 22)
    evening, morning = shifts_ahead(now=MONDAY.replace(hour=23), shifts=week, zone=UTC_ZONE)
    assert (evening.starts.day, evening.starts.hour, morning.starts.hour) == (24, 6, 14)
    once, again = shifts_ahead(now=MONDAY, shifts=[shift(0, 6, 14)], zone=UTC_ZONE)
    assert (once.ends.day, again.starts.day) == (23, 30)


def test_without_shifts_eight_hours_are_taken_for_one() -> None:
    this, after = shifts_ahead(now=MONDAY, shifts=[], zone=UTC_ZONE)
    assert (this.starts, this.ends) == (MONDAY, MONDAY + timedelta(hours=8))
    assert after.ends == MONDAY + timedelta(hours=16)


def test_minutes_of_work_and_moments_are_each_others_reverse() -> None:
    for week in ([], [shift(day, 6, 14) for day in range(5)], [shift(0, 22, 4)]):
        hours = Hours(start=MONDAY, shifts=week, zone=UTC_ZONE)
        for minutes in (0.5, 200.0, 400.0, 900.0):
            at = hours.after(minutes)
            assert at is not None
            assert hours.until(at) == pytest.approx(minutes)
        assert hours.until(MONDAY - timedelta(hours=1)) == 0
        assert hours.after(1e7) is None
    assert Hours(start=MONDAY, shifts=[shift(0, 6, 7)], zone=UTC_ZONE).after(10_000) is None


# --- stops ------------------------------------------------------------------------------------------


def test_an_edge_due_in_the_shift_is_a_stop_with_its_parts_and_repeats_after(learnt: Shop) -> None:
    due_in(learnt.edge, 15.0)
    found = ahead(learnt)
    first, second = found.stops[0].changes[0], found.stops[1].changes[0]
    assert (first.parts, first.early, first.repeat, first.pocket) == (3, 0, 0, 3)
    assert abs((found.stops[0].at - clock.now()).total_seconds() - 900) < 5
    # The edge that follows is a fresh one, changed at its own count.
    count, pace = second.parts - first.parts, first.slot.pace
    point = change_points([(learnt.operation, law_of(LifeModel.objects.get()))])
    assert pace
    assert (second.repeat, count) == (1, int(point.parts[0]))
    assert abs(found.stops[1].at - found.stops[0].at - timedelta(minutes=pace * count)) < timedelta(seconds=1)
    assert all(stop.next_shift == (stop.at > found.this_shift.ends) for stop in found.stops)
    assert found.this
    assert found.next


def test_the_first_changes_turn_and_then_a_tip_is_fetched(learnt: Shop) -> None:
    due_in(learnt.edge, 15.0)
    turns = [change.turn for stop in ahead(learnt).stops for change in stop.changes]
    # A tip of two edges: the second waits on it, then every other change takes a new tip.
    assert turns[:4] == [True, False, True, False]
    [need] = ahead(learnt).needs
    assert (need.design, need.turn, need.fetch) == (learnt.chamfer_tip, sum(turns), len(turns) - sum(turns))
    assert need.short == (need.fetch > need.on_shelf + need.at_machine)
    learnt.stock(learnt.chamfer_tip, 100)
    [need] = ahead(learnt).needs
    assert need.on_shelf >= 100
    assert not need.short


def test_no_change_is_told_once_the_batch_is_finished(learnt: Shop) -> None:
    due_in(learnt.edge, 15.0, batch_parts_left=5)
    assert len(ahead(learnt).stops) == 1
    due_in(learnt.edge, 15.0, batch_parts_left=3)
    found = ahead(learnt)
    assert found.stops == ()
    assert found.untold[0].why == slots.BATCH_FIRST


def test_edges_due_close_together_share_a_stop_and_what_is_saved_is_said(learnt: Shop) -> None:
    one, other = more_tools(learnt, 1)
    Machine.objects.update(stop_minutes=10.0)
    due_in(one, 15.0, parts=3)
    due_in(other, 19.0, parts=3)
    first = ahead(learnt).stops[0]
    assert {change.edge for change in first.changes} == {one, other}
    assert [change.early for change in first.changes] == [0, 1]
    early = 10 * 95 / 60 - first.saved
    assert 0 < early < 10 * 95 / 60
    assert first.stops_saved == 1
    assert ahead(learnt).minutes_saved >= 10
    Machine.objects.update(hourly_rate=Decimal("0"))
    assert len(ahead(learnt).stops[0].changes) == 1


def test_a_change_far_ahead_keeps_its_own_stop(learnt: Shop) -> None:
    one, other = more_tools(learnt, 1)
    due_in(one, 20.0, parts=4)
    due_in(other, 95.0, parts=8)
    assert [len(stop.changes) for stop in ahead(learnt).stops[:2]] == [1, 1]


def test_no_edge_is_ever_changed_later_than_it_is_due(learnt: Shop) -> None:
    edges = more_tools(learnt, 3)
    Machine.objects.update(stop_minutes=6.0)
    for number, edge in enumerate(edges):
        due_in(edge, 12.0 + 9 * number, parts=3 + 2 * number)
    [work] = slots.gather(machine=Machine.objects.get())
    followed = dict(zip([slot.edge.pk for slot in work.slots], sharing._followed(work.slots), strict=True))
    [(_, stops)] = sharing.plan_stops([work])
    last = {slot.edge.pk: slot.due for slot in work.slots}
    for stop in stops:
        for change in stop:
            pk = change.slot.edge.pk
            assert change.at <= last[pk] + 1e-9
            pace = change.slot.pace or 0.0
            assert last[pk] - change.at <= pace * change.early + 1e-4
            last[pk] = change.at + pace * (followed[pk].count or 0)


def test_the_first_stop_is_that_of_the_cheapest_plan(learnt: Shop) -> None:
    edges = more_tools(learnt, 3)
    Machine.objects.update(stop_minutes=4.0)
    for number, edge in enumerate(edges):
        due_in(edge, 60.0 + 7 * number, parts=9)
    [work] = slots.gather(machine=Machine.objects.get())
    followed = sharing._followed(work.slots)
    order = sorted(range(4), key=lambda row: work.slots[row].due)
    dues = np.array([work.slots[row].due for row in order])
    cost = 4.0 * 95 / 60

    def price(plan: tuple[int, ...]) -> float:
        early = [
            float(
                followed[row].own.of(
                    np.ceil((dues[place : place + 1] - dues[at]) / (work.slots[row].pace or 0.0) - 1e-6)
                )[0]
            )
            for place, (row, at) in enumerate(zip(order, plan, strict=True))
        ]
        return len(set(plan)) * cost + sum(early)

    plans = [plan for plan in product(range(4), repeat=4) if all(at <= place for place, at in enumerate(plan))]
    best = min(plans, key=price)
    [(_, stops)] = sharing.plan_stops([work])
    assert {change.slot.edge.pk for change in stops[0]} == {
        work.slots[row].edge.pk for row, at in zip(order, best, strict=True) if at == 0
    }


def test_an_overdue_edge_is_changed_now_also_where_no_pace_is_known(learnt: Shop) -> None:
    Forecast.objects.filter(edge=learnt.edge).update(change_by_parts=0, change_by_at=None, model=None)
    first = ahead(learnt).stops[0]
    assert first.changes[0].due_now
    assert first.at - clock.now() < timedelta(seconds=5)
    assert len(ahead(learnt).stops) == 1


def test_edges_of_which_nothing_can_be_told_say_why(learnt: Shop) -> None:
    def why(**fields: Any) -> str:
        Forecast.objects.filter(edge=learnt.edge).update(**fields)
        return ahead(learnt).untold[0].why

    assert why(change_by_at=clock.now() + timedelta(days=3)) == slots.LATER
    assert why(change_by_at=None) == slots.LATER
    Edge.objects.filter(pk=learnt.edge.pk).update(last_run_ended_at=None)
    assert why() == slots.NOT_RUN
    assert why(change_by_parts=None) == slots.NO_PARTS
    assert why(change_by_minutes=None) == slots.TO_END
    assert why(trouble="Its figures cannot be worked with.") == "Its figures cannot be worked with."
    Forecast.objects.all().delete()
    assert why() == slots.NO_FORECAST


def test_without_a_pace_the_way_out_is_said(shop: Shop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(cycle_minutes=None, accepted_risk=0.5)
    edge = add_edges(shop, [Past(2)])[0]
    edge.totals.update(clock_minutes=0)
    services.refresh_all_due()
    assert ahead(shop).untold[0].why == slots.NO_PACE


def test_a_machine_s_shifts_bound_what_is_told(learnt: Shop) -> None:
    now = clock.now()
    day = (now + timedelta(days=2)).weekday()
    MachineShift.objects.create(machine=learnt.machine, weekday=day, starts=time(6), ends=time(7))
    Forecast.objects.filter(edge=learnt.edge).update(change_by_parts=0)
    found = ahead(learnt)
    assert found.stops[0].at == found.this_shift.starts
    assert (found.next_shift.starts - found.this_shift.starts).days == 7


# --- pages and interface ------------------------------------------------------------------------------


def test_the_pages_show_stops_and_what_to_lay_ready(learnt: Shop) -> None:
    one, other = more_tools(learnt, 1)
    Machine.objects.update(stop_minutes=10.0)
    due_in(one, 100.0, parts=8)
    due_in(other, 104.0, parts=8)
    client = signed_in(learnt.setter)
    for address in (f"/machines/{learnt.machine.pk}/", "/edges/ahead/"):
        page = text(client.get(address))
        for words in ("one stop for 2", "1 part before its time", "Turn to the next edge", "Fetch 1 CT-45-12"):
            assert words in page, (address, words)
        assert "style=" not in page
    assert "never a promise" in text(client.get("/edges/ahead/"))
    assert "Changes ahead" in text(client.get("/edges/"))
    today = text(client.get("/"))
    assert "Stops in this shift and the next" in today
    assert "CT-45-12 to fetch" in today
    assert "Next shift, " in today


def test_a_shift_that_is_still_to_begin_is_not_said_to_run(learnt: Shop) -> None:
    due_in(learnt.edge, 100.0, parts=8)
    day = (clock.today() + timedelta(days=1)).weekday()
    set_shifts(machine=learnt.machine, shifts=[ShiftTimes(day, time(6), time(14))], who=learnt.lead)
    client = signed_in(learnt.setter)
    for address in (f"/machines/{learnt.machine.pk}/", "/edges/ahead/", "/"):
        page = text(client.get(address))
        assert "Coming shift, tomorrow 06:00 to 14:00" in page, address
        assert "This shift" not in page


def test_the_line_on_today_is_kept_until_something_changes(learnt: Shop) -> None:
    due_in(learnt.edge, 15.0)
    first = changes_shown.machine_lines()
    with CaptureQueriesContext(connection) as counted:
        assert changes_shown.machine_lines() is first
    assert len(counted) == 1
    Forecast.objects.update(change_by_parts=None, computed_at=clock.now())
    assert changes_shown.machine_lines() == []


def test_where_nothing_is_due_the_pages_say_so(shop: Shop) -> None:
    client = signed_in(shop.setter)
    assert "No change is due in this shift or the next" in text(client.get("/edges/ahead/"))
    assert "No change is due." in text(client.get(f"/machines/{shop.machine.pk}/"))
    assert "Stops in this shift" not in text(client.get("/"))
    assert client.get("/edges/ahead/").status_code == 200
    client.logout()
    assert client.get("/edges/ahead/").status_code == 302


def test_the_interface_tells_the_stops(learnt: Shop) -> None:
    due_in(learnt.edge, 15.0)
    told = get(learnt.setter, "changes-ahead/?machine=VM-1").data["machines"][0]
    assert told["machine"] == "VM-1"
    assert told["stops"][0]["changes"][0]["edge"] == learnt.edge.pk
    assert told["stops"][0]["changes"][0]["turn"] is True
    assert len(get(learnt.setter, "changes-ahead/").data["machines"]) == 1
    refused = get(learnt.setter, "changes-ahead/?machine=NONE")
    assert refused.status_code == 400
    assert "There is no machine “NONE” in use" in str(refused.data)


def test_a_page_of_changes_costs_the_same_with_2_and_with_9(learnt: Shop) -> None:
    client = signed_in(learnt.setter)

    def queries(address: str) -> int:
        changes_shown._kept.clear()
        for edge in Edge.objects.filter(state="in_use", forecast__isnull=False):
            due_in(edge, 30.0)
        with CaptureQueriesContext(connection) as counted:
            assert client.get(address).status_code == 200
        return len(counted)

    more_tools(learnt, 1)
    addresses = ("/edges/ahead/", f"/machines/{learnt.machine.pk}/", "/")
    few = [queries(address) for address in addresses]
    more_tools(learnt, 7)
    assert [queries(address) for address in addresses] == few
