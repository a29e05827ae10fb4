"""Limits on what one person, or one job, may draw: set, lifted, and kept when things go out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db import connection, transaction
from django.utils import timezone

from crib.catalogue.models import Design, Job
from crib.core.errors import BadInput, NotAllowed
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors
from crib.stock.drafts import LARGEST_QUANTITY, LONGEST_NOTE, is_whole
from crib.stock.errors import JobNeeded, LimitReached
from crib.stock.models import TakeLimit

LONGEST_DAYS = 3660
NO_REASON = "Say in a few words why more goes out than the limit says."


@transaction.atomic
def set_take_limit(*, design: Design, per: str, most: int, days: int | None, who: Person) -> TakeLimit:
    """Say how many of a design one person, or one job, may draw; what was said before of the same is replaced."""
    _may_allow(who)
    if per not in TakeLimit.Per.values:
        raise BadInput("per", f"A limit is for each one of: {', '.join(TakeLimit.Per.values)}.")
    if not is_whole(most) or not 0 <= most <= LARGEST_QUANTITY:
        raise BadInput("most", f"The most is a whole number from 0 to {LARGEST_QUANTITY:,}.")
    if days is not None and (not is_whole(days) or not 1 <= days <= LONGEST_DAYS):
        raise BadInput("days", f"Days are a whole number from 1 to {LONGEST_DAYS:,}, or empty for no end.")
    limit, made = TakeLimit.objects.update_or_create(design=design, per=per, defaults={"most": most, "days": days})
    record_change(
        who=who, what="limit", which=design.code, act="created" if made else "changed",
        details={"per": per, "most": most, "days": days},
    )  # fmt: skip
    return limit


@transaction.atomic
def lift_take_limit(*, limit: TakeLimit, who: Person) -> None:
    """Let the design go out without this limit again."""
    _may_allow(who)
    TakeLimit.objects.filter(pk=limit.pk).delete()
    record_change(who=who, what="limit", which=limit.design.code, act="lifted", details={"per": limit.per})


def check_allowance(*, allowed_by: Person | None, note: str) -> None:
    """Refuse an allowance by somebody who may not give it, or without a reason."""
    if allowed_by is None:
        return
    if not (allowed_by.is_active and allowed_by.has_perm("crib.allow_more")):
        raise NotAllowed(f"{allowed_by} may not let more go out than a limit says. Ask the lead.", field="allowed_by")
    if not note.strip():
        raise BadInput("note", NO_REASON)
    if len(note) > LONGEST_NOTE:
        raise BadInput("note", f"A reason has at most {LONGEST_NOTE} characters.")


def exceed_limits(
    *, limits: Sequence[TakeLimit], quantity: int, person: Person, job: Job | None, allowed_by: Person | None
) -> bool:
    """Whether handing out `quantity` goes beyond a limit; refused when nobody allows it.

    Holds the limits' rows until the transaction ends, so that two tablets cannot pass a limit together.
    """
    _hold(limits)
    over = False
    for limit in limits:
        if limit.per == TakeLimit.Per.JOB and job is None:
            if allowed_by is None:
                raise JobNeeded(
                    f"{limit.design.code} is limited for each job. Scan the job that this is for.", field="job"
                )
            over = True
            continue
        drawn = selectors.drawn_against(limit=limit, person=person, job=job, asked=quantity)
        if drawn.quantity + quantity > limit.most:
            over = True
            if allowed_by is None:
                raise LimitReached(_sentence(limit, drawn, quantity, person, job), field="quantity")
    return over


def let_out(*, drawn: Mapping[int, int], person: Person, job: Job, allowed_by: Person | None) -> set[int]:
    """The designs of which more than a limit says goes out, when so many of each are drawn in one act.

    Refused when nobody allows it. All limits are held before the first is looked at, in the order of the counter.
    """
    limits = selectors.limits_of_all(designs=drawn)
    _hold(limits)
    return {
        design
        for design, quantity in drawn.items()
        if exceed_limits(
            limits=[limit for limit in limits if limit.design_id == design], quantity=quantity, person=person, job=job,
            allowed_by=allowed_by,
        )
    }  # fmt: skip


def _hold(limits: Sequence[TakeLimit]) -> None:
    """Lock by writing what stands there: the same on SQLite, which knows no lock of a row, and on PostgreSQL."""
    with connection.cursor() as cursor:
        for limit in limits:
            cursor.execute("UPDATE crib_takelimit SET most = most WHERE id = %s", [limit.pk])


def _may_allow(who: Person) -> None:
    if not who.has_perm("crib.allow_more"):
        raise NotAllowed("Your role does not let you set limits. Ask the lead, who sets the roles.")


def _sentence(limit: TakeLimit, drawn: selectors.Drawn, asked: int, person: Person, job: Job | None) -> str:
    code, days = limit.design.code, "" if limit.days is None else f" within {_days(limit.days)}"
    if limit.per == TakeLimit.Per.JOB:
        assert job is not None
        begin = f"For job {job.code} {drawn.quantity} of the {limit.most} {code} that one job may draw{days} are drawn"
    else:
        begin = f"{person} has drawn {drawn.quantity} of the {limit.most} {code} that one person may draw{days}"
    return f"{begin}; {asked} asked for. {_when(limit, drawn, asked)} {_who()}"


def _when(limit: TakeLimit, drawn: selectors.Drawn, asked: int) -> str:
    free = limit.most - drawn.quantity
    if drawn.frees_at is not None:
        return f"It frees again on {_moment(drawn.frees_at)}, or when some are brought back."
    if free > 0:
        return f"{'One' if free == 1 else free} may still go out."
    if asked > limit.most:
        return "So many never go out at once."
    return "It frees again when some are brought back."


def _who() -> str:
    names = [str(person) for person in selectors.who_may_allow_more()]
    if not names:
        return "Nobody here may let more go out; somebody who sets roles can give that right."
    said = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
    return f"{said} may let more go out."


def _days(days: int) -> str:
    return "a day" if days == 1 else f"{days} days"


def _moment(at: datetime) -> str:
    local = timezone.localtime(at)
    return f"{local:%A} {local.day} {local:%B} at {local:%H:%M}"
