"""The counter: one scan after another, in any sensible order, each answered once however often it is sent."""

from __future__ import annotations

from dataclasses import replace

from crib.catalogue.models import Design, Job, Machine
from crib.core.errors import BadInput, NotAllowed, Refused, ShopError
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.counter import (
    BACK,
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
    Short,
    split_quantity,
)
from crib.stock.drafts import check_quantity
from crib.stock.errors import JobNeeded, LimitReached, NotEnoughOnHand, SeveralFit
from crib.stock.labels import looks_like_label
from crib.stock.models import Item, Move, Place
from crib.stock.records import Kit
from crib.stock.services.acts import reverse
from crib.stock.services.counter_acts import (
    WITH,
    Allowance,
    Asked,
    drawn_lately,
    keeps_stock,
    line_of,
    made_before,
    may_allow_more,
    move_thing,
    need_draw,
    write_for_job,
)

DONE_WORDS = ("done", "finish")
UNDO_WORDS = ("undo",)
# The keys of a number pad: what is typed alone on the field. A code never begins with one of them.
MODE_KEYS = {"+": GIVE_OUT, "/": BY_ITSELF, "-": BACK}
NEXT_BACK = {BACK: BACK_PART_USED, BACK_PART_USED: BACK_SPENT, BACK_SPENT: BACK}
# One word may be a scan that was misread; a reason is written.
WORDS_OF_A_REASON = 2
REASON_WANTED = "Write the reason in a few words, such as: chipped at the start."


