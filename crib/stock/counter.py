"""What a counter remembers between two scans, and what it answers to one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from crib.people.models import Person

# A scan of "3*" counts for the next thing; "3*CT-12" for that one.
_QUANTITY = re.compile(r"\A(\d{1,9})\s*[*×]\s*(.*)\Z", re.DOTALL)
LINES_KEPT = 40
ANSWERS_KEPT = 60

GIVE_OUT, BY_ITSELF = "out", "auto"
BACK, BACK_PART_USED, BACK_SPENT = "back", "back_part_used", "back_spent"
MODES = {
    BY_ITSELF: "By what is scanned",
    GIVE_OUT: "Give out",
    BACK: "Back as it left",
    BACK_PART_USED: "Back part-used",
    BACK_SPENT: "Back spent",
}
BACK_MODES = (BACK, BACK_PART_USED, BACK_SPENT)


@dataclass(frozen=True)
class Line:
    """One line of the running list: a move that was made, or a scan that was refused."""

    key: str
    tone: str
    words: str
    more: str = ""
    move: int | None = None
    undone: bool = False


@dataclass(frozen=True)
class Pending:
    """A thing that waits: for its person, for its job, or for somebody who lets more go out than a limit says."""

    key: str
    text: str
    quantity: int
    mode: str
    words: str
    person: int | None = None
    job: int | None = None
    place: int | None = None


@dataclass(frozen=True)
class Short:
    """A design of which too few were there, and how many were asked for."""

    design: int
    quantity: int


@dataclass(frozen=True)
class Answer:
    """What the counter says to one scan, in words large enough to read from a metre."""

    tone: str
    words: str
    more: str = ""
    field: str = ""


@dataclass(frozen=True)
class CounterState:
    """Who takes, for what job, from or to which bin, which way, how many; and what was done so far."""

    person: int | None = None
    job: int | None = None
    place: int | None = None
    mode: str = BY_ITSELF
    quantity: int | None = None
    pending: tuple[Pending, ...] = ()
    over: tuple[Pending, ...] = ()
    allowing: int | None = None
    short: Short | None = None
    jobless: tuple[int, ...] = ()
    lines: tuple[Line, ...] = ()
    answered: Mapping[str, Answer] = field(default_factory=dict)
    last: Answer | None = None

    def to_session(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_session(cls, kept: Mapping[str, Any] | None) -> CounterState:
        if not kept:
            return cls()
        last, short = kept.get("last"), kept.get("short")
        return cls(
            person=kept.get("person"),
            job=kept.get("job"),
            place=kept.get("place"),
            mode=kept["mode"] if kept.get("mode") in MODES else BY_ITSELF,
            quantity=kept.get("quantity"),
            pending=tuple(Pending(**one) for one in kept.get("pending", ())),
            over=tuple(Pending(**one) for one in kept.get("over", ())),
            allowing=kept.get("allowing"),
            short=Short(**short) if short else None,
            jobless=tuple(kept.get("jobless", ())),
            lines=tuple(Line(**one) for one in kept.get("lines", ())),
            answered={key: Answer(**one) for key, one in kept.get("answered", {}).items()},
            last=Answer(**last) if last else None,
        )

    def finished(self) -> CounterState:
        """Ready for the next person; what was done and answered stays in sight."""
        return CounterState(lines=self.lines, answered=self.answered, last=self.last)

    def without_person(self) -> CounterState:
        """Nobody acts any more: the badge has run out."""
        return replace(self, person=None, job=None, over=(), allowing=None, short=None, jobless=())

    def for_person(self, person: int | None) -> CounterState:
        """From here on this person takes; what another one left open is theirs no more."""
        if person is not None and person == self.person:
            return replace(self, allowing=None)
        mine = tuple(one for one in self.pending if one.person in (None, person))
        # A job scanned before anybody is for who comes; one scanned for somebody else is not.
        job, place = (None, None) if self.person is not None else (self.job, self.place)
        return replace(
            self, person=person, job=job, place=place, pending=mine, over=(), allowing=None, short=None, jobless=()
        )

    def waiting_for_job(self, one: Pending, person: int) -> CounterState:
        """What goes out for a job alone waits until the job is scanned."""
        others = tuple(other for other in self.pending if other.key != one.key)
        return replace(self, pending=(*others, replace(one, person=person)))

    def over_limit(self, one: Pending) -> CounterState:
        """What a limit holds back waits for somebody who lets it go out."""
        others = tuple(other for other in self.over if other.key != one.key)
        return replace(self, over=(*others, one)[-LINES_KEPT:])

    def with_new_move(self, number: int, line: Line) -> CounterState:
        """The line of a move that was posted anew says what stands now."""
        lines = tuple(replace(line, key=one.key) if one.move == number else one for one in self.lines)
        return replace(self, lines=lines)

    def saying(self, answer: Answer) -> CounterState:
        return replace(self, last=answer)

    def with_line(self, line: Line) -> CounterState:
        others = tuple(one for one in self.lines if one.key != line.key)
        return replace(self, lines=(line, *others)[:LINES_KEPT])

    def answering(self, key: str, answer: Answer) -> CounterState:
        kept = dict(list(self.answered.items())[-(ANSWERS_KEPT - 1) :])
        return replace(self, answered=kept | {key: answer}, last=answer)

    def knows_line_of(self, move: int) -> bool:
        return any(line.move == move for line in self.lines)


@dataclass(frozen=True)
class Scanned:
    """The counter after a scan; `acting` is the person whose badge was scanned to act from here on.

    `again` says that this scan was answered before: then there is nothing to remember.
    """

    state: CounterState
    answer: Answer
    acting: Person | None = None
    finished: bool = False
    again: bool = False


def split_quantity(text: str) -> tuple[int | None, str]:
    """The number before a star, and what follows it."""
    found = _QUANTITY.match(text.strip())
    if found is None:
        return None, text.strip()
    return int(found[1]), found[2].strip()
