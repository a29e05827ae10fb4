"""The counter: one scan after another, in any sensible order, each answered once however often it is sent."""

from __future__ import annotations

from dataclasses import replace

from crib.catalogue.models import Design, Job, Machine
from crib.core.errors import BadInput, NotAllowed, Refused, ShopError
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.counter import (
    BACK,
    BACK_MODES,
    BACK_PART_USED,
    BACK_SPENT,
    BY_ITSELF,
    GIVE_OUT,
    MODES,
    Answer,
    CounterState,
    Line,
    Pending,
    Scanned,
    split_quantity,
)
from crib.stock.drafts import check_quantity
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.records import Kit
from crib.stock.services.acts import check_out, reverse, take_back
from crib.stock.services.places import spent_place

DONE_WORDS = ("done", "finish")
UNDO_WORDS = ("undo",)
# The keys of a number pad: what is typed alone on the field. A code never begins with one of them.
MODE_KEYS = {"+": GIVE_OUT, "/": BY_ITSELF, "-": BACK}
NEXT_BACK = {BACK: BACK_PART_USED, BACK_PART_USED: BACK_SPENT, BACK_SPENT: BACK}
KEY_PREFIX = "counter:"


def take_scan(*, state: CounterState, text: str, key: str, acting: Person | None, shared: bool) -> Scanned:
    """Answer one scan: who, what, how many, which job or bin; refusals are answers too and change nothing.

    `acting` is in whose name it happens; at a `shared` tablet nobody until a badge is scanned.
    """
    if key in state.answered:
        return Scanned(replace(state, last=state.answered[key]), state.answered[key])
    try:
        return _Counter(state, key, acting, shared=shared).take(text)
    except ShopError as refused:
        answer = Answer("bad", refused.sentence, more=_way_out(refused), field=refused.field or "")
        kept = replace(state, quantity=None).with_line(Line(key=key, tone="bad", words=refused.sentence))
        return Scanned(kept.answering(key, answer), answer)


def undo_move(*, state: CounterState, move: Move, acting: Person | None) -> Scanned:
    """Take back one line of the running list; the same undo twice counts once."""
    if acting is None:
        raise NotAllowed("Scan your badge first, so that this is written down in your name.", field="person")
    own = state.knows_line_of(move.pk) and acting.pk in (move.who_id, _holder_of(move))
    if not own and not acting.has_perm("crib.keep_stock"):
        raise NotAllowed("You can undo what you did here yourself. Ask the attendant for the rest.")
    reverse(move=move, who=acting, key=f"undo:{move.pk}", note="undone at the counter")
    words = f"Undone: {_said(move)}"
    lines = tuple(replace(line, undone=True) if line.move == move.pk else line for line in state.lines)
    answer = Answer("info", words, "Both lines stay in the ledger.")
    return Scanned(replace(state, lines=lines, last=answer), answer)


def _holder_of(move: Move) -> int | None:
    return move.to_place.person_id or move.from_place.person_id


def _way_out(refused: ShopError) -> str:
    return "Nothing was moved." if refused.code != "bad-input" else "Nothing was changed."


def _said(move: Move) -> str:
    what = move.item.label if move.item else f"{move.quantity} × {move.design.code}"
    return f"{what} {move.from_place.code} → {move.to_place.code}"


