"""A result against one input, on the page: its range, its limits in words, and its numbers for those who do not see."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from calc.workings import all_workings, get
from calc.workings.sweep import sweepable
from crib.web.working_fields import example_query
from tests.shop import Shop
from tests.web.pages import signed_in

pytestmark = pytest.mark.once

MILLING = {
    "diameter": "16", "teeth": "4", "surface_speed": "60", "feed_per_tooth": "0.08", "axial_depth": "8",
    "radial_depth": "1.6", "kc11": "2000", "mc": "0.25",
}  # fmt: skip


def page(shop: Shop, name: str = "milling", query: dict[str, str] | None = None, **more: str) -> str:
    asked = (MILLING if query is None else query) | {"units": "metric"} | more
    response = signed_in(shop.engineer).get(f"/workings/{name}/", asked)
    assert response.status_code == 200
    return str(response.content.decode())


def sweep_of(text: str) -> str:
    """The part of the page that holds the sweep."""
    found = re.search(r'<section class="panel" id="sweep-drawn".*?</section>', text, re.DOTALL)
    assert found is not None, "no sweep"
    return found[0]


def words(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def rows(text: str) -> list[list[str]]:
    """The rows of the table beneath the charts."""
    body = text[text.index("<tbody") : text.index("</tbody>")]
    return [
        [words(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)]
        for row in re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)
    ]


def test_nothing_is_drawn_until_it_is_asked_for(shop: Shop) -> None:
    text = page(shop)
    assert 'id="sweep-drawn"' not in text
    assert "Draw against one input" in text
    assert '<option value="">the first that changes</option>' in text


def test_without_a_range_it_is_half_to_twice_the_number_at_hand(shop: Shop) -> None:
    drawn = sweep_of(page(shop, sweep="axial_depth", sweep_of="removal_rate"))
    assert "Removal rate against axial depth" in words(drawn)
    table = rows(drawn)
    assert (table[0][0], table[-1][0]) == ("4 mm", "16 mm")
    # Removal rate is ap · ae · vf: 4 · 1.6 · 382 mm³/min at the lower end, four times that at the upper one.
    assert table[0][1].startswith("2.44")
    assert table[-1][1].startswith("9.78")
    assert 11 <= len(table) <= 14
    assert ">now</text>" in drawn


def test_the_first_result_that_changes_is_drawn_when_none_is_chosen(shop: Shop) -> None:
    # Spindle speed and feed rate stand first on the page, but the axial depth moves neither.
    assert "Spindle power against axial depth" in words(sweep_of(page(shop, sweep="axial_depth")))
    assert "Spindle speed against surface speed" in words(sweep_of(page(shop, sweep="surface_speed")))


def test_a_second_result_is_drawn_below_the_first(shop: Shop) -> None:
    drawn = sweep_of(page(shop, sweep="axial_depth", sweep_of="spindle_power", sweep_and="torque"))
    assert drawn.count("<svg") == 2
    assert "Spindle power (kW)" in drawn
    assert "Torque (N·m)" in drawn
    assert len(rows(drawn)[0]) == 3
    once = sweep_of(page(shop, sweep="axial_depth", sweep_of="torque", sweep_and="torque"))
    assert once.count("<svg") == 1


def test_a_typed_range_holds_in_any_unit(shop: Shop) -> None:
    table = rows(sweep_of(page(shop, sweep="axial_depth", sweep_of="torque", sweep_from="2", sweep_to="0.5 in")))
    assert (table[0][0], table[-1][0]) == ("2 mm", "12.7 mm")
    half = rows(sweep_of(page(shop, sweep="axial_depth", sweep_of="torque", sweep_to="10")))
    assert (half[0][0], half[-1][0]) == ("4 mm", "10 mm")


def test_a_reader_of_inches_reads_and_types_inches(shop: Shop) -> None:
    inch = {"diameter": "0.625", "teeth": "6", "surface_speed": "120", "feed_per_tooth": "0.0022"}
    more = {"units": "inch", "sweep": "surface_speed", "sweep_of": "feed_rate"}
    drawn = sweep_of(page(shop, query=inch, **more, sweep_from="100", sweep_to="200"))
    table = rows(drawn)
    assert (table[0][0], table[-1][0]) == ("100 ft/min", "200 ft/min")
    # Common practice, no source: 733 turns and 9.68 in/min at 120 ft/min, so 8.07 at 100 and 16.1 at 200.
    assert table[0][1].startswith("8.07")
    assert table[0][1].endswith("in/min")
    assert "Surface speed (ft/min)" in drawn
    assert "Feed rate (in/min)" in drawn


def test_counts_are_drawn_at_whole_numbers(shop: Shop) -> None:
    table = rows(sweep_of(page(shop, sweep="teeth", sweep_of="feed_rate")))
    assert [row[0] for row in table] == ["2", "3", "4", "5", "6", "7", "8"]


def test_an_input_that_was_left_empty_needs_a_range(shop: Shop) -> None:
    plain = {key: MILLING[key] for key in ("diameter", "teeth", "surface_speed", "feed_per_tooth")}
    text = words(sweep_of(page(shop, query=plain, sweep="axial_depth")))
    assert "Against one input" in text
    assert "From is missing: give both ends of the range of axial depth." in text
    good = sweep_of(
        page(shop, query=plain, sweep="radial_depth", sweep_of="engagement_angle", sweep_from="1", sweep_to="8")
    )
    assert ">now</text>" not in good


def test_limits_are_shaded_and_named_in_words_and_in_the_table(shop: Shop) -> None:
    drawn = sweep_of(page(shop, sweep="axial_depth", sweep_of="feed_rate", max_power="0.8"))
    assert 'class="shade"' in drawn
    assert 'class="shade-lines"' in drawn
    assert re.search(r"Shaded: 1?2\.\d+ mm to 16 mm: held back by the spindle's power\.", words(drawn))
    table = rows(drawn)
    assert table[0][-1] == ""
    assert table[-1][-1] == "held back by the spindle's power"
    assert "Limit or warning" in drawn
    free = sweep_of(page(shop, sweep="axial_depth", sweep_of="removal_rate"))
    assert "Shaded" not in free
    assert "Limit or warning" not in free


def test_where_it_cannot_go_on_it_ends_and_says_why(shop: Shop) -> None:
    drawn = words(sweep_of(page(shop, sweep="radial_depth", sweep_of="removal_rate", sweep_to="20")))
    assert "From 16 mm on: Radial depth cannot be more than the diameter" in drawn


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"sweep": "weather"}, '"weather" cannot be drawn against'),
        ({"sweep": "axial_depth", "sweep_from": "deep"}, "is not a number"),
        ({"sweep": "axial_depth", "sweep_from": "5", "sweep_to": "5"}, "To must be more than from"),
        ({"sweep": "axial_depth", "sweep_to": "3 kW"}, "kW"),
        ({"sweep": "axial_depth", "sweep_of": "weather"}, "weather was not worked out."),
        ({"sweep": "axial_depth", "sweep_of": "time_in_cut"}, "Time in cut was not worked out."),
    ],
    ids=["input", "number", "nothing between", "dimension", "result", "not worked out"],
)
def test_what_cannot_be_drawn_is_said_beside_the_answer(shop: Shop, more: dict[str, str], sentence: str) -> None:
    text = page(shop, query=None, **more)
    drawn = sweep_of(text)
    assert 'role="alert"' in drawn
    assert sentence in words(drawn)
    assert "<svg" not in drawn
    assert "<h2>Answer</h2>" in text


def test_without_an_answer_there_is_no_sweep(shop: Shop) -> None:
    text = page(shop, query={"diameter": "wide", "sweep": "axial_depth"})
    assert 'id="sweep-drawn"' not in text
    assert re.search(r'<details[^>]*id="sweep-fold" open', text), "what was asked for stays in sight"


def test_percentiles_are_drawn_together_and_told_apart(shop: Shop) -> None:
    query = example_query(get("remaining-life"), "metric") | {"sweep": "used", "sweep_of": "minutes_left"}
    drawn = sweep_of(page(shop, "remaining-life", query))
    assert drawn.count("<svg") == 1
    for share in (10, 50, 90):
        assert f"Minutes left {share} %" in drawn


def test_the_parts_that_htmx_swaps_hold_the_sweep_too(shop: Shop) -> None:
    asked = MILLING | {"units": "metric", "sweep": "axial_depth", "sweep_of": "torque"}
    response = signed_in(shop.engineer).get("/workings/milling/", asked, headers={"HX-Request": "true"})
    text = response.content.decode()
    assert '<div id="sweep-area" hx-swap-oob="true">' in text
    assert "Torque against axial depth" in words(sweep_of(text))
    assert "sweep=axial_depth&sweep_of=torque" in response["HX-Replace-Url"]
    whole = page(shop, sweep="axial_depth", sweep_of="torque")
    assert sweep_of(whole) == sweep_of(text)


def every_sweep() -> list[Any]:
    return [
        pytest.param(working, id=working.name)
        for working in all_workings()
        if any(entry.name in working.example for entry in sweepable(working))
    ]


@pytest.mark.parametrize("working", every_sweep())
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_every_calculator_draws_its_example_against_its_first_input(shop: Shop, working: Any, units: Any) -> None:
    over = next(entry.name for entry in sweepable(working) if entry.name in working.example)
    query = example_query(working, units) | {"units": units, "sweep": over}
    response = signed_in(shop.engineer).get(f"/workings/{working.name}/", query)
    drawn = sweep_of(response.content.decode())
    assert "<svg" in drawn, words(drawn)
    assert len(rows(drawn)) >= 2
    assert "nan" not in words(drawn).casefold().split()
