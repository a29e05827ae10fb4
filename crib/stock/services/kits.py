"""Staging a kit: what a job's start needs is written down and kept for it until it is handed out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial

from django.db import transaction

from crib.catalogue.models import Job
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.core.wake import wake
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock.drafts import is_whole
from crib.stock.errors import DesignRetired
from crib.stock.kits import LONGEST_WHY, MOST_LINES, MOST_WANTED, KitWant
from crib.stock.ledger import raise_pulses
from crib.stock.models import Reservation
from crib.stock.records import Kit, KitLine

MOST_PARTS = 10_000_000


@transaction.atomic
def stage_kit(*, job: Job, parts: int, lines: Sequence[KitWant], who: Person, needed_on: date | None = None) -> Kit:
    """Write down what a job's start needs and keep it for the job; lines that want nothing are left out."""
    job = lock_job(job=job)
    if job.retired or job.state == Job.State.DONE:
        raise Refused(f"Job {job.code} is done, so no kit is staged for it. Choose a job in hand.", field="job")
    staged = Kit.objects.filter(job=job, state=Kit.State.STAGED).first()
    if staged is not None:
        raise Refused(f"Kit {staged.pk} is staged for {job.code} already. Change that one, or drop it.", field="job")
    _check_parts(parts)
    wanted = _checked([one for one in lines if one.wanted])
    if not wanted:
        raise Refused("This kit would hold nothing. Put a number against at least one line.", field="lines")
    kit = Kit.objects.create(job=job, parts=parts, needed_on=needed_on, made_by=who)
    KitLine.objects.bulk_create(
        [KitLine(kit=kit, design=one.design, role=one.role, wanted=one.wanted, why=one.why) for one in wanted]
    )
    keep_for_job(job=job, who=who)
    record_change(who=who, what="kit", which=str(kit.pk), act="staged", details={"job": job.code, "parts": parts})
    return kit


@transaction.atomic
def change_kit(
    *, kit: Kit, lines: Sequence[KitWant], who: Person, parts: int | None = None, needed_on: date | None = None
) -> Kit:
    """Put numbers of a staged kit right by hand: lines named are set, 0 takes one out, others stay."""
    kit = lock_kit(kit=kit)
    _need_staged(kit, "changed")
    if parts is not None:
        _check_parts(parts)
        kit.parts = parts
    kit.needed_on = needed_on or kit.needed_on
    kit.save(update_fields=["parts", "needed_on"])
    there = {(line.design_id, line.role): line for line in kit.lines.all()}
    changed = {}
    for want in _checked(lines):
        line = there.get((want.design.pk, want.role))
        if line is not None and line.wanted == want.wanted:
            continue
        changed[f"{want.design.code} {want.role}"] = want.wanted
        if not want.wanted:
            if line is not None:
                line.delete()
            continue
        before = f" instead of {line.wanted}. {line.why}" if line is not None else "."
        why = want.why or f"By hand: {want.wanted}{before}"
        KitLine.objects.update_or_create(
            kit=kit, design=want.design, role=want.role, defaults={"wanted": want.wanted, "why": why[:LONGEST_WHY]}
        )
    if not kit.lines.exists():
        raise Refused("This kit would hold nothing. Drop it instead.", field="lines")
    if changed:
        keep_for_job(job=kit.job, who=who)
        record_change(who=who, what="kit", which=str(kit.pk), act="changed", details=changed)
    return kit


@transaction.atomic
def drop_kit(*, kit: Kit, who: Person) -> Kit:
    """Give up a staged kit; what was kept for it is free again."""
    kit = lock_kit(kit=kit)
    if kit.state == Kit.State.DROPPED:
        return kit
    _need_staged(kit, "dropped")
    kit.state, kit.ended_at = Kit.State.DROPPED, clock.now()
    kit.save(update_fields=["state", "ended_at"])
    keep_for_job(job=kit.job, who=who)
    record_change(who=who, what="kit", which=str(kit.pk), act="dropped", details={"job": kit.job.code})
    return kit


def lock_job(*, job: Job) -> Job:
    """The job's row is the lock of its kits and of what is kept for it; runs and moves that name it do not wait."""
    return Job.objects.select_for_update(of=("self",), no_key=True).get(pk=job.pk)


def lock_kit(*, kit: Kit) -> Kit:
    """Hold the kit and its job, so that two acts on them follow one another; answers it as it now is."""
    lock_job(job=kit.job)
    return Kit.objects.select_related("job", "issued_to").get(pk=kit.pk)


def keep_for_job(*, job: Job, who: Person) -> None:
    """Keep for a job what its kits still have to be handed out; the rest is free again."""
    rest: dict[int, int] = {}
    live = KitLine.objects.filter(kit__job=job, kit__state__in=(Kit.State.STAGED, Kit.State.ISSUED))
    for line in live.select_related("kit"):
        rest[line.design_id] = rest.get(line.design_id, 0) + max(line.wanted - line.issued, 0)
    needed = live.order_by("kit__needed_on").values_list("kit__needed_on", flat=True).first()
    changed = set()
    for kept in Reservation.objects.filter(job=job, released_at=None):
        wanted = rest.pop(kept.design_id, 0)
        if wanted == kept.quantity and kept.needed_on == needed:
            continue
        changed.add(kept.design_id)
        kept.quantity, kept.needed_on = wanted or kept.quantity, needed
        kept.released_at = None if wanted else clock.now()
        kept.save(update_fields=["quantity", "needed_on", "released_at"])
    new = [
        Reservation(design_id=design, job=job, quantity=wanted, needed_on=needed, made_by=who)
        for design, wanted in sorted(rest.items())
        if wanted
    ]
    Reservation.objects.bulk_create(new)
    changed |= {one.design_id for one in new}
    if changed:
        raise_pulses(changed)
        transaction.on_commit(partial(wake, "flags"))


def _need_staged(kit: Kit, act: str) -> None:
    if kit.state != Kit.State.STAGED:
        state = kit.get_state_display().lower()
        raise Refused(f"Kit {kit.pk} is {state}, so it can no longer be {act}.", field="kit")


def _check_parts(parts: int) -> None:
    if not is_whole(parts) or not 1 <= parts <= MOST_PARTS:
        raise BadInput("parts", f"A kit is for 1 to {MOST_PARTS:,} parts. Give the number it is to make.")


def _checked(lines: Sequence[KitWant]) -> list[KitWant]:
    if len(lines) > MOST_LINES:
        raise BadInput("lines", f"A kit has at most {MOST_LINES} lines.")
    seen: set[tuple[int, str]] = set()
    for one in lines:
        if one.role not in KitLine.Role.values:
            known = ", ".join(KitLine.Role.values)
            raise BadInput("role", f"“{str(one.role)[:20]}” is no part of a kit. Use one of: {known}.")
        if not is_whole(one.wanted) or not 0 <= one.wanted <= MOST_WANTED:
            raise BadInput("wanted", f"{one.design.code}: a kit holds 0 to {MOST_WANTED:,} of a design.")
        if len(one.why) > LONGEST_WHY:
            raise BadInput("why", f"{one.design.code}: the reason has at most {LONGEST_WHY} characters.")
        if one.wanted and one.design.retired:
            raise DesignRetired(f"{one.design.code} is retired and no longer handed out. Leave it out.", field="lines")
        if (one.design.pk, one.role) in seen:
            raise BadInput("lines", f"{one.design.code} stands twice in this kit. Give one number for both.")
        seen.add((one.design.pk, one.role))
    return list(lines)
