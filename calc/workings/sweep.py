"""Sweeps: the results of a working against one of its inputs, with the limits and warnings along the way."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pint

from calc.errors import WorkingError
from calc.units import System, said, show, show_number, unit_named, ureg
from calc.workings import compute, get, out_of_range
from calc.workings.declaration import Found, Given, Input, Kind, Mark, Result, Shop, Working
from calc.workings.reading import read_inputs, read_one

FEWEST_POINTS, MOST_POINTS = 2, 500
MOST_ONE_BY_ONE = 60
HALVINGS = 24  # which find the end of what can be worked out: past a screen's resolution
SWEPT = (Kind.QUANTITY, Kind.NUMBER, Kind.COUNT)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where along a sweep a limit or a warning applies, from one value of the input to another."""

    name: str
    says: str
    start: float
    stop: float

    def as_dict(self) -> dict[str, Any]:
        """The stretch as the API writes it."""
        return {"name": self.name, "says": self.says, "from": self.start, "to": self.stop}


@dataclass(frozen=True, slots=True)
class Curve:
    """One result along a sweep, in its declared unit; None where there is none."""

    result: Result
    name: str
    label: str
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Sweep:
    """Results against one input: the curves, the stretches under a limit, and why it ends early if it does."""

    working: Working
    over: Input
    at: tuple[float, ...]
    curves: tuple[Curve, ...]
    stretches: tuple[Stretch, ...]
    ends: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The sweep as plain JSON data."""
        return {
            "over": {"name": self.over.name, "label": self.over.label, "unit": self.over.unit, "values": list(self.at)},
            "results": {
                curve.name: {"label": curve.label, "unit": curve.result.unit, "values": list(curve.values)}
                for curve in self.curves
            },
            "limits": [stretch.as_dict() for stretch in self.stretches],
            "ends": list(self.ends),
        }


def sweepable(working: Working) -> tuple[Input, ...]:
    """The inputs that results can be drawn against: every plain quantity, number and count.

    Parameters
    ----------
    working : the declaration

    Returns
    -------
    its inputs that can be swept

    >>> [entry.name for entry in sweepable(get("corner-feed"))]
    ['diameter', 'corner_radius', 'feed_rate']
    """
    return tuple(entry for entry in working.inputs if entry.kind in SWEPT)


def sweep(
    name: str,
    raw_inputs: Mapping[str, object],
    over: str,
    start: object,
    stop: object,
    points: object = 100,
    system: System = "metric",
    shop: Shop | None = None,
) -> Sweep:
    """Work out all results of a working along a range of one input, in one array call where the working takes arrays.

    Where a part of the range cannot be worked out, such as a radial depth beyond the diameter, the sweep ends before it
    and says why.

    Parameters
    ----------
    name : of the working
    raw_inputs : as for `run`; what is said of `over` there is where the sweep begins to look for what can be done
    over : name of the input that is swept; it takes the place of another way to say the same
    start, stop : the range, as one would give the input; start below stop
    points : how many, from 2 to 500; a working that takes no arrays is asked at up to 60
    system : "metric" or "inch", for sentences
    shop : looks up what is named

    Returns
    -------
    the curves with the stretches under limits

    Raises
    ------
    UnknownWorking : when there is none of that name
    InputErrors : with every problem of the inputs, each naming its field
    WorkingError : when the range makes no sense, or nothing in it can be worked out

    >>> asked = {"diameter": 16, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.1}
    >>> swept = sweep("milling", asked, "radial_depth", 1, 20, points=5)
    >>> [round(value, 3) for value in swept.at], swept.ends[0][:39]
    ([1.0, 4.75, 8.5, 12.25, 16.0], 'From 16 mm on: Radial depth cannot be m')
    """
    working = get(name)
    entry = _entry(working, over)
    low, high = _range(entry, start, stop)
    count = _count(points)
    given = _read(working, entry, _without_other_ways(working, entry, raw_inputs), low, system, shop)
    ends: list[str] = []
    try:
        at = _grid(working, entry, low, high, count)
        found = _along(working, given, entry, at)
    except WorkingError:
        low, high, ends = _narrowed(working, given, entry, low, high)
        at = _grid(working, entry, low, high, count)
        found = _along(working, given, entry, at)
    return Sweep(
        working=working,
        over=entry,
        at=tuple(float(value) for value in at),
        curves=tuple(_curves(working, found, len(at))),
        stretches=tuple(_stretches(found.marks, at)),
        ends=tuple(ends),
    )


def _entry(working: Working, over: str) -> Input:
    entry = next((entry for entry in sweepable(working) if entry.name == over), None)
    if entry is None:
        known = ", ".join(entry.name for entry in sweepable(working))
        raise WorkingError("over", f'"{str(over)[:40]}" cannot be drawn against; these can: {known}.')
    return entry


def _range(entry: Input, start: object, stop: object) -> tuple[float, float]:
    """Both ends in the input's unit."""
    ends = []
    for name, raw in (("from", start), ("to", stop)):
        if raw is None or raw == "":
            raise WorkingError(name, f"{said(name)} is missing: give both ends of the range of {entry.label.lower()}.")
        ends.append(_plain(read_one(entry, raw, name), entry))
    if not ends[0] < ends[1]:
        raise WorkingError("to", "To must be more than from: give the range from its lower to its upper end.")
    return ends[0], ends[1]


