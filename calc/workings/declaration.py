"""What a working declares about itself, and what it computes with; everything else is generated from this."""

import enum
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias, cast

import numpy as np
import pint

from calc.errors import WorkingError
from calc.units import Quantity, System, show, show_number

GENERAL_CAUTIONS = (
    "These are starting values. The tool maker's limits, above all its highest speed and shortest clamping length, the "
    "machine's manual and the shop's safety rules come first; a qualified person approves conditions before the first "
    "cut.",
    "Guards closed, eye protection on, no hands near a turning spindle.",
)


class Kind(enum.Enum):
    """What an input or a result is, which decides how it is read, shown and described in the API."""

    QUANTITY = "quantity"
    NUMBER = "number"
    COUNT = "count"
    TEXT = "text"
    CHOICE = "choice"
    BOOL = "bool"
    LIST = "list"
    OBJECT = "object"


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of a working.

    Parameters
    ----------
    name : as the API, the page and the command line spell it
    label : what a person reads beside the field
    symbol : the standard's symbol, such as DC or vc
    unit : for a quantity, the unit of a bare number; for a plain number, only a word shown beside it ("per hour")
    kind : how it is read
    required : must be given on its own account (an input in a group is not: the group says how many are needed)
    group : name of the `Group` whose members are several ways to say one thing
    way : members of a group that belong together (kc11 and mc) share a way; default: the input's own name
    default : used when nothing is given; a number in `unit`
    assumed : sentence for the answer when the default is used ("" when the default needs no word)
    choices : the words a choice may be
    lowest, highest : bounds in `unit`, inclusive; `above` is an exclusive lower bound
    limit : of what several sources say of it, the smallest counts, as every limit must be kept
    from_lookup : whether a tool or machine of the shop may fill it; not where its name means something else there
    fields : members of an object, or of each row of a list of objects; empty for a list of plain numbers
    hint : a sentence of help beside the field
    missing : what is said when it is needed and not there, where its label alone does not tell enough
    example : a value that works, for pages and documentation
    """

    name: str
    label: str
    symbol: str = ""
    unit: str = ""
    kind: Kind = Kind.QUANTITY
    required: bool = False
    group: str = ""
    way: str = ""
    default: Any = None
    assumed: str = ""
    choices: tuple[str, ...] = ()
    above: float | None = None
    lowest: float | None = None
    highest: float | None = None
    limit: bool = False
    from_lookup: bool = True
    fields: tuple["Input", ...] = ()
    hint: str = ""
    missing: str = ""
    example: Any = None

    @property
    def belongs_to_way(self) -> str:
        """The way of its group that this input is part of."""
        return self.way or self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Several ways to say one thing, of which `needs` are to be given (none, when it is not `required`).

    `enough` lists sets of inputs, of the group or beside it, that will do instead: `compute` chooses the rest by them.
    """

    name: str
    label: str
    needs: int = 1
    required: bool = True
    enough: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One result, with the unit of its value; `needs` says what to give when it could not be worked out."""

    name: str
    label: str
    symbol: str = ""
    unit: str = ""
    kind: Kind = Kind.QUANTITY
    needs: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the working: what it says, the formula, the numbers put in, what comes out, and whence it is."""

    says: str
    formula: str
    with_numbers: str
    result: str
    source: str

    def as_dict(self) -> dict[str, str]:
        """The step as the API writes it."""
        return {
            "says": self.says, "formula": self.formula, "with_numbers": self.with_numbers,
            "result": self.result, "source": self.source,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Known:
    """What the shop knows of something that was named: values for inputs that were not given.

    Parameters
    ----------
    name : as the shop calls it
    values : name of an input -> what one would have given for it; those that a working does not ask for are passed over
    source : where the values come from, such as "assumed" or "fitted to 14 ended edges"; "" when they are its own
    sources : name of an input -> where that one comes from, when not from `source`
    """

    name: str
    values: Mapping[str, Any]
    source: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)


Shop: TypeAlias = Callable[[str, str, Mapping[str, str]], Known]
"""Looks up ("material", "Alloy 718", words): `words` holds every word that is looked up, such as {"tool": "CH90-10",
"material": "Alloy 718"}. Raises `WorkingError` with a sentence when there is no such thing."""

LOOKED_UP = ("tool", "item", "machine", "material")
"""Inputs of these names are words that the shop is asked for; an earlier one's values come before a later one's."""


class InputErrors(WorkingError):
    """Everything wrong with one set of inputs, for a form to show at once; it reads as its first problem."""

    def __init__(self, problems: Sequence[WorkingError]) -> None:
        super().__init__(problems[0].argument, problems[0].sentence)
        self.problems = tuple(problems)

    def by_field(self) -> dict[str, list[str]]:
        """Sentences per input, as a problem document lists them."""
        found: dict[str, list[str]] = {}
        for problem in self.problems:
            found.setdefault(problem.argument, []).append(problem.sentence)
        return found


