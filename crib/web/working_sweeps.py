"""A calculator's results drawn against one of its inputs, limits shaded, with a table for those who do not see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from django.utils.safestring import SafeString

from calc.errors import WorkingError
from calc.units import System, readers_unit, show, show_number, unit_named, ureg
from calc.workings import Answer, Input, InputErrors, Kind, Working
from calc.workings.sweep import Curve, Stretch, Sweep, sweep, sweepable
from crib.life.known import look_up
from crib.web import charts
from crib.web.formats import unit_for
from crib.web.working_fields import Asked, with_unit

OVER, OF, AND, FROM, TO = "sweep", "sweep_of", "sweep_and", "sweep_from", "sweep_to"
NAMES = (OVER, OF, AND, FROM, TO)
POINTS, ROWS, MOST_LINES = 100, 12, 3
DRAWN = (Kind.QUANTITY, Kind.NUMBER, Kind.COUNT, Kind.OBJECT)


@dataclass(frozen=True)
class SweepForm:
    """What may be drawn against what, and what was chosen."""

    inputs: tuple[tuple[str, str], ...]
    results: tuple[tuple[str, str], ...]
    chosen: Mapping[str, str]

    @property
    def over(self) -> str:
        return self.chosen[OVER]

    @property
    def of(self) -> str:
        return self.chosen[OF]

    @property
    def also(self) -> str:
        return self.chosen[AND]

    @property
    def start(self) -> str:
        return self.chosen[FROM]

    @property
    def stop(self) -> str:
        return self.chosen[TO]


@dataclass(frozen=True)
class Drawn:
    """The charts of a sweep with what stands beneath them; or why there are none."""

    title: str = ""
    charts: tuple[SafeString, ...] = ()
    shaded: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    table: SafeString = field(default_factory=SafeString)
    wrong: tuple[str, ...] = ()


def sweep_form(working: Working, query: Mapping[str, str]) -> SweepForm:
    """The choices of a working's sweep, from its declaration."""
    chosen = {name: query.get(name, "").strip() for name in NAMES}
    results = tuple((result.name, result.label) for result in working.results if result.kind in DRAWN)
    return SweepForm(tuple((entry.name, entry.label) for entry in sweepable(working)), results, chosen)


def draw_sweep(working: Working, asked: Asked, answer: Answer | None, form: SweepForm, system: System) -> Drawn | None:
    """The sweep that was asked for, when one was and there is an answer to go out from."""
    if not form.over or answer is None:
        return None
    try:
        entry = next((entry for entry in sweepable(working) if entry.name == form.over), None)
        start, stop = _range(entry, answer, form, system) if entry else ("", "")
        swept = sweep(working.name, asked.raw, form.over, start, stop, POINTS, system, look_up)
    except InputErrors as problems:
        return Drawn(wrong=tuple(problem.sentence for problem in problems.problems))
    except WorkingError as problem:
        return Drawn(wrong=(problem.sentence,))
    wanted = [name for name in (form.of or _first_that_changes(swept), form.also) if name]
    return _drawn(swept, list(dict.fromkeys(wanted)), answer, system)


