"""The invented past, before any of it is written: it must be one that a shop could have had, whatever the day."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from crib.management.demo import demo_people
from crib.management.demo.calendar import month_after
from crib.management.demo.history import draw_past
from crib.management.demo.laws import Duty, Fate, WearFigures, draw_fate, typical_life, wear_land
from crib.management.demo.loading import needs_until_next_month
from crib.management.demo.lots import BadLot, Boxes
from crib.management.demo.past import Past
from crib.management.demo.scenario import Law, Scenario, ScenarioError, _rows, folder, read_scenario
from crib.management.demo.supplies import Delivery, draw_supplies
from crib.people.roles import ROLES

# A working day, a Sunday night, the last day of a year, and a leap day.
MOMENTS = [
    datetime(2026, 11, 25, 10, 17, tzinfo=UTC),
    datetime(2027, 3, 7, 23, 59, tzinfo=UTC),
    datetime(2026, 12, 31, 6, 0, tzinfo=UTC),
    datetime(2028, 2, 29, 13, 30, tzinfo=UTC),
]


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return read_scenario()


def minutes_of(scenario: Scenario) -> dict[tuple[str, int], float]:
    """About a tenth of the cycle each, which is what the workings come to."""
    return {
        (batch.code, step.number): 0.09 * scenario.parts[batch.part].cycle_minutes
        for batch in scenario.batches
        for step in scenario.steps[batch.part]
    }


@pytest.fixture(scope="module", params=MOMENTS, ids=lambda moment: f"{moment:%Y-%m-%d}")
def drawn(request: pytest.FixtureRequest, scenario: Scenario) -> tuple[datetime, Past]:
    now: datetime = request.param
    return now, draw_past(scenario, minutes_of(scenario), now)


def test_the_past_ends_today_and_nothing_lies_ahead(drawn: tuple[datetime, Past]) -> None:
    now, past = drawn
    runs = [run for tool in past.tools for edge in tool.edges for run in edge.runs]
    assert max(run.ends for run in runs) <= now
    # One machine never stops for long, so the last run is never much older than a part and its changes.
    assert max(run.ends for run in runs) > now - timedelta(hours=16)
    assert min(run.starts for run in runs) < now - timedelta(weeks=38)
    ends = [edge.ended_at for tool in past.tools for edge in tool.edges if edge.ended_at]
    assert max(ends) <= now


def test_runs_in_one_pocket_follow_each_other(drawn: tuple[datetime, Past]) -> None:
    _, past = drawn
    by_seat: dict[str, list[tuple[datetime, datetime]]] = defaultdict(list)
    for tool in past.tools:
        for edge in tool.edges:
            by_seat[tool.seat.name] += [(run.starts, run.ends) for run in edge.runs]
    for spans in by_seat.values():
        assert all(one[1] <= other[0] for one, other in pairwise(sorted(spans)))


def test_minutes_in_cut_stay_within_the_clock_and_parts_are_whole(drawn: tuple[datetime, Past]) -> None:
    _, past = drawn
    for tool in past.tools:
        for edge in tool.edges:
            for run in edge.runs:
                assert isinstance(run.parts, int)
                assert 0 < run.minutes <= (run.ends - run.starts).total_seconds() / 60 + 1e-3
            assert edge.parts == sum(run.parts for run in edge.runs)
            assert edge.minutes == pytest.approx(sum(run.minutes for run in edge.runs), abs=0.05)


def test_a_tool_is_fitted_turned_and_taken_out_in_order(drawn: tuple[datetime, Past], scenario: Scenario) -> None:
    _, past = drawn
    still_in: Counter[str] = Counter()
    for tool in past.tools:
        assert [edge.number for edge in tool.edges] == list(range(1, len(tool.edges) + 1))
        assert len(tool.edges) <= int(scenario.design_rows[tool.seat.tip]["edges"])
        for one, other in pairwise(tool.edges):
            assert one.ended_at is not None
            assert one.ended_at <= other.put_in_at
        still_in[tool.seat.name] += tool.removed_at is None
    assert max(still_in.values()) == 1


def test_every_kind_of_end_happens_and_most_edges_come_off_too_early(drawn: tuple[datetime, Past]) -> None:
    _, past = drawn
    ends = Counter(edge.outcome for tool in past.tools for edge in tool.edges)
    assert {"worn", "chipped", "broken", "taken_off_early", "end_of_job", ""} == set(ends)
    assert ends["taken_off_early"] > ends["worn"] > ends["chipped"] > ends["broken"] > 0


def test_the_same_moment_draws_the_same_past(scenario: Scenario) -> None:
    once, again = (draw_past(scenario, minutes_of(scenario), MOMENTS[0]) for _ in range(2))
    assert once == again


def test_no_bin_ever_owes_anything(drawn: tuple[datetime, Past], scenario: Scenario) -> None:
    now, past = drawn
    supplies = draw_supplies(scenario, past, needs_until_next_month(scenario, now), now)
    books: dict[str, list[tuple[datetime, int]]] = defaultdict(list)
    for delivery in supplies.deliveries:
        assert delivery.at <= now
        books[delivery.design].append((delivery.at, delivery.quantity))
    for draw in supplies.draws:
        books[draw.design].append((draw.at, -draw.quantity))
    for code, lines in books.items():
        on_hand = np.cumsum([quantity for _, quantity in sorted(lines, key=lambda line: line[0])])
        assert on_hand.min() >= 0, code


def test_only_the_chosen_designs_stand_below_what_is_planned(scenario: Scenario) -> None:
    now = MOMENTS[0]
    past = draw_past(scenario, minutes_of(scenario), now)
    needs = needs_until_next_month(scenario, now)
    supplies = draw_supplies(scenario, past, needs, now)
    left: Counter[str] = Counter()
    for delivery in supplies.deliveries:
        left[delivery.design] += delivery.quantity
    for draw in supplies.draws:
        left[draw.design] -= draw.quantity
    spread = scenario.story["spread_of_stock"]
    assert {code for code in needs if left[code] < needs[code]} == set(spread["short"]) | set(spread["on_its_way"])


def test_a_tool_is_of_the_lot_that_came_last_and_the_bad_one_from_its_day_on() -> None:
    def day(number: int) -> datetime:
        return MOMENTS[0] + timedelta(days=number)

    deliveries = [Delivery(day(one), design, 9, "X") for one, design in ((0, "A"), (1, "B"), (5, "A"), (9, "A"))]
    boxes = Boxes(deliveries, BadLot("A", day(7), 0.5))
    assert [boxes.lot_of("A", day(one)) for one in (-1, 0, 6, 7, 30)] == ["", "2000", "2000", "2002", "2002"]
    assert [boxes.lot_of("B", day(one)) for one in (0, 1, 30)] == ["", "2001", "2001"]
    assert boxes.lot_of("C", day(3)) == ""
    assert [boxes.bad.factor_for(*asked) for asked in (("A", day(7)), ("A", day(6)), ("B", day(8)))] == [0.5, 1.0, 1.0]


LAW = Law("X", "", 100.0, 80.0, 0.1, 2.0, 4.0, 1.0, 0.5, 3.0, 1.0)


def test_the_typical_life_is_the_extended_taylor_law() -> None:
    # By hand: twice the speed with a = 4 is a sixteenth of the life; half the feed with b = 1 doubles it.
    assert typical_life(LAW, Duty(80.0, 0.1, 2.0), 1.0) == pytest.approx(100)
    assert typical_life(LAW, Duty(160.0, 0.1, 2.0), 1.0) == pytest.approx(6.25)
    assert typical_life(LAW, Duty(80.0, 0.05, 8.0), 0.5) == pytest.approx(50)
    assert typical_life(LAW, Duty(80.0, 0.1, None), 1.0) == pytest.approx(100)


def test_drawn_lives_have_the_law_s_mean_and_hazard() -> None:
    chance = np.random.default_rng(7)
    fates = [draw_fate(LAW, 100.0, chance) for _ in range(20_000)]
    # The mean of a Weibull variable is scale * gamma(1 + 1/shape), any textbook of statistics.
    assert np.mean([fate.minutes_to_worn for fate in fates]) == pytest.approx(100 * math.gamma(1 + 1 / 3), rel=0.01)
    assert np.mean([fate.minutes_to_break for fate in fates]) == pytest.approx(1000, rel=0.03)


def test_the_wear_land_reaches_the_criterion_at_the_end_of_the_life() -> None:
    figures, chance = WearFigures(0.30, 0.05, 0.0), np.random.default_rng(1)
    fate = Fate(100.0, 9e9)
    assert wear_land(100.0, fate, figures, chance) == 0.30
    assert wear_land(50.0, fate, figures, chance) == pytest.approx(0.175, abs=0.006)
    assert wear_land(5.0, fate, figures, chance) < 0.05


def test_next_month_is_the_one_after_today() -> None:
    assert [day.isoformat() for day in month_after(MOMENTS[2].date())] == ["2027-01-01", "2027-01-31"]
    assert [day.isoformat() for day in month_after(datetime(2027, 1, 31, tzinfo=UTC).date())] == [
        "2027-02-01",
        "2027-02-28",
    ]


def test_there_is_one_person_for_each_role_named_after_it() -> None:
    people = demo_people()
    assert len([role for _, _, role in people if role]) == 12
    assert {(name, role) for name, _, role in people} >= {(role, role) for role in ROLES}
    assert [name for name, _, role in people if not role] == ["counter"]


def test_no_fixture_holds_a_password() -> None:
    for file in folder().rglob("*"):
        assert "password" not in file.read_text(encoding="utf-8").lower(), file.name


def test_a_line_that_cannot_be_read_is_named() -> None:
    def refuse(row: dict[str, str]) -> float:
        return float(row["part"])

    with pytest.raises(ScenarioError, match=r"parts\.csv, line 2"):
        _rows("parts.csv", refuse)