def _plain(value: Any, entry: Input) -> float:
    return float(value.m_as(unit_named(entry.unit)) if isinstance(value, pint.Quantity) else value)


def _count(points: object) -> int:
    if not isinstance(points, int) or isinstance(points, bool) or not FEWEST_POINTS <= points <= MOST_POINTS:
        raise WorkingError("points", f"Points must be a whole number from {FEWEST_POINTS} to {MOST_POINTS}.")
    return points


def _is_said(raw: Mapping[str, object], name: str) -> bool:
    return raw.get(name) not in (None, "")


def _without_other_ways(working: Working, entry: Input, raw: Mapping[str, object]) -> dict[str, object]:
    """The inputs without those that say the same as the swept one in another way."""
    if not entry.group:
        return dict(raw)
    group = next(group for group in working.groups if group.name == entry.group)
    others = {
        other.name
        for other in working.inputs
        if other.group == entry.group and other.belongs_to_way != entry.belongs_to_way
    }
    if group.needs == 1:
        return {name: value for name, value in raw.items() if name not in others}
    if not _is_said(raw, entry.name) and sum(_is_said(raw, name) for name in others) >= group.needs:
        raise WorkingError(
            "over", f"{entry.label} follows from what is given of {group.label}; draw against one of those instead."
        )
    return dict(raw)


def _read(
    working: Working, entry: Input, raw: dict[str, object], low: float, system: System, shop: Shop | None
) -> Given:
    """The inputs, with the swept one as given or, where it was not, at the low end of its range."""
    if not _is_said(raw, entry.name):
        raw[entry.name] = int(low) if entry.kind is Kind.COUNT else low
    return read_inputs(working, raw, system, shop)


def _grid(working: Working, entry: Input, low: float, high: float, points: int) -> Floats:
    grid = np.linspace(low, high, points if working.takes_arrays else min(points, MOST_ONE_BY_ONE))
    return np.unique(np.round(grid)) if entry.kind is Kind.COUNT else grid


def _with(given: Given, entry: Input, value: Any, many: bool) -> Given:
    kept = ureg.Quantity(value, unit_named(entry.unit)) if entry.kind is Kind.QUANTITY else value
    return replace(given, values={**given.values, entry.name: kept}, many=many, used=set())


def _at(working: Working, given: Given, entry: Input, value: float) -> Found:
    one = int(value) if entry.kind is Kind.COUNT else float(value)
    return compute(working, _with(given, entry, one, False))


