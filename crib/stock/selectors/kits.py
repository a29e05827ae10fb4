"""Kits: what a job's start needs beside what is there, kept for others, missing, and who holds it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from django.db.models import Count, F, QuerySet, Sum

from crib.catalogue.models import Design, Job
from crib.core.errors import NotFound
from crib.stock.kits import KitWant, by_role
from crib.stock.models import Balance, Condition, Item, Move, Place, Reservation
from crib.stock.records import Kit, KitLine
from crib.stock.selectors.standing import PLACES_NAMED, USABLE, stands

KITS_SHOWN = 50


@dataclass(frozen=True)
class KitLineNow:
    """A line of a kit beside the crib: `free` is on hand and not kept for a job that asked before."""

    want: KitWant
    number: int | None
    issued: int
    came_back: int
    on_hand: int
    built_in: int
    kept: int
    kept_for: str
    free: int
    short: int
    bins: tuple[str, ...]
    elsewhere: tuple[str, ...]

    @property
    def design(self) -> Design:
        return self.want.design

    @property
    def still(self) -> int:
        """Pieces that are still to be handed out."""
        return max(self.want.wanted - self.issued, 0)

    @property
    def short_words(self) -> str:
        return f"{self.short} short"

    @property
    def role(self) -> str:
        return str(KitLine.Role(self.want.role).label)


@dataclass(frozen=True)
class LeftOver:
    """What somebody still holds of a kit: so many loose pieces of a condition, or one labelled piece."""

    design: Design
    condition: str
    quantity: int
    held: int
    home: Place | None
    item: Item | None = None

    @property
    def words(self) -> str:
        return str(Condition(self.condition).label)


def kit_with(*, number: int) -> Kit:
    """The kit with this number."""
    found = _kits().filter(pk=number).first() if number < 10**18 else None
    if found is None:
        raise NotFound("There is no such kit.")
    return found


def _kits() -> QuerySet[Kit]:
    return Kit.objects.select_related("job", "issued_to", "made_by")


def kits() -> QuerySet[Kit]:
    """All kits, the newest first, with how many lines each has and pieces it wants."""
    counted = _kits().annotate(line_count=Count("lines"), pieces=Sum("lines__wanted"), given=Sum("lines__issued"))
    return counted.order_by("-id")


def open_kits() -> list[Kit]:
    """Kits that are staged or handed out: those that are needed first, first."""
    now = kits().filter(state__in=(Kit.State.STAGED, Kit.State.ISSUED))
    return list(now.order_by("-state", F("needed_on").asc(nulls_last=True), "id"))


def ended_kits() -> list[Kit]:
    """The last kits that came back or were dropped."""
    return list(kits().exclude(state__in=(Kit.State.STAGED, Kit.State.ISSUED))[:KITS_SHOWN])


def kits_of(*, job: Job) -> list[Kit]:
    """The kits of a job, the newest first."""
    return list(kits().filter(job=job)[:KITS_SHOWN])


def lines_of(kit: Kit) -> list[KitLine]:
    """The lines of a kit in the order in which it is served."""
    return sorted(kit.lines.select_related("design"), key=by_role)


def kit_lines_now(*, kit: Kit, besides: Collection[int] = ()) -> list[KitLineNow]:
    """The lines of a kit beside the crib; `besides` are items that are built into a tool and no longer free."""
    lines = lines_of(kit)
    wants = [KitWant(design=one.design, role=one.role, wanted=one.wanted, why=one.why) for one in lines]
    found = wants_now(wants=wants, job=kit.job, besides=besides, already=[one.issued for one in lines])
    return [replace(now, number=line.pk, came_back=line.came_back) for now, line in zip(found, lines, strict=True)]


def wants_now(
    *, wants: Sequence[KitWant], job: Job, besides: Collection[int] = (), already: Sequence[int] = ()
) -> list[KitLineNow]:
    """What is wanted beside what is there; lines of one design share what is free, in their order."""
    designs = {one.design.pk for one in wants}
    rows: dict[int, list[Balance]] = defaultdict(list)
    standing = Balance.objects.filter(design__in=designs, quantity__gt=0, may_go_negative=False, condition__in=USABLE)
    for row in standing.select_related("place__person", "place__machine").order_by("place__code", "condition"):
        rows[row.design_id].append(row)
    built = _built_in(designs, besides)
    kept = kept_before(job=job, designs=designs)
    left: dict[int, int] = {}
    found = []
    for want, issued in zip(wants, already or [0] * len(wants), strict=True):
        here = [row for row in rows[want.design.pk] if row.place.kind in Place.ON_HAND]
        on_hand = sum(row.quantity for row in here) - built[want.design.pk]
        waiting = kept.get(want.design.pk, ())
        before = sum(one.quantity for one in waiting)
        free = left.setdefault(want.design.pk, max(on_hand - before, 0))
        still = max(want.wanted - issued, 0)
        left[want.design.pk] = max(free - still, 0)
        found.append(
            KitLineNow(
                want=want,
                number=None,
                issued=issued,
                came_back=0,
                on_hand=on_hand,
                built_in=built[want.design.pk],
                kept=before,
                kept_for=_kept_words(waiting),
                free=free,
                short=max(still - free, 0),
                bins=tuple(_bin_words(row) for row in here),
                elsewhere=_elsewhere(rows[want.design.pk]),
            )
        )
    return found


def _built_in(designs: Collection[int], besides: Collection[int]) -> dict[int, int]:
    built: dict[int, int] = defaultdict(int)
    items = Item.objects.filter(pk__in=besides, design__in=designs, place__kind__in=Place.ON_HAND, condition__in=USABLE)
    for design, pieces in items.values_list("design").annotate(total=Sum("pieces")):
        built[design] = pieces
    return built


def _bin_words(row: Balance) -> str:
    kind = "" if row.condition == Condition.NEW else f" {row.get_condition_display().lower()}"
    return f"{row.place.code}: {row.quantity}{kind}"


def _elsewhere(rows: Iterable[Balance]) -> tuple[str, ...]:
    """Who and what has the others, the most first: such as “Sela Marsh holds 2”, “1 in VM-1”."""
    away = sorted(
        (row for row in rows if row.place.kind not in Place.ON_HAND), key=lambda row: (-row.quantity, row.place.code)
    )
    said = [_away_words(row) for row in away[:PLACES_NAMED]]
    if rest := sum(row.quantity for row in away[PLACES_NAMED:]):
        said.append(f"{rest} more elsewhere")
    return tuple(said)


def _away_words(row: Balance) -> str:
    machine = row.place.machine
    return f"{row.quantity} in {machine.code}" if machine is not None else stands(row)


def kept_before(*, job: Job | None, designs: Collection[int]) -> dict[int, tuple[Reservation, ...]]:
    """By design, what is kept for other jobs that asked before this one; what was kept first stays kept."""
    held: dict[int, list[Reservation]] = defaultdict(list)
    rows = Reservation.objects.filter(design__in=designs, released_at=None).select_related("job").order_by("pk")
    for row in rows:
        held[row.design_id].append(row)
    found = {}
    for design, waiting in held.items():
        own = next((one.pk for one in waiting if job is not None and one.job_id == job.pk), None)
        before = tuple(one for one in waiting if own is None or one.pk < own)
        if before:
            found[design] = before
    return found


def kept_for_others(*, design: Design, job: Job | None) -> str:
    """What is kept for other jobs, when no more than that is left in the crib; nothing while there is enough."""
    waiting = kept_before(job=job, designs=[design.pk]).get(design.pk, ())
    if not waiting:
        return ""
    usable = Balance.objects.filter(design=design, place__kind__in=Place.ON_HAND, condition__in=USABLE)
    there = usable.aggregate(total=Sum("quantity"))["total"] or 0
    kept = sum(one.quantity for one in waiting)
    if there >= kept:
        return ""
    return f"Take care: {_kept_words(waiting)}, and only {there} {'is' if there == 1 else 'are'} left."


def _kept_words(waiting: Sequence[Reservation]) -> str:
    said = [f"{one.quantity} kept for {one.job.code}" for one in waiting[:3]]
    if rest := sum(one.quantity for one in waiting[3:]):
        said.append(f"{rest} for other jobs")
    return ", ".join(said)


def moves_of_kit(*, kit: Kit, act: str = "") -> QuerySet[Move]:
    """The lines of the ledger that a kit made: all, or those of one act (out, back)."""
    begin = f"kit:{kit.pk}:{act}:" if act else f"kit:{kit.pk}:"
    return Move.objects.filter(key__startswith=begin).select_related("design", "item", "from_place", "to_place", "who")


def left_of_kit(*, kit: Kit) -> list[LeftOver]:
    """What the person who drew a kit still holds of it; a fixed number of queries."""
    if kit.issued_to_id is None:
        return []
    owed: dict[int, int] = defaultdict(int)
    for line in kit.lines.all():
        owed[line.design_id] += line.issued - line.came_back
    held = Balance.objects.filter(design__in=owed, place__person=kit.issued_to_id, quantity__gt=0)
    homes = homes_for(designs=list(owed))
    found = [
        LeftOver(one.design, one.condition, one.pieces, one.pieces, homes.get(one.design_id), one)
        for one in Item.objects.filter(design__in=owed, place__person=kit.issued_to_id)
        .select_related("design", "place")
        .order_by("design__code", "pk")
    ]
    for row in held.select_related("design").order_by("design__code", "condition"):
        if loose := row.quantity - row.labelled:
            mine = max(min(loose, owed[row.design_id]), 0)
            owed[row.design_id] -= mine
            found.append(LeftOver(row.design, row.condition, mine, loose, homes.get(row.design_id)))
    return sorted(found, key=lambda one: (one.design.code, one.item is None, one.condition))


def homes_for(*, designs: Collection[int]) -> dict[int, Place]:
    """Where pieces of each design go when nobody says otherwise, as `home_for`; two queries."""
    most = Balance.objects.filter(
        design__in=designs, place__kind__in=Place.ON_HAND, place__retired_at__isnull=True
    ).select_related("place")
    homes = {row.design_id: row.place for row in most.order_by("quantity", "-place__code")}
    own = Place.objects.filter(home_of__in=designs, kind__in=Place.ON_HAND, retired_at__isnull=True)
    homes |= {one.home_of_id: one for one in own.order_by("-code") if one.home_of_id is not None}
    return homes
