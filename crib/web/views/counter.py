"""The counter: one scan field for everything."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from crib.core.errors import BadInput, ShopError
from crib.stock import selectors
from crib.stock.counter import MODES, Answer, CounterState, Scanned
from crib.stock.services import take_scan, undo_move
from crib.web.acting import acting_person, by_badge, clear_acting, name_acting
from crib.web.instead import what_instead

_KEPT = "counter"
# The page's script asks with this header and knows a final answer by the other; anything else is sent again.
ASKS, ANSWERS = "X-Counter", "X-Counter-Answer"
LONGEST_KEY = 80
KEYPAD = "1234567890"


@require_safe
@never_cache
def counter(request: HttpRequest) -> HttpResponse:
    """The page with its scan field, what was said last and what was done so far."""
    state = _state(request)
    own = {"scan_key": uuid.uuid4().hex, "pad": KEYPAD}
    return render(request, "crib/counter/counter.html", _context(request, state) | own)


@require_POST
@never_cache
def scan(request: HttpRequest) -> HttpResponse:
    """One scan, typed or scanned; the same key again is answered the same."""
    key = request.POST.get("key", "").strip()
    if not key or len(key) > LONGEST_KEY or not key.isprintable():
        raise BadInput("key", "This scan carries no key. Load the page again.")
    state = _state(request)
    if acting_person(request) is None:
        # Nobody is there any more, so nothing is written down for the one who was.
        state = state.without_person()
    scanned = take_scan(
        state=state,
        text=request.POST.get("text", ""),
        key=key,
        acting=acting_person(request),
        shared=by_badge(request),
    )
    return _answered(request, scanned)


@require_POST
@never_cache
def undo(request: HttpRequest) -> HttpResponse:
    """Take back one line of the running list."""
    state = _state(request)
    try:
        move = selectors.find_move(number=request.POST.get("move", ""))
        scanned = undo_move(state=state, move=move, acting=acting_person(request))
    except ShopError as refused:
        answer = Answer("bad", refused.sentence, "Nothing was undone.")
        scanned = Scanned(state.saying(answer), answer)
    return _answered(request, scanned)


def _state(request: HttpRequest) -> CounterState:
    return CounterState.from_session(request.session.get(_KEPT))


def _answered(request: HttpRequest, scanned: Scanned) -> HttpResponse:
    if not scanned.again:
        # One that comes late and twice would put back what a later scan has written meanwhile.
        request.session[_KEPT] = scanned.state.to_session()
    if scanned.acting is not None:
        name_acting(request, scanned.acting)
    if scanned.finished:
        clear_acting(request)
    if request.headers.get(ASKS) is None:
        return redirect("crib:counter")
    # Refused or not, the scan is answered: the status says which, the header that it need not be sent again.
    status = 409 if scanned.answer.tone == "bad" else 200
    answer = render(request, "crib/counter/_board.html", _context(request, scanned.state), status=status)
    answer[ANSWERS] = "1"
    return answer


def _context(request: HttpRequest, state: CounterState) -> dict[str, Any]:
    acting = acting_person(request)
    now = selectors.counter_now(person=state.person if acting else None, job=state.job, place=state.place)
    for_themselves = acting is not None and not acting.has_perm("crib.keep_stock")
    holder = now.person or (acting if for_themselves else None)
    return {
        "state": state,
        "now": now,
        "for_themselves": for_themselves,
        "holder": holder,
        "modes": [{"text": f"mode:{mode}", "words": words, "on": mode == state.mode} for mode, words in MODES.items()],
        "shared": by_badge(request),
        "instead": what_instead(short=state.short, job=now.job),
        "wants_reason": bool(state.over)
        and acting is not None
        and (state.allowing or acting.has_perm("crib.allow_more")),
        "holdings": selectors.holdings(person=holder) if holder else (),
    }
