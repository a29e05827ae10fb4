"""The what-if page in words, figures and charts of the reader's units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.conf import settings
from django.utils.safestring import SafeString

from calc.units import System, readers_unit, unit_named, ureg
from crib.floor.models import KindOfCut, Operation
from crib.floor.selectors import spindle_speed
from crib.life.selectors.what_if import Best, Spread, Way, WhatIf, WhatIfCurve
from crib.web import charts
from crib.web.formats import NOTHING, amount, minutes, money, number, parts, share, unit_for

ROWS = 11
NAMES = {"surface_speed": "Surface speed", "feed": "Feed", "depth": "Depth of cut", "width": "Width of cut"}
UNITS = {"surface_speed": "m/min", "feed": "mm", "depth": "mm", "width": "mm"}


@dataclass(frozen=True, slots=True)
class Compared:
    """One line of the comparison: now, as asked, and by how much they differ; ranges stand below."""

    label: str
    now: str
    asked: str
    change: str
    now_range: str = ""
    asked_range: str = ""


@dataclass(frozen=True, slots=True)
class Drawn:
    """The charts along one condition, with the words of what is shaded and of what is best."""

    title: str
    charts: tuple[SafeString, ...]
    best: tuple[str, ...]
    shaded: tuple[str, ...]
    table: SafeString


def compared(found: WhatIf, system: System) -> list[Compared]:
    """Now and asked, line by line; conditions and figures that neither has are left out."""
    now, asked = found.now, found.asked
    rows = [*_conditions(now.operation, asked.operation, system), *_lives(now, asked)]
    currency = settings.CURRENCY

    def of_money(value: float) -> str:
        return money(value, currency)

    rows += _spread("Cost per part", now.cost, asked.cost, of_money)
    for words, name in (
        ("machine time in cut", "machine_cost"), ("edges", "edge_cost"), ("changes", "change_cost"),
        ("failures", "failure_cost"),
    ):  # fmt: skip
        before, after = getattr(now, name), getattr(asked, name)
        if before is not None and after is not None:
            rows.append(Compared(f"of it {words}", of_money(before), of_money(after), _change(before, after)))
    rows += _spread("Parts per hour", now.parts_per_hour, asked.parts_per_hour, _figure)
    rows += _spread("Edges a month", now.edges_per_month, asked.edges_per_month, _figure)
    return rows


def _figure(value: float) -> str:
    return number(value, figures=3)


def _conditions(now: Operation, asked: Operation, system: System) -> list[Compared]:
    pairs: list[tuple[str, float | None, float | None, str]] = [
        (NAMES[name], getattr(now, name), getattr(asked, name), UNITS[name]) for name in NAMES
    ]
    pairs.insert(1, ("Spindle speed", spindle_speed(now), spindle_speed(asked), "1/min"))
    milled = now.kind_of_cut in (KindOfCut.MILLING, KindOfCut.CHAMFERING)
    rows = []
    for words, before, after, unit in pairs:
        if before is None or after is None:
            continue
        shown = ("mm/tooth" if milled else "mm/rev") if words == "Feed" else unit
        rows.append(
            Compared(words, amount(before, shown, system), amount(after, shown, system), _change(before, after))
        )
    if now.passes > 1 or asked.passes > 1:
        rows.append(Compared("Passes", str(now.passes), str(asked.passes), _change(now.passes, asked.passes)))
    return rows


def _lives(now: Way, asked: Way) -> list[Compared]:
    rows = []
    each, after = now.operation.minutes_per_part, asked.operation.minutes_per_part
    if each and after:
        rows.append(Compared("Minutes in cut per part", _minutes(each), _minutes(after), _change(each, after)))
    rows.append(
        Compared(
            "Minutes that half the edges reach", minutes(now.life[50]), minutes(asked.life[50]),
            _change(now.life[50], asked.life[50]),
            f"{minutes(now.life[10])} to {minutes(now.life[90])}",
            f"{minutes(asked.life[10])} to {minutes(asked.life[90])}",
        )
    )  # fmt: skip
    if now.parts and asked.parts:
        rows.append(
            Compared(
                "Parts that half the edges reach", parts(now.parts[50]), parts(asked.parts[50]),
                _change(now.parts[50], asked.parts[50]),
                f"{parts(now.parts[10])} to {parts(now.parts[90])}",
                f"{parts(asked.parts[10])} to {parts(asked.parts[90])}",
            )
        )  # fmt: skip
    before, later = now.change_parts or now.change_minutes or 0, asked.change_parts or asked.change_minutes or 0
    rows.append(Compared("Change after", _change_by(now), _change_by(asked), _change(before, later)))
    rows.append(
        Compared("Chance to end before its change", share(now.chance_of_failure), share(asked.chance_of_failure), "")
    )
    return rows


def _minutes(value: float) -> str:
    return f"{number(value, figures=3)} min"


def _change_by(way: Way) -> str:
    if way.change_minutes is None:
        return "at its end"
    if way.change_parts is None:
        return f"{minutes(way.change_minutes)} min"
    return f"{parts(way.change_parts)} part{'' if way.change_parts == 1 else 's'}"


def _spread(label: str, now: Spread | None, asked: Spread | None, text: Callable[[float], str]) -> list[Compared]:
    if now is None or asked is None:
        return []
    return [
        Compared(
            label, text(now.middle), text(asked.middle), _change(now.middle, asked.middle),
            f"{text(now.low)} to {text(now.high)}", f"{text(asked.low)} to {text(asked.high)}",
        )
    ]  # fmt: skip


def _change(before: float, after: float) -> str:
    if not before or not after:
        return ""
    percent = 100 * (after / before - 1)
    if abs(percent) < 0.05:
        return "same"
    text = f"{abs(percent):.0f}" if abs(percent) >= 9.95 else f"{abs(percent):.1f}"
    return f"{'+' if percent > 0 else '−'}{text} %"


def drawn(found: WhatIf, system: System) -> list[Drawn]:
    """Each curve's charts with what stands beneath them."""
    return [_drawn(found, curve, system) for curve in found.curves]


