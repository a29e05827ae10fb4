"""The charts draw what they are given, refuse what cannot be drawn, and never let text become markup."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.web import charts
from crib.web.charts import Mark, Point, Range, Series, Shade
from crib.web.charts.scale import LogScale, Scale, day_ticks, log_ticks, tick_text, ticks
from crib.web.charts.svg import CannotDraw, tag

pytestmark = pytest.mark.once

SVG = ET.Element
HOSTILE = '"><script>alert(1)</script><a onload="x" b=\'&'
START = date(2026, 11, 25)
finite_floats = st.floats(allow_nan=False, allow_infinity=False, width=64)


def days(count: int) -> list[date]:
    return [START + timedelta(days=offset) for offset in range(count)]


def drawn(svg: str) -> ET.Element:
    """The chart as a parser reads it, with what every chart must have."""
    root = ET.fromstring(svg)
    assert root.tag == "svg"
    assert root.get("role") == "img"
    assert root.get("aria-label")
    assert root.get("viewBox")
    assert [child.tag for child in root][:2] == ["title", "desc"]
    for element in root.iter():
        assert element.get("style") is None
        assert not any(name.startswith("on") for name in element.attrib)
        assert element.get("fill") is None, "colour comes from classes alone"
        for value in element.attrib.values():
            assert "nan" not in value.lower() or value == element.get("aria-label")
    return root


def with_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [element for element in root.iter() if name in (element.get("class") or "").split()]


def a_curve(**more: object) -> str:
    kept: dict[str, object] = {
        "middle": [1.0, 0.5, 0.1],
        "title": "Life",
        "says": "Half are worn at 30 min",
        "x_label": "minutes in cut",
        "y_label": "share",
    }
    return charts.bands([0, 30, 60], **{**kept, **more})  # type: ignore[arg-type]  # the keywords vary by test


# ---- scales ------------------------------------------------------------------------------------------


@given(finite_floats, finite_floats, finite_floats, finite_floats)
def test_a_scale_keeps_the_order_of_values(low: float, high: float, first: float, second: float) -> None:
    low, high = sorted((low, high))
    scale = Scale(low, high, 0, 1000)
    first, second = sorted((min(max(first, low), high), min(max(second, low), high)))
    assert scale(first) <= scale(second)
    assert -1e-6 <= scale(first) <= 1000 + 1e-6


def test_a_scale_meets_its_ends_and_an_upright_one_runs_upwards() -> None:
    upright = Scale(0, 10, 300, 20)
    assert upright(0) == 300
    assert upright(10) == 20
    assert upright(5) == 160
    assert upright.clamp(11) == 20
    assert Scale(4, 4, 0, 100)(4) == 50


@given(
    st.floats(-1e12, 1e12).filter(lambda value: value == 0 or abs(value) > 1e-6),
    st.floats(1e-6, 1e12),
)
def test_ticks_span_the_values_in_even_round_steps(low: float, width: float) -> None:
    high = low + width
    if high - low < abs(low) * 1e-9:
        return
    at = ticks(low, high)
    step = at[1] - at[0]
    assert at[0] <= low + step * 1e-6
    assert at[-1] >= high - step * 1e-6
    assert 2 <= len(at) <= 14
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert any(math.isclose(mantissa, size, rel_tol=1e-3) for size in (1, 2, 5, 10))


@pytest.mark.parametrize("value", [0.0, 7.0, -3.0])
def test_ticks_of_a_single_value_still_have_room(value: float) -> None:
    at = ticks(value, value)
    assert at[0] < value + 1e-9 < at[-1] + 1


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [
        (0, 1, "0"),
        (0.25, 0.05, "0.25"),
        (1500, 500, "1\u202f500"),
        (25_000, 5000, "25 k"),
        (3.2e6, 1e5, "3.2 M"),
        (-4, 2, "−4"),
    ],
)
def test_tick_labels_are_no_finer_than_the_axis(value: float, step: float, text: str) -> None:
    assert tick_text(value, step=step) == text


def test_tick_labels_of_astronomical_and_tiny_values_stay_short() -> None:
    assert len(tick_text(3e22, step=1e22)) <= 8
    assert len(tick_text(3e-9, step=1e-9)) <= 8


def test_day_labels_thin_out_with_the_span() -> None:
    assert day_ticks([]) == []
    assert len(day_ticks(days(1))) == 1
    assert day_ticks(days(5)) == days(5)
    assert {(b - a).days for a, b in zip(day_ticks(days(31)), day_ticks(days(31))[1:], strict=False)} == {7}
    assert len(day_ticks(days(2000))) <= 8


# ---- what every chart survives -----------------------------------------------------------------------


def every_chart(*, title: str, says: str, label: str, values: list[float]) -> list[str]:
    top = max(values, default=1.0)
    lines = [Series(label, list(range(len(values))), values)]
    return [
        charts.bands(
            list(range(len(values))),
            middle=values,
            bands=[(values, values)],
            points=[Point(0, v) for v in values[:2]],
            marks=[Mark(0, label)] if values else [],
            title=title,
            says=says,
            x_label=label,
            y_label=label,
            middle_words=label,
            band_words=(label,),
            point_words=(label, label),
        ),
        charts.steps(
            days(len(values)),
            values,
            title=title,
            says=says,
            y_label=label,
            threshold=top,
            threshold_words=label,
            band=(values, values),
            shortage=START if values else None,
            level_words=label,
        ),
        charts.day_bars(
            days(len(values)), values, title=title, says=says, y_label=label, ranges=[(v, v) for v in values]
        ),
        charts.lines(lines if values else [], title=title, says=says, x_label=label, y_label=label),
        charts.gauge(abs(top), tone="bad", says=says),
        charts.interval(0, abs(top) / 2, abs(top), top=abs(top), says=says),
    ]


@pytest.mark.parametrize(
    "values",
    [[5.0], [0.0], [0.0, 0.0], [1e300, -1e300], [1e-300, 2e-300], [-4.0, 3.0, 9.0], [1e15] * 40],
    ids=["one point", "nothing", "flat", "huge", "tiny", "below zero", "many equal"],
)
def test_every_chart_draws_odd_values(values: list[float]) -> None:
    for svg in every_chart(title="Title", says="Says", label="parts", values=values):
        root = drawn(svg)
        for number in re.findall(r' (?:x|y|x1|x2|y1|y2|cx|cy|width|height)="([^"]+)"', svg):
            assert math.isfinite(float(number))
            assert -50 <= float(number) <= 800, "what is drawn stays on the paper"
        assert root is not None


def test_charts_without_data_say_so() -> None:
    for svg in every_chart(title="Title", says="Says", label="parts", values=[])[:4]:
        assert "Nothing to draw yet" in "".join(drawn(svg).itertext())


def test_hostile_text_stays_text() -> None:
    for svg in every_chart(title=HOSTILE, says=HOSTILE, label=HOSTILE, values=[1.0, 2.0]):
        root = drawn(svg)
        assert "script" not in {element.tag for element in root.iter()}
        assert "<script" not in svg
        assert HOSTILE in (root.get("aria-label") or "")
        assert HOSTILE in "".join(root.itertext())


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(CannotDraw, match="middle"):
        a_curve(middle=[1.0, bad, 0.1])
    with pytest.raises(CannotDraw, match="lower side"):
        a_curve(bands=[([0, bad, 0], [1, 1, 1])])
    with pytest.raises(CannotDraw, match="points"):
        a_curve(points=[Point(bad, 1)])
    with pytest.raises(CannotDraw, match="marks"):
        a_curve(marks=[Mark(bad, "change-by")])
    with pytest.raises(CannotDraw, match="levels"):
        charts.steps(days(2), [1, bad], title="t", says="s", y_label="y")
    with pytest.raises(CannotDraw, match="threshold"):
        charts.steps(days(2), [1, 2], title="t", says="s", y_label="y", threshold=bad)
    with pytest.raises(CannotDraw, match="ranges"):
        charts.day_bars(days(1), [1], ranges=[(bad, 1)], title="t", says="s", y_label="y")
    with pytest.raises(CannotDraw, match="ys of life"):
        charts.lines([Series("life", [1], [bad])], title="t", says="s", x_label="x", y_label="y")
    with pytest.raises(CannotDraw, match="gauge"):
        charts.gauge(bad, tone="good", says="s")
    with pytest.raises(CannotDraw, match="interval"):
        charts.interval(0, bad, 2, top=3, says="s")


def test_series_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(CannotDraw, match="3 values and middle has 2"):
        a_curve(middle=[1.0, 0.5])
    with pytest.raises(CannotDraw, match="upper side"):
        a_curve(bands=[([0, 0, 0], [1, 1])])
    with pytest.raises(CannotDraw, match="days"):
        charts.steps(days(3), [1, 2], title="t", says="s", y_label="y")
    with pytest.raises(CannotDraw, match="follow each other"):
        charts.day_bars([START, START], [1, 2], title="t", says="s", y_label="y")
    with pytest.raises(CannotDraw, match="ranges"):
        charts.day_bars(days(2), [1, 2], ranges=[(1, 2)], title="t", says="s", y_label="y")
    with pytest.raises(CannotDraw, match="4 lines"):
        charts.lines([Series("a", [1], [1])] * 4, title="t", says="s", x_label="x", y_label="y")


# ---- what each chart shows ---------------------------------------------------------------------------


def test_ended_edges_are_filled_and_censored_ones_open() -> None:
    root = drawn(a_curve(points=[Point(20, 0.8), Point(40, 0.4, ended=False), Point(50, 0.2)]))
    in_plot = [mark for mark in with_class(root, "point") if float(mark.get("cy", "0")) > 40]
    assert len([mark for mark in in_plot if "point-ended" in mark.get("class", "")]) == 2
    assert len([mark for mark in in_plot if "point-open" in mark.get("class", "")]) == 1
    assert "ended" in "".join(root.itertext())
    assert "still good when last seen" in "".join(root.itertext())


def test_points_alone_draw_without_a_curve() -> None:
    root = drawn(charts.bands([], middle=[], points=[Point(5, 1)], title="t", says="s", x_label="x", y_label="y"))
    assert len(with_class(root, "point-ended")) == 2  # the point and its key


def test_two_bands_differ_and_the_wider_lies_below() -> None:
    root = drawn(a_curve(bands=[([0, 0, 0], [1, 1, 1]), ([0.2] * 3, [0.6] * 3)], band_words=("90 %", "50 %")))
    order = [element.get("class") for element in root.iter("path")]
    assert order[:3] == ["band band-2", "band band-1", "line line-1"]


def test_percent_axes_are_labelled_as_percent() -> None:
    assert "100\u00a0%" in a_curve(y_share=True)


def test_stock_is_a_staircase_that_holds_through_its_day() -> None:
    root = drawn(charts.steps(days(3), [10, 6, 8], title="t", says="s", y_label="tips"))
    stairs = next(element for element in with_class(root, "line-1") if element.tag == "path").get("d", "")
    corners = [tuple(map(float, pair.split())) for pair in re.split("[ML]", stairs) if pair]
    assert len(corners) == 6
    assert corners[0][1] == corners[1][1]
    assert corners[1][0] == corners[2][0]
    assert corners[2][1] > corners[0][1], "less stock lies lower on the paper"


def test_the_shortage_day_and_the_order_line_are_marked_in_words() -> None:
    svg = charts.steps(
        days(10),
        [5 - day for day in range(10)],
        title="Stock",
        says="Short from 30 Nov",
        y_label="tips",
        threshold=3,
        shortage=START + timedelta(days=5),
    )
    root = drawn(svg)
    words = "".join(root.itertext())
    assert "short from 30 Nov" in words
    assert "order below this" in words
    assert with_class(root, "short-zone"), "what lies below nothing is shaded"


def test_bars_stand_on_nothing_also_when_they_hang() -> None:
    root = drawn(charts.day_bars(days(2), [4, -2], title="t", says="s", y_label="tips"))
    up, down = with_class(root, "bar")[:2]
    zero = next(float(line.get("y1", "")) for line in with_class(root, "grid-zero"))
    assert float(up.get("y", "")) + float(up.get("height", "")) == pytest.approx(zero, abs=0.11)
    assert float(down.get("y", "")) == pytest.approx(zero, abs=0.11)


def test_lines_differ_by_more_than_colour() -> None:
    root = drawn(
        charts.lines(
            [Series(name, [1, 2], [1, 2]) for name in ("modular", "solid", "target")],
            title="t",
            says="s",
            x_label="x",
            y_label="y",
            marks=[Mark(2, "least cost " * 9, "good")],
        )
    )
    assert [with_class(root, f"line-{place}")[0].tag for place in (1, 2, 3)] == ["path"] * 3
    assert with_class(root, "mark-words")[0].get("text-anchor") == "end", "words at the edge turn inwards"


def test_words_of_a_mark_keep_clear_of_the_next_line() -> None:
    near = [Mark(50.0, "advised", "bad"), Mark(52.0, "today", "info")]
    series = [Series("together", [0.0, 100.0], [1.0, 2.0])]
    root = drawn(charts.lines(series, title="t", says="s", x_label="x", y_label="y", marks=near))
    assert [one.get("text-anchor") for one in with_class(root, "mark-words")] == ["end", "start"]


def shaded(*shades: Shade) -> ET.Element:
    return drawn(
        charts.lines(
            [Series("power", [2, 4, 6], [1, 3, 4])], title="t", says="s", x_label="x", y_label="y", shades=shades,
            zero=False,
        )
    )  # fmt: skip


def test_a_shaded_stretch_is_hatched_and_numbered_and_lies_below_the_line() -> None:
    root = shaded(Shade(4, 6, 1))
    box, number = with_class(root, "shade")[0], with_class(root, "shade-number")[0]
    left, right = float(box.get("x", "")), float(box.get("x", "")) + float(box.get("width", ""))
    assert number.text == "1"
    assert left < float(number.get("x", "")) < right
    hatch = [float(at) for at in re.findall(r"[ML]\s*(-?[\d.]+)", with_class(root, "shade-lines")[0].get("d", ""))]
    assert hatch
    assert left - 0.2 <= min(hatch) <= max(hatch) <= right + 0.2, "the hatch stays within its stretch"
    order = [element.get("class") for element in root.iter() if element.get("class")]
    assert order.index("shade") < order.index("line line-1")


def test_shaded_stretches_stay_on_the_paper_and_tell_themselves_apart() -> None:
    root = shaded(Shade(-5, 3, 1), Shade(5, 99, 2), Shade(4, 4, 3))
    boxes = [(float(box.get("x", "")), float(box.get("width", ""))) for box in with_class(root, "shade")]
    assert [text.text for text in with_class(root, "shade-number")] == ["1", "2", "3"]
    assert all(left >= 0 and left + width <= 800 and width > 0 for left, width in boxes)
    assert boxes[0][0] + boxes[0][1] < boxes[1][0]
    assert len(with_class(root, "shade-lines")) == 2, "a stretch of no width has no room for hatching"


@pytest.mark.parametrize(
    ("used", "beyond"), [(0, False), (0.02, False), (0.9, False), (1.3, False), (1.31, True), (9e9, True)]
)
def test_a_gauge_shows_how_far_life_is_used(used: float, beyond: bool) -> None:
    root = drawn(charts.gauge(used, tone="caution", says="90 % of its life used"))
    assert bool(with_class(root, "beyond")) is beyond
    assert root.get("aria-label") == "90 % of its life used"
    assert with_class(root, "used-caution")


def test_a_gauge_refuses_what_cannot_be() -> None:
    with pytest.raises(CannotDraw, match="below nothing"):
        charts.gauge(-0.1, tone="good", says="s")
    with pytest.raises(CannotDraw, match="above it"):
        charts.gauge(0.1, tone="good", says="s", change_by=0)
    with pytest.raises(CannotDraw, match="no tone"):
        charts.gauge(0.1, tone="purple", says="s")


def test_an_interval_goes_from_low_to_high() -> None:
    root = drawn(charts.interval(10, 20, 40, top=80, says="10 to 40", unit="min"))
    span, middle = with_class(root, "span")[0], with_class(root, "middle")[0]
    assert (
        float(span.get("x", "")) < float(middle.get("x1", "")) < float(span.get("x", "")) + float(span.get("width", ""))
    )
    assert root.get("aria-label") == "10 to 40 min"
    with pytest.raises(CannotDraw, match="low over middle"):
        charts.interval(10, 5, 40, top=80, says="s")


def test_the_table_beneath_escapes_its_text_and_names_its_rows() -> None:
    table = charts.data_table(HOSTILE, ["Day", "Tips"], [["1 Dec", 4], [HOSTILE, "<b>"]])
    assert "<script" not in table
    assert "<b>" not in table
    assert '<th scope="row">1 Dec</th><td class="num">4</td>' in table


def test_an_attribute_is_escaped_even_when_its_text_is_safe_markup() -> None:
    assert str(tag("g", class_=tag("b"))) == '<g class="&lt;b/&gt;"/>'
    assert str(tag("text", "5 < 6")) == "<text>5 &lt; 6</text>"
    assert str(tag("g", x=None)) == "<g/>"


# ---- axes by ratios, histograms, points told apart -----------------------------------------------------


def test_by_ratios_each_doubling_is_as_long_as_the_next() -> None:
    scale = LogScale(10, 80, 0, 300)
    assert [round(scale(value)) for value in (10, 20, 40, 80)] == [0, 100, 200, 300]
    assert scale.clamp(1) == 0
    assert LogScale(4, 4, 0, 100)(4) == 50


@given(st.floats(1e-3, 1e6), st.floats(1.01, 1e5))
def test_ticks_by_ratios_span_the_values_and_rise(low: float, ratio: float) -> None:
    at = log_ticks(low, low * ratio)
    assert at == sorted(set(at))
    assert at[0] > 0
    assert at[0] <= low * 1.0001
    assert at[-1] >= low * ratio * 0.9999
    assert 2 <= len(at) <= 16


def a_log_chart(**more: object) -> str:
    kept: dict[str, object] = {
        "points": [
            Point(60, 40),
            Point(80, 22, look="broken"),
            Point(70, 30, ended=False),
            Point(66, 5, look="excused"),
        ],
        "lines": [Series("half outlast it", [50, 100], [80, 10]), Series("starting value", [50, 100], [60, 15])],
        "ranges": [Range("eight in ten", [40, 0.0001], [160, 20])],
        "shades": [Shade(50, 60, 1)],
        "title": "Life over speed",
        "says": "It falls",
        "x_label": "m/min",
        "y_label": "minutes",
    }
    return charts.log_scatter(**{**kept, **more})  # type: ignore[arg-type]  # the keywords vary by test


def test_a_power_law_is_a_straight_line_and_each_look_has_its_shape() -> None:
    root = drawn(a_log_chart(lines=[Series("law", [50, 70.71067811865476, 100], [80, 40, 20])], ranges=[]))
    (line,) = (one for one in with_class(root, "line-1") if one.tag == "path")
    (x0, y0), (x1, y1), (x2, y2) = (map(float, pair.split()) for pair in line.get("d", "")[1:].split("L"))
    assert x1 - x0 == pytest.approx(x2 - x1, abs=0.11)
    assert y1 - y0 == pytest.approx(y2 - y1, abs=0.11)
    # One of each in the plot, one in the key.
    for look in ("point-ended", "point-broken", "point-open", "point-excused"):
        assert len(with_class(root, look)) == 2, look
    assert with_class(root, "point-broken")[0].tag == "path"
    assert len(with_class(root, "point-cross")) == 2


def test_a_band_beyond_the_axes_is_cut_off_at_them() -> None:
    root = drawn(a_log_chart())
    (band,) = (one for one in with_class(root, "band-1") if one.tag == "path")
    heights = [float(pair.split()[1]) for pair in re.findall(r"[ML]([^MLZ]+)", band.get("d", ""))]
    assert min(heights) >= 44
    assert max(heights) <= 274
    assert len(with_class(root, "shade")) == 1


@pytest.mark.parametrize(
    "more",
    [
        {"points": [Point(0, 10)]},
        {"points": [Point(60, -1)]},
        {"lines": [Series("law", [50, 0], [80, 20])], "ranges": []},
        {"ranges": [Range("r", [1], [2, 3])]},
        {"points": [Point(math.nan, 10)]},
    ],
)
def test_what_has_no_place_on_axes_by_ratios_is_refused(more: dict[str, object]) -> None:
    with pytest.raises(CannotDraw):
        a_log_chart(**more)


def test_by_ratios_too_nothing_to_draw_is_said() -> None:
    assert "Nothing to draw yet" in a_log_chart(points=[], lines=[], ranges=[])
    assert "Nothing to draw yet" in charts.share_bars(
        ["a"], [None], title="T", says="S", x_label="x", y_label="y", right=0.1
    )


def test_a_histogram_has_a_bar_for_what_is_known_and_the_height_that_is_right() -> None:
    root = drawn(
        charts.share_bars(
            ["low", "middle", HOSTILE], [0.1, 0.2, None], title="T", says="S", x_label="x", y_label="y", right=0.1
        )
    )
    bars = [one for one in with_class(root, "bar") if one.get("height") != "12"]
    assert len(bars) == 2
    assert float(bars[1].get("height", 0)) == pytest.approx(2 * float(bars[0].get("height", 0)), abs=0.11)
    assert len([one for one in with_class(root, "threshold") if one.tag == "line"]) == 2


def test_a_long_key_goes_on_in_the_next_line() -> None:
    root = drawn(
        a_curve(
            points=[Point(1, 1), Point(2, 1, ended=False), Point(3, 1, look="broken"), Point(4, 1, look="excused")],
            also=[Series("as the edges fell away", [0, 5], [1, 1])],
            point_words=("worn", "taken off before its end, or still in use"),
        )
    )
    key = with_class(root, "key")
    assert len({one.get("y") for one in key}) == 2
    assert all(float(one.get("x", 0)) + 7 * len(one.text or "") <= 720 for one in key)
    assert len([one for one in with_class(root, "line-2") if one.tag == "path"]) == 1
