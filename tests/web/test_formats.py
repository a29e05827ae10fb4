"""Numbers and times as people read them."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.template import Context, Template, TemplateSyntaxError
from django.test import override_settings
from django.utils import timezone

from calc.units import readers_unit, unit_named, ureg
from crib.core import clock
from crib.web import formats

pytestmark = pytest.mark.once

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def half_past_two(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOW)
    monkeypatch.setattr(clock, "today", lambda: timezone.localdate(NOW))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (math.nan, "–"),
        (math.inf, "–"),
        (0, "0"),
        (0.04, "0"),
        (0.3, "0.3"),
        (9.94, "9.9"),
        (9.96, "10"),
        (3.0, "3"),
        (12.4, "12"),
        (1234.5, "1\u202f234"),
        (-0.01, "0"),
        (-4.2, "−4.2"),
        (-31.8, "−32"),
    ],
)
def test_minutes_are_whole_above_ten(value: float | None, text: str) -> None:
    assert formats.minutes(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (3.99, "3"), (0.2, "0"), (12000, "12\u202f000"), (math.nan, "–")]
)
def test_parts_are_whole_and_never_rounded_up(value: float | None, text: str) -> None:
    assert formats.parts(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(None, "– parts"), (0, "0 parts"), (1, "1 part"), (1200, "1\u202f200 parts")]
)
def test_a_count_of_parts_has_its_word(value: int | None, text: str) -> None:
    assert formats.parts_said(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "–"), (math.inf, "–"), (0.42, "0.4"), (9.94, "9.9"), (9.96, "10"), (10.6, "11"), (1234.5, "1\u202f234")],
)
def test_parts_in_the_mean_are_said_to_the_tenth_while_there_are_few(value: float | None, text: str) -> None:
    assert formats.mean_parts(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (0, "0\u00a0%"),
        (0.001, "under 1\u00a0%"),
        (0.82, "82\u00a0%"),
        (0.9991, "over 99\u00a0%"),
        (1, "100\u00a0%"),
        (1.12, "112\u00a0%"),
        (math.nan, "–"),
    ],
)
def test_shares_are_never_rounded_into_certainty(value: float | None, text: str) -> None:
    assert formats.share(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (Decimal("1234.565"), "1\u202f234.57\u00a0EUR"), (Decimal("-3"), "−3.00\u00a0EUR")]
)
def test_money_has_its_cents_and_its_currency(value: Decimal | None, text: str) -> None:
    assert formats.money(value, "EUR") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "–"), (0, "0"), (12345.678, "12\u202f346"), (0.012345, "0.01235"), (-2.5, "−2.5")],
)
def test_numbers_have_four_figures(value: float | None, text: str) -> None:
    assert formats.number(value) == text


@pytest.mark.parametrize(
    ("value", "unit", "metric", "inch"),
    [
        (25.4, "mm", "25.4\u00a0mm", "1\u00a0in"),
        (60, "m/min", "60\u00a0m/min", "197\u00a0ft/min"),
        (0.2, "mm/rev", "0.2\u00a0mm/rev", "0.0079\u00a0in/rev"),
        (0.056, "mm/tooth", "0.056\u00a0mm/tooth", "0.0022\u00a0in/tooth"),
        (1200, "1/min", "1200\u00a0rev/min", "1200\u00a0rev/min"),
        (31, "min", "31\u00a0min", "31\u00a0min"),
        (None, "mm", "–", "–"),
        (math.nan, "mm", "–", "–"),
    ],
)  # fmt: skip
def test_a_value_is_written_in_the_persons_units(value: float | None, unit: str, metric: str, inch: str) -> None:
    assert formats.amount(value, unit, "metric") == metric
    assert formats.amount(value, unit, "inch") == inch


INCH_SIGNS = {
    "mm": "in", "µm": "µin", "mm/min": "in/min", "mm/rev": "in/rev", "mm/tooth": "in/tooth", "m/min": "ft/min",
    "N": "lbf", "N·m": "lbf·ft", "kW": "hp", "cm³/min": "in³/min", "N/mm²": "ksi", "1/min": "rev/min", "mm²": "in²",
    "min": "min", "deg": "deg", "%": "%",
}  # fmt: skip


@pytest.mark.parametrize(("unit", "sign"), INCH_SIGNS.items())
def test_an_inch_readers_units_are_those_of_the_engineering(unit: str, sign: str) -> None:
    assert formats.unit_for(unit, "inch") == sign
    if unit != "deg":
        assert formats.amount(1000.0, unit, "inch").endswith(f"\u00a0{sign}")


@pytest.mark.parametrize("unit", [unit for unit in INCH_SIGNS if not unit.endswith(("/rev", "/tooth"))])
def test_what_is_shown_behind_a_number_is_the_unit_it_was_turned_into(unit: str) -> None:
    kept = ureg.Quantity(1000.0, unit_named(unit))
    turned = kept.m_as(unit_named(readers_unit(unit, "inch")))
    number = formats.amount(1000.0, unit, "inch").partition("\u00a0")[0].rstrip("°").replace("\u202f", "")
    assert float(number) == pytest.approx(turned, rel=0.01)


def test_units_beside_a_field_follow_the_person() -> None:
    assert [formats.unit_for("mm", system) for system in ("metric", "inch")] == ["mm", "in"]
    assert formats.unit_for("min", "inch") == "min"


@pytest.mark.parametrize(
    ("away", "text"),
    [
        (timedelta(0), "14:30"),
        (timedelta(hours=20), "tomorrow 10:30"),
        (timedelta(hours=-20), "yesterday 18:30"),
        (timedelta(days=4), "Sun 29 Nov 14:30"),
        (timedelta(days=60), "Sun 24 Jan 2027 14:30"),
    ],
)
def test_a_clock_time_says_its_day_when_it_is_not_today(away: timedelta, text: str) -> None:
    assert formats.clock_time(NOW + away) == text


def test_times_are_those_of_the_shop_not_of_the_server() -> None:
    with override_settings(TIME_ZONE="Asia/Tokyo"), timezone.override("Asia/Tokyo"):
        assert formats.clock_time(NOW) == "23:30"
        assert formats.clock_time(NOW + timedelta(hours=1)) == "tomorrow 00:30"
        assert formats.day(NOW + timedelta(hours=1)) == "26 Nov"


@pytest.mark.parametrize(
    ("away", "text"),
    [
        (timedelta(seconds=20), "now"),
        (timedelta(minutes=3), "in 3\u00a0min"),
        (timedelta(minutes=-59), "59\u00a0min ago"),
        (timedelta(hours=-5), "5\u00a0h ago"),
        (timedelta(days=1), "in 1\u00a0day"),
        (timedelta(days=-3), "3\u00a0days ago"),
    ],
)
def test_relative_times_use_the_one_unit_that_matters(away: timedelta, text: str) -> None:
    assert formats.ago(NOW + away) == text


def test_what_is_not_known_is_a_dash() -> None:
    assert formats.clock_time(None) == formats.day(None) == formats.ago(None) == "–"
    assert formats.day(date(2025, 3, 1)) == "1 Mar 2025"


def rendered(text: str, **context: object) -> str:
    return Template(text).render(Context(context))


def test_tags_and_filters_need_no_loading() -> None:
    assert rendered('{% amount v "mm" %} {% unit "mm" %}', v=12.7, units="inch") == "0.5\u00a0in in"
    assert rendered('{% amount v "mm" %}', v=12.7) == "12.7\u00a0mm"
    assert rendered(
        "{{ a|minutes }} {{ a|parts }} {{ b|share }} {{ a|number }} {{ m|money }}", a=12.4, b=0.5, m=Decimal(2)
    ) == ("12 12 50\u00a0% 12.4 2.00\u00a0EUR")
    assert rendered("{{ t|clock }}", t=NOW) == '<time datetime="2026-11-25T14:30:00+00:00">14:30</time>'
    assert rendered("{{ t|day }}", t=date(2026, 12, 3)) == '<time datetime="2026-12-03">3 Dec</time>'
    assert rendered("{{ t|ago }}", t=None) == "–"
    assert 'aria-hidden="true"' in rendered('{% icon "edges" %}')


def test_text_in_tags_is_escaped() -> None:
    assert "<b>" not in rendered("{{ t|label_text }}{% badge 'bad' t %}{% figure t t unit=t range=t %}", t="<b>")


def test_an_unknown_tone_is_a_mistake_of_ours() -> None:
    with pytest.raises(TemplateSyntaxError, match="no tone"):
        rendered('{% badge "purple" "Change" %}')