def _drawn(found: WhatIf, curve: WhatIfCurve, system: System) -> Drawn:
    unit = UNITS[curve.over]
    xs = _turned(curve.at, unit, system)
    name = NAMES[curve.over].lower()
    label = f"{name} ({unit_for(unit, system)})"
    shades = []
    for place, one in enumerate(curve.stretches, start=1):
        start, stop = _turned((one.start, one.stop), unit, system)
        shades.append(charts.Shade(start, stop, place))
    marks = [charts.Mark(_turned((getattr(found.now.operation, curve.over),), unit, system)[0], "now", "info")]
    if found.changed and getattr(found.asked.operation, curve.over) != getattr(found.now.operation, curve.over):
        marks.append(charts.Mark(_turned((getattr(found.asked.operation, curve.over),), unit, system)[0], "asked"))
    pictures = []
    if curve.cost is not None:
        best = [(curve.cheapest, "least cost"), (curve.fastest, "most output")]
        also = [charts.Mark(_turned((one.at,), unit, system)[0], words, "good") for one, words in best if one]
        title = f"Cost per part against {name}"
        pictures.append(
            charts.bands(
                xs, middle=curve.cost[50], bands=[(curve.cost[10], curve.cost[90])], marks=[*marks, *also],
                shades=shades, title=title, says=f"{title}; the numbers are in the table beneath.", x_label=label,
                y_label=f"cost per part ({settings.CURRENCY})", middle_words="in the mean",
                band_words=["by what is not known of the life, 10–90 %"], zero=False,
            )
        )  # fmt: skip
    title = f"Minutes that edges last against {name}"
    pictures.append(
        charts.bands(
            xs, middle=curve.life[50], bands=[(curve.life[10], curve.life[90])], marks=marks, shades=shades,
            title=title, says=f"{title}; the numbers are in the table beneath.", x_label=label,
            y_label="minutes in cut", middle_words="half the edges reach", band_words=["eight in ten end here"],
        )
    )  # fmt: skip
    return Drawn(
        title=f"Against {name}",
        charts=tuple(pictures),
        best=tuple(_best_words(curve, system)),
        shaded=tuple(
            f"{amount(one.start, unit, system)} to {amount(one.stop, unit, system)}: {one.says}."
            for one in curve.stretches
        ),
        table=_table(curve, label, unit, system),
    )


def _best_words(curve: WhatIfCurve, system: System) -> list[str]:
    unit, currency = UNITS[curve.over], settings.CURRENCY
    said = []
    if curve.cheapest:
        cost = money(curve.cheapest.value, currency)
        said.append(f"Least cost at {_place(curve.cheapest, curve, unit, system)}: {cost} per part.")
    if curve.fastest:
        output = _figure(curve.fastest.value)
        said.append(f"Most output at {_place(curve.fastest, curve, unit, system)}: {output} parts per hour.")
    return said


def _place(best: Best, curve: WhatIfCurve, unit: str, system: System) -> str:
    at = f"{amount(best.at, unit, system)}{', the end of what is drawn' if best.at_end else ''}"
    return f"{at}, in a shaded stretch" if _inside(best.at, curve) else at


def _inside(at: float, curve: WhatIfCurve) -> bool:
    return any(one.start <= at <= one.stop for one in curve.stretches)


def _turned(values: Sequence[float], unit: str, system: System) -> list[float]:
    """Values of a listed unit in the reader's own."""
    factor = float(ureg.Quantity(1.0, unit_named(unit)).m_as(unit_named(readers_unit(unit, system))))
    return [value * factor for value in values]


def _table(curve: WhatIfCurve, label: str, unit: str, system: System) -> SafeString:
    step = max(1, (len(curve.at) - 1) // (ROWS - 1))
    rows = []
    for place in range(0, len(curve.at), step):
        at = curve.at[place]
        holds = "; ".join(one.says for one in curve.stretches if one.start <= at <= one.stop) or NOTHING
        life = (
            f"{minutes(curve.life[50][place])} ({minutes(curve.life[10][place])} to {minutes(curve.life[90][place])})"
        )
        cells = [amount(at, unit, system), life]
        if curve.cost is not None:
            low, middle, high = (number(curve.cost[percent][place], figures=4) for percent in (10, 50, 90))
            cells.append(f"{middle} ({low} to {high})")
        if curve.per_hour is not None:
            cells.append(_figure(curve.per_hour[place]))
        rows.append([*cells, holds])
    heads = [label, "Minutes half reach (8 in 10)"]
    if curve.cost is not None:
        heads.append(f"Cost per part, {settings.CURRENCY} (10–90 %)")
    if curve.per_hour is not None:
        heads.append("Parts per hour")
    return charts.data_table(f"Along {NAMES[curve.over].lower()}", [*heads, "Limit or warning"], rows)