class _Counter:
    """One scan being answered."""

    def __init__(self, state: CounterState, key: str, acting: Person | None, *, shared: bool) -> None:
        self.state, self.key, self.acting, self.shared = state, key, acting, shared

    def take(self, text: str) -> Scanned:
        before = Move.objects.filter(key=KEY_PREFIX + self.key).select_related(*_WITH).first()
        if before is not None:
            # It was done, but the answer never reached the page.
            return self._answer(_made(before), line=_line(self.key, before))
        quantity, rest = split_quantity(text)
        if quantity is not None:
            check_quantity(quantity)
            self.state = replace(self.state, quantity=quantity)
            if not rest:
                return self._answer(Answer("info", f"{quantity} × …", "Scan what it is."))
        command = self._command(rest)
        return command or self._thing(selectors.find_label(text=rest), rest)

    def _answer(self, answer: Answer, line: Line | None = None, **more: object) -> Scanned:
        state = self.state if line is None else self.state.with_line(line)
        return Scanned(state.answering(self.key, answer), answer, **more)  # type: ignore[arg-type]  # its own fields

    # --- commands -----------------------------------------------------------------------------------

    def _command(self, word: str) -> Scanned | None:
        if word in MODE_KEYS:
            mode = MODE_KEYS[word]
            if mode == BACK:
                mode = NEXT_BACK.get(self.state.mode, BACK)
            return self._mode(mode)
        if word.startswith("mode:"):
            return self._mode(word.removeprefix("mode:"))
        if word.lower() in DONE_WORDS:
            self.state = self.state.finished()
            return self._answer(Answer("info", "Done.", "Ready for the next one."), finished=True)
        if word.lower() in UNDO_WORDS:
            return self._undo_last()
        return None

    def _mode(self, mode: str) -> Scanned:
        if mode not in MODES:
            raise BadInput("text", "The counter has no such way. Choose one of its buttons.")
        self.state = replace(self.state, mode=mode)
        return self._answer(Answer("info", MODES[mode], "Scan what it is."))

    def _undo_last(self) -> Scanned:
        made = [line.move for line in self.state.lines if line.move is not None and not line.undone]
        if not made:
            raise Refused("There is nothing to undo here.")
        move = Move.objects.select_related(*_WITH).get(pk=made[0])
        undone = undo_move(state=self.state, move=move, acting=self.acting)
        return replace(undone, state=undone.state.answering(self.key, undone.answer))

    # --- things -------------------------------------------------------------------------------------

    def _thing(self, found: selectors.Found, text: str) -> Scanned:
        thing = found.thing
        if isinstance(thing, Place) and thing.person is not None:
            thing = thing.person
        match thing:
            case Person():
                return self._person(thing)
            case Job():
                return self._job(thing)
            case Place():
                return self._place(thing)
            case Kit():
                return self._kit(thing)
            case Machine():
                raise Refused(f"{thing.code} is a machine. Load its pockets on the Machines page.")
            case Design() | Item():
                return self._handle(thing, text)

    def _person(self, person: Person) -> Scanned:
        if not person.is_active:
            raise Refused(f"{person} no longer works here.", field="person")
        takes_over = self.shared and (self.acting is None or not _keeps_stock(self.acting))
        if takes_over:
            return self._sign_on(person)
        assert self.acting is not None
        if person.pk != self.acting.pk and not _keeps_stock(self.acting):
            raise NotAllowed(f"Your role lets you draw for yourself alone, not for {person}.", field="person")
        self.state = replace(self.state, person=person.pk)
        return self._now_for(person)

    def _sign_on(self, person: Person) -> Scanned:
        """A badge at the shared tablet: from here on this person acts."""
        _need_draw(person)
        self.acting = person
        if _keeps_stock(person):
            self.state = replace(self.state, person=None)
            more = "Scan who takes it, or your badge again for yourself."
            return self._answer(Answer("info", str(person), more), acting=person)
        self.state = replace(self.state, person=person.pk)
        return replace(self._now_for(person), acting=person)

    def _now_for(self, person: Person) -> Scanned:
        waiting, self.state = self.state.pending, replace(self.state, pending=())
        if not waiting:
            return self._answer(Answer("info", str(person), "Scan what it is."))
        lines = [self._settle(one, person) for one in waiting]
        for line in lines:
            self.state = self.state.with_line(line)
        good = sum(line.tone == "good" for line in lines)
        refused = [line.words for line in lines if line.tone == "bad"]
        if not refused and good == 1:
            return self._answer(Answer("good", lines[0].words, lines[0].more))
        words = f"{good} of {len(lines)} → {person}" if refused else f"{good} things → {person}"
        return self._answer(Answer("bad" if refused else "good", words, " ".join(refused)))

    def _settle(self, one: Pending, person: Person) -> Line:
        try:
            thing = selectors.find_label(text=one.text).thing
            assert isinstance(thing, Design | Item)
            return _line(one.key, self._move(thing, one.quantity, one.mode, one.key, person))
        except ShopError as refused:
            return Line(key=one.key, tone="bad", words=f"{one.words}: {refused.sentence}")

    def _job(self, job: Job) -> Scanned:
        if job.retired:
            raise Refused(f"Job {job.code} is closed. Scan the job this is for.", field="job")
        self.state = replace(self.state, job=job.pk)
        return self._answer(Answer("info", f"Job {job.code}", f"{job.part}. What follows is written down for it."))

    def _kit(self, kit: Kit) -> Scanned:
        """What follows is for the kit's job; the kit itself goes out and comes back on its page."""
        self.state = replace(self.state, job=kit.job_id)
        act = "Bring it back" if kit.state == Kit.State.ISSUED else "Hand it out"
        more = f"{kit.job.part}. {act} in one act on its page: Stock, Kits, {kit.pk}."
        return self._answer(Answer("info", f"Kit {kit.pk} for job {kit.job.code}", more))

    def _place(self, place: Place) -> Scanned:
        if place.retired_at is not None or (place.kind not in Place.ON_HAND and place.kind != Place.Kind.SPENT):
            raise Refused(f"{place.code} is no bin to take from or put into. Scan a bin of the crib.", field="place")
        self.state = replace(self.state, place=place.pk)
        return self._answer(Answer("info", f"Bin {place.code}", f"{place.name}. What follows leaves or comes here."))

    def _handle(self, thing: Design | Item, text: str) -> Scanned:
        quantity, mode = self.state.quantity or 1, self.state.mode
        person = self._taker(thing)
        if person is None:
            if any(one.key == self.key for one in self.state.pending):
                return self._answer(Answer("info", "Noted before.", "Scan the badge of who takes it."))
            words = f"{quantity} × {thing}" if quantity > 1 else str(thing)
            one = Pending(key=self.key, text=text, quantity=quantity, mode=mode, words=words)
            self.state = replace(self.state, quantity=None, pending=(*self.state.pending, one))
            return self._answer(Answer("info", words, "Noted. Scan the badge of who takes or brings it."))
        move = self._move(thing, quantity, mode, self.key, person)
        self.state = replace(self.state, quantity=None)
        return self._answer(_made(move), line=_line(self.key, move))

    def _taker(self, thing: Design | Item) -> Person | None:
        """For whom: the badge scanned last, else whoever holds the item, else whoever signed in for themselves."""
        if self.acting is None:
            return None
        if isinstance(thing, Item) and thing.place.person is not None and self.state.mode != GIVE_OUT:
            return thing.place.person
        if self.state.person is not None:
            return Person.objects.get(pk=self.state.person)
        return None if _keeps_stock(self.acting) else self.acting

    def _move(self, thing: Design | Item, quantity: int, mode: str, key: str, person: Person) -> Move:
        assert self.acting is not None
        _need_draw(self.acting)
        item = thing if isinstance(thing, Item) else None
        held = item is not None and item.place.kind == Place.Kind.PERSON
        if mode in BACK_MODES or (mode == BY_ITSELF and held):
            return self._bring_back(thing, quantity, mode, key, person)
        return self._give_out(thing, quantity, key, person)

    def _give_out(self, thing: Design | Item, quantity: int, key: str, person: Person) -> Move:
        assert self.acting is not None
        if isinstance(thing, Item):
            design, item, condition = thing.design, thing, thing.condition
            place, quantity = self._place_of_item(thing), thing.pieces
        else:
            design, item = thing, None
            place, condition = self._shelf(thing, quantity)
        move = check_out(
            design=design,
            quantity=quantity,
            person=person,
            from_place=place,
            who=self.acting,
            key=KEY_PREFIX + key,
            condition=condition,
            item=item,
            job=self._job_now(),
        )
        return Move.objects.select_related(*_WITH).get(pk=move.pk)

    def _place_of_item(self, item: Item) -> Place:
        if item.place.kind not in Place.ON_HAND:
            where = selectors.item_whereabouts(item)
            raise Refused(f"{where} It has to come back to the crib before it is handed out.", field="item")
        return item.place

    def _shelf(self, design: Design, quantity: int) -> tuple[Place, str]:
        if self.state.place is not None:
            place = Place.objects.get(pk=self.state.place)
            return place, selectors.condition_to_take(design, place)
        shelf = selectors.shelf_for(design=design, quantity=quantity)
        if shelf is not None:
            return shelf.place, shelf.condition
        if design.retired or design.kept_as_items:
            # The act itself knows the better sentence.
            return selectors.home_for(design) or _no_bin(design), Condition.NEW
        raise NotEnoughOnHand(
            f"There is no {design.code} left in the crib. {selectors.where_else(design=design)}", field="quantity"
        )

    def _bring_back(self, thing: Design | Item, quantity: int, mode: str, key: str, person: Person) -> Move:
        assert self.acting is not None
        design, item = (thing.design, thing) if isinstance(thing, Item) else (thing, None)
        if item is not None:
            quantity = item.pieces
        condition = {BACK_PART_USED: Condition.PART_USED, BACK_SPENT: Condition.SPENT}.get(mode)
        if condition is None:
            condition = Condition(item.condition if item else selectors.held_condition(design, person))
        move = take_back(
            design=design,
            quantity=quantity,
            person=person,
            to_place=self._bin_for(design, condition),
            who=self.acting,
            key=KEY_PREFIX + key,
            condition=condition,
            item=item,
            job=self._job_now(),
        )
        return Move.objects.select_related(*_WITH).get(pk=move.pk)

    def _bin_for(self, design: Design, condition: str) -> Place:
        if self.state.place is not None:
            return Place.objects.get(pk=self.state.place)
        if condition == Condition.SPENT:
            return spent_place()
        return selectors.home_for(design) or _no_bin(design)

    def _job_now(self) -> Job | None:
        return None if self.state.job is None else Job.objects.filter(pk=self.state.job).first()