def _along(working: Working, given: Given, entry: Input, at: Floats) -> Found:
    """Everything at all points: one call where the working takes arrays."""
    if working.takes_arrays:
        return compute(working, _with(given, entry, at, True))
    each = [_at(working, given, entry, value) for value in at]
    names = [name for name in each[0].results if all(name in found.results for found in each)]
    kinds = {mark.name: mark for found in each for mark in found.marks}
    return Found(
        results={name: [found.results[name] for found in each] for name in names},
        marks=[replace(mark, where=np.array([_applies(found, mark) for found in each])) for mark in kinds.values()],
    )


def _applies(found: Found, mark: Mark) -> bool:
    return any(other.name == mark.name and bool(other.where) for other in found.marks)


def _narrowed(working: Working, given: Given, entry: Input, low: float, high: float) -> tuple[float, float, list[str]]:
    """The part of a range about a value that can be worked out, and what stands in the way at its ends."""

    def problem(value: float) -> WorkingError | None:
        try:
            _at(working, given, entry, value)
        except WorkingError as found:
            return found
        return None

    asked = _plain(given.values[entry.name], entry)
    tries = [asked] if low <= asked <= high else []
    good = next((float(value) for value in (*tries, *np.linspace(low, high, 9)) if problem(value) is None), None)
    if good is None:
        raise problem(low) or out_of_range(working, given)
    first, before = _reach(problem, good, low)
    last, after = _reach(problem, good, high)
    if not first < last:
        raise after or before or out_of_range(working, given)
    ends = [f"Up to {_shown(entry, given, first)}: {before.sentence}"] if before else []
    ends += [f"From {_shown(entry, given, last)} on: {after.sentence}"] if after else []
    return first, last, ends


def _reach(
    problem: Callable[[float], WorkingError | None], good: float, bad: float
) -> tuple[float, WorkingError | None]:
    """How far one can go from a good value towards an end of the range, and what stops it."""
    found = problem(bad)
    if found is None:
        return bad, None
    for _ in range(HALVINGS):
        middle = (good + bad) / 2
        here = problem(middle)
        if here is None:
            good = middle
        else:
            bad, found = middle, here
    return good, found


def _shown(entry: Input, given: Given, value: float) -> str:
    if entry.kind is Kind.QUANTITY:
        return show(ureg.Quantity(value, unit_named(entry.unit)), given.system)
    return show_number(value)


def _curves(working: Working, found: Found, count: int) -> list[Curve]:
    """The results that are numbers; one that is several, such as percentiles, becomes as many curves."""
    curves = []
    for result in working.results:
        values = found.results.get(result.name)
        if isinstance(values, list) and values and isinstance(values[0], Mapping):
            values = {key: [value[key] for value in values] for key in values[0]}
        parts = values if isinstance(values, Mapping) else {"": values}
        for key, part in parts.items():
            line = _line(part, result, count)
            if line is not None:
                name, label = (f"{result.name}.{key}", f"{result.label} {key}") if key else (result.name, result.label)
                curves.append(Curve(result, name, label, line))
    return curves


def _line(part: Any, result: Result, count: int) -> tuple[float | None, ...] | None:
    """The numbers of one curve; None when they are none."""
    if isinstance(part, list):
        part = [one.m_as(unit_named(result.unit)) if isinstance(one, pint.Quantity) else one for one in part]
    elif isinstance(part, pint.Quantity):
        part = part.m_as(unit_named(result.unit))
    try:
        line = np.asarray(part)
    except ValueError:  # rows of unequal length are no numbers
        return None
    if line.dtype.kind not in "if" or line.shape not in ((), (count,)):
        return None
    return tuple(float(value) if np.isfinite(value) else None for value in np.broadcast_to(line, (count,)))


def _stretches(marks: list[Mark], at: Floats) -> list[Stretch]:
    """Each mark as the ranges in which it holds, from half a step before its first point to half a step after."""
    sides = np.concatenate([[at[0]], (at[1:] + at[:-1]) / 2, [at[-1]]])
    found = []
    for mark in marks:
        where = np.broadcast_to(np.asarray(mark.where, dtype=bool), at.shape)
        changes = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(int)))
        found += [
            Stretch(mark.name, mark.says, float(sides[start]), float(sides[stop]))
            for start, stop in zip(changes[::2], changes[1::2], strict=True)
        ]
    return found
