"""What a life curve's page adds to the curve itself: life over speed, and the starting value beside what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from crib.life import selectors
from crib.life.models import LifeModel
from crib.life.words import evidence
from crib.web import charts, formats

POINT_WORDS = ("worn", "off before its end, or in use")


@dataclass(frozen=True, slots=True)
class ComparedShown:
    """One figure before and now, each with its range drawn on the same scale."""

    of: selectors.SaidAndSeen
    start: SafeString
    relatives: SafeString | None
    now: SafeString

    @property
    def start_words(self) -> str:
        return _words(self.of.start)

    @property
    def relatives_words(self) -> str:
        return _words(self.of.relatives) if self.of.relatives else ""

    @property
    def now_words(self) -> str:
        return _words(self.of.now)


def pictures_of(model: LifeModel, curve: selectors.LifeCurve, system: str) -> dict[str, Any]:
    """For the templates of the life curve's page."""
    over_speed = selectors.life_over_speed(model=model, curve=curve)
    worth = selectors.worth_by_model(model=model).get(model.pk, selectors.Worth())
    return {
        "over_speed": over_speed,
        "speed_chart": _speed_chart(over_speed, curve, system) if over_speed else None,
        "compared": [_shown(one) for one in selectors.said_and_seen(model=model, duty=curve.duty)],
        "evidence": evidence(model),
        "record": selectors.Judged(model, selectors.held_of(model=model), worth),
    }


def points_of(curve: selectors.LifeCurve) -> list[charts.Point]:
    """The edges behind a curve, where they stand on it."""
    return [charts.Point(edge.counted, edge.outlasted, ended=edge.ended, look=edge.look) for edge in curve.seen]


def stairs_of(curve: selectors.LifeCurve) -> list[charts.Series]:
    """The edges without a law, as stairs beside the curve."""
    ages, shares = curve.without_a_law
    return [charts.Series("as the edges fell away", ages, shares)] if ages else []


def _speed_chart(law: selectors.LifeOverSpeed, curve: selectors.LifeCurve, system: str) -> SafeString:
    def shown(speed: float) -> float:
        return formats.in_units(speed, "m/min", system)

    unit, speeds = formats.unit_for("m/min", system), [shown(speed) for speed in law.speeds]
    ends = [(law.speeds[0], law.cut_from), (law.cut_to, law.speeds[-1])]
    drawn = charts.log_scatter(
        [
            charts.Point(shown(edge.duty.surface_speed), edge.at_its_speed, ended=edge.ended, look=edge.look)
            for edge in curve.seen
            if edge.at_its_speed and edge.duty.surface_speed
        ],
        lines=[
            charts.Series("half outlast it", speeds, law.half),
            charts.Series("starting value", speeds, law.start),
        ],
        ranges=[charts.Range("eight in ten end between", law.low, law.high)],
        shades=[charts.Shade(shown(low), shown(high), 1) for low, high in ends if low and high and low < high],
        title="Life over surface speed",
        says="Minutes that half the edges outlast at each speed, on axes by ratios; points are the edges behind it.",
        x_label=f"surface speed, {unit}",
        y_label="minutes",
        point_words=POINT_WORDS,
    )
    rows = [
        [f"{speed:.3g} {unit}", formats.minutes(half), f"{formats.minutes(low)} to {formats.minutes(high)}",
         formats.minutes(start)]
        for speed, half, low, high, start in list(zip(speeds, law.half, law.low, law.high, law.start, strict=True))[::3]
    ]  # fmt: skip
    heads = ["Surface speed", "Half outlast", "Eight in ten end between", "Starting value"]
    return mark_safe(drawn + charts.data_table("Life over surface speed", heads, rows))  # both escaped


def _words(figure: selectors.Figure) -> str:
    low, middle, high = (formats.number(value, figures=3) for value in (figure.low, figure.middle, figure.high))
    return f"{middle}, range {low} to {high}"


def _shown(one: selectors.SaidAndSeen) -> ComparedShown:
    top = max(figure.high for figure in (one.start, one.relatives, one.now) if figure)

    def drawn(figure: selectors.Figure, words: str) -> SafeString:
        return charts.interval(figure.low, figure.middle, figure.high, top=top, says=f"{one.name}: {words}")

    relatives = drawn(one.relatives, "with its relatives") if one.relatives else None
    return ComparedShown(one, drawn(one.start, "starting value"), relatives, drawn(one.now, "now"))