@dataclass(frozen=True, slots=True)
class Given:
    """The inputs of one run, read and checked: what a working's `compute` receives.

    Parameters
    ----------
    values : name -> what was given, brought by a lookup, or taken by default; in a sweep one of them is an array
    system : the reader's units
    defaulted : names whose value is the default
    known : name of a lookup -> what the shop knows
    brought : name of an input -> the lookup that its value came from
    many : whether this is a sweep: the numbers alone are wanted then, and no words
    used : names that were read, for only a default that was used is an assumption worth a sentence
    """

    values: Mapping[str, Any]
    system: System = "metric"
    defaulted: frozenset[str] = frozenset()
    known: Mapping[str, Known] = field(default_factory=dict)
    brought: Mapping[str, str] = field(default_factory=dict)
    many: bool = False
    used: set[str] = field(default_factory=set)

    def _value(self, name: str) -> Any:
        """The value, noted as used."""
        self.used.add(name)
        return self.values[name]

    def __contains__(self, name: str) -> bool:
        """Whether `name` has a value, given or by default."""
        return self.values.get(name) is not None

    def quantity(self, name: str) -> Quantity:
        """The quantity `name`, which the declaration guarantees to be there."""
        value = self._value(name)
        if not isinstance(value, pint.Quantity):
            raise TypeError(f"{name} is not declared as a quantity")
        return value

    def quantity_or_none(self, name: str) -> Quantity | None:
        """The quantity `name`, or None when it was not given."""
        return self.quantity(name) if name in self else None

    def number(self, name: str) -> float:
        """The plain number `name`; in its own sweep the array of them."""
        value: Any = self._value(name)
        if isinstance(value, np.ndarray):
            return cast(float, value)
        return float(value)

    def number_or_none(self, name: str) -> float | None:
        """The plain number `name`, or None when it was not given."""
        return self.number(name) if name in self else None

    def count(self, name: str) -> int:
        """The whole number `name`; in its own sweep the array of them."""
        value: Any = self._value(name)
        if isinstance(value, np.ndarray):
            return cast(int, value)
        return int(value)

    def text(self, name: str) -> str:
        """The text or choice `name`."""
        return str(self._value(name))

    def yes(self, name: str) -> bool:
        """Whether `name` was said to be so; not given is no."""
        return name in self and bool(self._value(name))

    def rows(self, name: str) -> list[Any]:
        """The list `name`: plain numbers, or one mapping per row. Not given is empty."""
        return list(self._value(name)) if name in self else []

    def mapping(self, name: str) -> Mapping[str, Any]:
        """The object `name`. Not given is empty."""
        found: Mapping[str, Any] = self._value(name) if name in self else {}
        return found

    def show(self, value: Quantity | float, unit: str | None = None) -> str:
        """A quantity in the reader's system, or a number, as text for a step; nothing in a sweep."""
        if self.many:
            return ""
        return show(value, self.system, unit) if isinstance(value, pint.Quantity) else show_number(value)


@dataclass(frozen=True, slots=True)
class Mark:
    """A limit that holds something back, or a warning: where it applies, in a sweep as an array of yes and no.

    Parameters
    ----------
    name : of the limit or warning
    says : a few words for a legend, such as "held back by the spindle's power"
    where : bool, or one for each point of a sweep
    """

    name: str
    says: str
    where: Any


@dataclass(slots=True)
class Found:
    """What a working's `compute` hands back; a result left out was not worked out.

    Parameters
    ----------
    results : name -> quantity, number, text, bool, list or mapping
    working : the steps, in order; none in a sweep
    assumed : sentences beside those of the defaults that were used
    cautions : sentences beside the working's own
    texts : name -> text, where the usual text of a result will not do
    warnings : sentences on what is amiss with these very numbers
    marks : limits and warnings with where they apply
    """

    results: dict[str, Any] = field(default_factory=dict)
    working: list[Step] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    def warn(self, name: str, says: str, where: Any, sentence: Callable[[], str]) -> None:
        """Mark a warning, and say it in full where there is one case and it applies."""
        self.marks.append(Mark(name, says, where))
        if not isinstance(where, np.ndarray) and where:
            self.warnings.append(sentence())


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """One calculator, declared once; page, API, command line and documentation are made from it.

    Parameters
    ----------
    name : in the address and on the command line, such as "chamfer-edge"
    title : what people read
    says : one sentence on what it answers
    inputs, groups, results : in the order they are shown
    compute : from the inputs as read to what was found
    sources : keys of `calc/references.md`
    cautions : sentences that always go with the answer
    family : heading under which the register lists it
    headline : names of the results that people look for first; the first ones when empty
    takes_arrays : whether `compute` takes one input as an array and answers with arrays; else a sweep asks it point by
        point
    """

    name: str
    title: str
    says: str
    inputs: tuple[Input, ...]
    results: tuple[Result, ...]
    compute: Callable[[Given], Found]
    sources: tuple[str, ...]
    groups: tuple[Group, ...] = ()
    cautions: tuple[str, ...] = GENERAL_CAUTIONS
    family: str = "Cutting"
    headline: tuple[str, ...] = ()
    takes_arrays: bool = False

    @property
    def example(self) -> dict[str, Any]:
        """Inputs that work together: of each group only as many ways as it needs."""
        ways: dict[str, list[str]] = {group.name: [] for group in self.groups}
        found: dict[str, Any] = {}
        for entry in self.inputs:
            if entry.example is None:
                continue
            if entry.group:
                taken, way = ways[entry.group], entry.belongs_to_way
                needs = next(group.needs for group in self.groups if group.name == entry.group)
                if way not in taken:
                    if len(taken) >= needs:
                        continue
                    taken.append(way)
            found[entry.name] = entry.example
        return found

    def input(self, name: str) -> Input:
        """The input called `name`."""
        return next(entry for entry in self.inputs if entry.name == name)