_WITH = ("design", "item", "item__design", "from_place__person", "to_place__person", "job", "who")


def _no_bin(design: Design) -> Place:
    raise Refused(f"{design.code} has no bin yet. Scan the bin first.", field="place")


def _keeps_stock(person: Person) -> bool:
    return person.has_perm("crib.keep_stock")


def _need_draw(person: Person) -> None:
    if not (person.has_perm("crib.draw_tools") or _keeps_stock(person)):
        raise NotAllowed(f"The role of {person} does not draw tools. Ask the attendant.", field="person")


def _made(move: Move) -> Answer:
    line = _line("", move)
    return Answer("good", line.words, line.more)


def _line(key: str, move: Move) -> Line:
    what = f"{move.design.code} {move.item.label}" if move.item else f"{move.quantity} × {move.design.code}"
    kind = "" if move.becomes == Condition.NEW else f" ({Condition(move.becomes).label.lower()})"
    job = f" · job {move.job.code}" if move.job else ""
    if move.why == Move.Why.TAKE_BACK:
        left = f"from {move.from_place.person or move.from_place.name}"
        return Line(key, "good", f"{what}{kind} → {move.to_place.code}", f"Brought back {left}{job}", move.pk)
    taker = move.to_place.person or move.to_place.name
    left = f"from {move.from_place.code} · {selectors.on_hand(design=move.design)} left in the crib"
    kept = selectors.kept_for_others(design=move.design, job=move.job)
    warning = f" · {kept}" if kept else ""
    return Line(key, "good", f"{what}{kind} → {taker}", f"Handed out {left}{job}{warning}", move.pk)