def take_scan(*, state: CounterState, text: str, key: str, acting: Person | None, shared: bool) -> Scanned:
    """Answer one scan: who, what, how many, which job or bin; refusals are answers too and change nothing.

    `acting` is in whose name it happens; at a `shared` tablet nobody until a badge is scanned.
    """
    if key in state.answered:
        return Scanned(replace(state, last=state.answered[key]), state.answered[key], again=True)
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
        before = made_before(key=self.key)
        if before is not None:
            # It was done, but the answer never reached the page.
            return self._answer(_made(before), line=line_of(key=self.key, move=before))
        quantity, rest = split_quantity(text)
        if quantity is not None:
            check_quantity(quantity)
            self.state = replace(self.state, quantity=quantity)
            if not rest:
                return self._answer(Answer("info", f"{quantity} × …", "Scan what it is."))
        return self._command(rest) or self._reason(rest) or self._thing(selectors.find_label(text=rest), rest)

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
        move = Move.objects.select_related(*WITH).get(pk=made[0])
        undone = undo_move(state=self.state, move=move, acting=self.acting)
        return replace(undone, state=undone.state.answering(self.key, undone.answer))

    # --- more than a limit says ---------------------------------------------------------------------

    def _reason(self, text: str) -> Scanned | None:
        """What is typed while a thing waits for an allowance, unless it is something that can be scanned."""
        allower = self._allower()
        if allower is None or self.acting is None or not text or looks_like_label(text):
            return None
        try:
            selectors.find_label(text=text)
        except SeveralFit:
            return None
        except ShopError:
            if len(text.split()) >= WORDS_OF_A_REASON:
                return self._let_out(Allowance(allower, text))
            if self.state.allowing is not None:
                raise BadInput("text", REASON_WANTED) from None
        return None

    def _allower(self) -> Person | None:
        """Who may let out what waits: the lead whose badge was scanned for it, else whoever acts, who may."""
        if not self.state.over:
            return None
        if self.state.allowing is not None:
            return Person.objects.filter(pk=self.state.allowing, is_active=True).first()
        return self.acting if self.acting is not None and may_allow_more(person=self.acting) else None

    def _allow(self, lead: Person) -> Scanned:
        """A lead's badge while something is over a limit: the next words are the reason."""
        assert self.acting is not None
        if not (self.shared or keeps_stock(person=self.acting)):
            raise NotAllowed(
                f"The badge of {lead} counts at the crib's counter. Go there, or let {lead} sign in.", field="person"
            )
        self.state = replace(self.state, allowing=lead.pk)
        waiting = ", ".join(one.words for one in self.state.over)
        more = f"{waiting}: type why it goes out, then Enter. Your badge again is for drawing yourself."
        return self._answer(Answer("info", f"{lead}: why?", more))

    def _let_out(self, allowance: Allowance) -> Scanned:
        assert self.acting is not None
        waiting, self.state = self.state.over, replace(self.state, over=(), allowing=None)
        lines = []
        for one in waiting:
            assert one.person is not None  # only what somebody asked for can be over a limit
            person = Person.objects.get(pk=one.person)
            at_its_time = replace(self.state, job=one.job, place=one.place)
            lines.append(self._settle(one, person, at_its_time, allowance))
        return self._settled(lines, f"allowed by {allowance.by}")

    # --- things -------------------------------------------------------------------------------------

    def _thing(self, found: selectors.Found, text: str) -> Scanned:
        thing = found.thing
        if isinstance(thing, Place) and thing.person is not None:
            thing = thing.person
        if not isinstance(thing, Person):
            self.state = replace(self.state, allowing=None)
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
        if (
            self.state.over
            and self.acting is not None
            and may_allow_more(person=person)
            and self.state.allowing != person.pk
        ):
            return self._allow(person)
        takes_over = self.shared and (self.acting is None or not keeps_stock(person=self.acting))
        if takes_over:
            return self._sign_on(person)
        assert self.acting is not None
        if person.pk != self.acting.pk and not keeps_stock(person=self.acting):
            raise NotAllowed(f"Your role lets you draw for yourself alone, not for {person}.", field="person")
        return self._now_for(person)

    def _sign_on(self, person: Person) -> Scanned:
        """A badge at the shared tablet: from here on this person acts."""
        need_draw(person=person)
        self.acting = person
        if keeps_stock(person=person):
            self.state = self.state.for_person(None)
            more = "Scan who takes it, or your badge again for yourself."
            return self._answer(Answer("info", str(person), more), acting=person)
        return replace(self._now_for(person), acting=person)

    def _now_for(self, person: Person) -> Scanned:
        self.state = self.state.for_person(person.pk)
        if not self.state.pending:
            return self._answer(Answer("info", str(person), "Scan what it is."))
        return self._settle_pending(person)

    def _settle_pending(self, person: Person) -> Scanned:
        waiting, self.state = self.state.pending, replace(self.state, pending=())
        return self._settled([self._settle(one, person, self.state) for one in waiting], f"→ {person}")

    def _settled(self, lines: list[Line], whose: str) -> Scanned:
        for line in lines:
            self.state = self.state.with_line(line)
        good = sum(line.tone == "good" for line in lines)
        refused = [line for line in lines if line.tone == "bad"]
        if len(lines) == 1:
            (one,) = lines
            return self._answer(Answer(one.tone, one.words, one.more))
        words = f"{good} things {whose}" if good == len(lines) else f"{good} of {len(lines)} {whose}"
        said = [f"{line.words} {line.more}".strip() for line in lines if line.tone != "good"]
        tone = "bad" if refused else "good" if good == len(lines) else "info"
        return self._answer(Answer(tone, words, " ".join(said)))

    def _settle(self, one: Pending, person: Person, state: CounterState, allowance: Allowance | None = None) -> Line:
        """Do what was scanned before; what cannot be done yet goes on waiting, and its line says for what."""
        assert self.acting is not None
        try:
            thing = selectors.find_label(text=one.text).thing
            assert isinstance(thing, Design | Item)
            asked = Asked(thing, one.quantity, one.mode, one.key)
            return self._noted(move_thing(
                state=state, asked=asked, person=person, acting=self.acting, allowance=allowance
            ), one.key)  # fmt: skip
        except JobNeeded as refused:
            self.state = self.state.waiting_for_job(one, person.pk)
            return Line(one.key, "info", one.words, refused.sentence)
        except ShopError as refused:
            more = self._held_back(refused, one, person)
            return Line(one.key, "bad", f"{one.words}: {refused.sentence}", more)

    def _held_back(self, refused: ShopError, one: Pending, person: Person) -> str:
        """Remember what a refusal leaves open, and answer what can be done about it."""
        if isinstance(refused, NotEnoughOnHand):
            thing = selectors.find_label(text=one.text).thing
            design = thing.design if isinstance(thing, Item) else thing
            self.state = replace(self.state, short=Short(design.pk, one.quantity))
            return "Nothing was moved. See below what may be taken instead."
        if isinstance(refused, LimitReached):
            self.state = self.state.over_limit(replace(one, person=person.pk))
            if self.acting is not None and may_allow_more(person=self.acting):
                return "Nothing was moved. To let it go out, type why in a few words, then Enter."
            return "Nothing was moved. A lead may scan the badge here and type why it goes out."
        return _way_out(refused)

    def _noted(self, move: Move, key: str) -> Line:
        """The line of a move just made; a hand-out without a job is remembered in case the job is scanned last."""
        if move.why == Move.Why.CHECK_OUT:
            jobless = (*self.state.jobless, move.pk) if move.job_id is None else self.state.jobless
            self.state = replace(self.state, jobless=jobless, short=None)
        return line_of(key=key, move=move)

    def _job(self, job: Job) -> Scanned:
        if job.retired:
            raise Refused(f"Job {job.code} is closed. Scan the job this is for.", field="job")
        before = drawn_lately(moves=self.state.jobless)
        self.state = replace(self.state, job=job.pk, jobless=())
        refused = [] if self.acting is None else [self._write_for(job, number, self.acting) for number in before]
        person = self._taker(None)
        if self.state.pending and person is not None:
            return self._settle_pending(person)
        done = sum(not one for one in refused)
        more = f"{job.part}. What follows is written down for it."
        if done:
            drawn = "The one drawn before is" if done == 1 else f"The {done} drawn before are"
            more = f"{job.part}. {drawn} written down for it too, and so is what follows."
        said = " ".join(one for one in refused if one)
        return self._answer(Answer("bad" if said else "info", f"Job {job.code}", f"{more} {said}".strip()))

    def _write_for(self, job: Job, number: int, acting: Person) -> str:
        """Write one hand-out of this turn down for the job; answers why not, or nothing."""
        move = Move.objects.select_related(*WITH).get(pk=number)
        if Move.objects.filter(reverses=move).exclude(key__endswith=f":off:{number}").exists():
            return ""
        try:
            anew = write_for_job(move=move, job=job, acting=acting, key=self.key)
        except ShopError as refused:
            return f"{_said(move)} stays without a job: {refused.sentence}"
        self.state = self.state.with_new_move(number, line_of(key="", move=anew))
        return ""

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
        words = f"{quantity} × {thing}" if quantity > 1 else str(thing)
        one = Pending(
            key=self.key, text=text, quantity=quantity, mode=mode, words=words, job=self.state.job,
            place=self.state.place,
        )  # fmt: skip
        if person is None:
            if any(other.key == self.key for other in self.state.pending):
                return self._answer(Answer("info", "Noted before.", "Scan the badge of who takes it."))
            self.state = replace(self.state, quantity=None, pending=(*self.state.pending, one))
            return self._answer(Answer("info", words, "Noted. Scan the badge of who takes or brings it."))
        assert self.acting is not None
        self.state = replace(self.state, quantity=None, short=None)
        asked = Asked(thing, quantity, mode, self.key)
        try:
            move = move_thing(state=self.state, asked=asked, person=person, acting=self.acting)
        except JobNeeded as refused:
            self.state = self.state.waiting_for_job(one, person.pk)
            return self._answer(Answer("info", words, refused.sentence))
        except (LimitReached, NotEnoughOnHand) as refused:
            answer = Answer("bad", refused.sentence, self._held_back(refused, one, person), refused.field or "")
            return self._answer(answer, line=Line(key=self.key, tone="bad", words=refused.sentence))
        return self._answer(_made(move), line=self._noted(move, self.key))

    def _taker(self, thing: Design | Item | None) -> Person | None:
        """For whom: the badge scanned last, else whoever holds the item, else whoever signed in for themselves."""
        if self.acting is None:
            return None
        if isinstance(thing, Item) and thing.place.person is not None and self.state.mode != GIVE_OUT:
            return thing.place.person
        if self.state.person is not None:
            return Person.objects.get(pk=self.state.person)
        return None if keeps_stock(person=self.acting) else self.acting


def _made(move: Move) -> Answer:
    line = line_of(key="", move=move)
    return Answer("good", line.words, line.more)