def _range(entry: Input, answer: Answer, form: SweepForm, system: System) -> tuple[object, object]:
    """The range as typed; an end left empty is half or twice the value at hand, within what the input may be."""
    ends: list[object] = [with_unit(entry, form.start, system), with_unit(entry, form.stop, system)]
    now = answer.inputs[entry.name].value if entry.name in answer.inputs else None
    if not isinstance(now, int | float):
        return ends[0], ends[1]
    low, high = (0.5 * now, 2.0 * now) if now else (0.0, 1.0)
    lowest, highest = (entry.lowest, entry.highest)
    low = low if lowest is None else max(low, lowest)
    high = high if highest is None else min(high, highest)
    if entry.kind is Kind.COUNT:
        low, high = max(1, now // 2), 2 * now
    return (low if ends[0] == "" else ends[0]), (high if ends[1] == "" else ends[1])


def _first_that_changes(swept: Sweep) -> str:
    """The result that people look for first and that the input moves at all."""
    moving = [curve.result.name for curve in swept.curves if len(set(curve.values)) > 1]
    for name in (*swept.working.headline, *moving):
        if name in moving and name != swept.over.name:
            return name
    return swept.curves[0].result.name if swept.curves else ""


def _drawn(swept: Sweep, wanted: list[str], answer: Answer, system: System) -> Drawn:
    known = {curve.result.name for curve in swept.curves}
    if missing := [name for name in wanted if name not in known]:
        label = next((result.label for result in swept.working.results if result.name == missing[0]), missing[0])
        needs = next((result.needs for result in swept.working.results if result.name == missing[0]), "")
        return Drawn(wrong=(f"{label} was not worked out. {needs}".strip(),))
    lines = [curve for name in wanted for curve in swept.curves if curve.result.name == name]
    over = f"{swept.over.label} ({_sign(swept.over.unit, swept.over.kind, system)})".replace(" ()", "")
    return Drawn(
        title=f"{lines[0].result.label} against {swept.over.label.lower()}" if lines else "",
        charts=tuple(_chart(swept, name, over, answer, system) for name in wanted),
        shaded=tuple(_stretch_words(swept, stretch, system) for stretch in swept.stretches),
        ends=swept.ends,
        table=_table(swept, lines, over, system),
    )


def _chart(swept: Sweep, name: str, over: str, answer: Answer, system: System) -> SafeString:
    curves = [curve for curve in swept.curves if curve.result.name == name][:MOST_LINES]
    result = curves[0].result
    series = []
    for curve in curves:
        seen = [(at, value) for at, value in zip(swept.at, curve.values, strict=True) if value is not None]
        xs, ys = zip(*seen, strict=True) if seen else ((), ())
        series.append(
            charts.Series(
                _name(curve), _turned(xs, swept.over.unit, swept.over.kind, system),
                _turned(ys, result.unit, result.kind, system),
            )
        )  # fmt: skip
    shades = []
    for number, one in enumerate(swept.stretches, start=1):
        start, stop = _turned((one.start, one.stop), swept.over.unit, swept.over.kind, system)
        shades.append(charts.Shade(start, stop, number))
    now = answer.inputs[swept.over.name].value if swept.over.name in answer.inputs else None
    marks = []
    if isinstance(now, int | float) and swept.at[0] <= now <= swept.at[-1]:
        marks = [charts.Mark(_turned((now,), swept.over.unit, swept.over.kind, system)[0], "now")]
    sign = _sign(result.unit, result.kind, system)
    title = f"{result.label} against {swept.over.label.lower()}"
    return charts.lines(
        series, title=title, says=f"{title}; the numbers are in the table beneath.", x_label=over,
        y_label=f"{result.label} ({sign})" if sign else result.label, marks=marks, shades=shades, zero=False,
    )  # fmt: skip


def _name(curve: Curve) -> str:
    """What a line is called; one of several percentiles says which."""
    percent = curve.name.rpartition(".")[2].isdigit()
    return f"{curve.label} %" if percent else curve.label


def _sign(unit: str, kind: Kind, system: System) -> str:
    return unit_for(unit, system) if kind in (Kind.QUANTITY, Kind.OBJECT) else unit


def _turned(values: tuple[float, ...], unit: str, kind: Kind, system: System) -> list[float]:
    """Values of a listed unit in the reader's own."""
    read = readers_unit(unit, system) if kind in (Kind.QUANTITY, Kind.OBJECT) else unit
    if read == unit or not values:
        return list(values)
    factor = float(ureg.Quantity(1.0, unit_named(unit)).m_as(unit_named(read)))
    return [value * factor for value in values]


def _text(value: float | None, unit: str, kind: Kind, system: System) -> str:
    if value is None:
        return "–"
    if unit and kind in (Kind.QUANTITY, Kind.OBJECT):
        return show(ureg.Quantity(value, unit_named(unit)), system, unit)
    return show_number(value)


def _stretch_words(swept: Sweep, stretch: Stretch, system: System) -> str:
    start, stop = (_text(at, swept.over.unit, swept.over.kind, system) for at in (stretch.start, stretch.stop))
    return f"{start} to {stop}: {stretch.says}."


def _table(swept: Sweep, curves: list[Curve], over: str, system: System) -> SafeString:
    """About a dozen rows, evenly chosen, the last one among them."""
    step = max(1, (len(swept.at) - 1) // (ROWS - 1))
    places = list(range(0, len(swept.at), step))
    rows = []
    for place in places:
        at = swept.at[place]
        limits = "; ".join(one.says for one in swept.stretches if one.start <= at <= one.stop)
        cells = [_text(curve.values[place], curve.result.unit, curve.result.kind, system) for curve in curves]
        rows.append(
            [_text(at, swept.over.unit, swept.over.kind, system), *cells, *([limits] if swept.stretches else [])]
        )
    heads = [over, *(_name(curve) for curve in curves), *(["Limit or warning"] if swept.stretches else [])]
    return charts.data_table(f"Along {swept.over.label.lower()}", heads, rows)
