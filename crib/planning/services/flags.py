"""Raising and clearing flags, and keeping the one suggestion of each design: what the worker writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import IntegrityError, transaction

from crib.catalogue.models import Design
from crib.core import clock
from crib.planning.judging import Buy, Judgement, Trouble
from crib.planning.models import Flag, FlagCheck, Suggestion
from crib.planning.selectors.gather import StockNow


@dataclass(slots=True)
class Written:
    """How many flags were raised and cleared, and suggestions made or changed."""

    raised: int = 0
    cleared: int = 0
    suggested: int = 0

    def __iadd__(self, other: Written) -> Written:
        self.raised += other.raised
        self.cleared += other.cleared
        self.suggested += other.suggested
        return self


def write_judgements(*, judgements: Sequence[tuple[Design, StockNow, Judgement]]) -> Written:
    """Write what was judged of each design, and at which state of its stock."""
    done = Written()
    open_flags: dict[int, dict[str, Flag]] = {}
    ids = [design.pk for design, _, _ in judgements]
    for flag in Flag.objects.filter(design__in=ids, cleared_at=None, kind__in=Flag.OF_STOCK):
        open_flags.setdefault(flag.design_id, {})[flag.kind] = flag
    suggestions = {one.design_id: one for one in Suggestion.objects.filter(design__in=ids, state=Suggestion.State.OPEN)}
    for design, stock, judged in judgements:
        try:
            with transaction.atomic():
                flags = _write_flags(design, judged, open_flags.get(design.pk, {}), done)
                _write_suggestion(design, judged.buy, flags, suggestions.get(design.pk), done)
                _write_check(design, stock)
        except IntegrityError:
            # Another worker wrote this design in the same moment; it is looked at again when it is due.
            continue
    return done


def clear_flags_of_retired() -> int:
    """Clear what stands open for designs that are no longer bought."""
    gone = Flag.objects.filter(cleared_at=None, design__retired_at__isnull=False)
    cleared = gone.update(cleared_at=clock.now(), cleared_because="The design is retired.")
    Suggestion.objects.filter(state=Suggestion.State.OPEN, design__retired_at__isnull=False).update(
        state=Suggestion.State.LAPSED, decided_at=clock.now()
    )
    return cleared


def _write_flags(design: Design, judged: Judgement, before: dict[str, Flag], done: Written) -> list[Flag]:
    standing: list[Flag] = []
    for trouble in judged.troubles:
        flag = before.get(trouble.kind)
        if flag is None:
            if not trouble.covered:
                standing.append(_raise(design, trouble))
                done.raised += 1
        else:
            _bring_up_to_date(flag, trouble)
            standing.append(flag)
    kinds = {trouble.kind for trouble in judged.troubles}
    for kind, flag in before.items():
        if kind not in kinds:
            flag.cleared_at, flag.cleared_because = clock.now(), _reason(kind, judged)
            flag.save(update_fields=["cleared_at", "cleared_because"])
            done.cleared += 1
    return standing


def _raise(design: Design, trouble: Trouble) -> Flag:
    return Flag.objects.create(
        design=design,
        kind=trouble.kind,
        raised_at=clock.now(),
        short_on=trouble.short_on,
        says=trouble.says[:300],
        evidence=trouble.evidence,
    )


def _bring_up_to_date(flag: Flag, trouble: Trouble) -> None:
    now = (trouble.short_on, trouble.says[:300], trouble.evidence, trouble.covered)
    if (flag.short_on, flag.says, flag.evidence, flag.covered) != now:
        flag.short_on, flag.says, flag.evidence, flag.covered = now
        flag.save(update_fields=["short_on", "says", "evidence", "covered"])


def _reason(kind: str, judged: Judgement) -> str:
    if judged.well:
        return f"{judged.well}."[:200]
    other = Flag.Kind.WILL_RUN_SHORT if kind == Flag.Kind.BELOW_REORDER_POINT else Flag.Kind.BELOW_REORDER_POINT
    return f"No longer so; “{other.label.lower()}” still stands."


def _write_suggestion(
    design: Design, buy: Buy | None, flags: Sequence[Flag], before: Suggestion | None, done: Written
) -> None:
    if buy is None:
        if before is not None:
            _decide(before, Suggestion.State.LAPSED)
        return
    flag = min(
        (one for one in flags if not one.covered), key=lambda one: one.kind != Flag.Kind.WILL_RUN_SHORT, default=None
    )
    said = {
        "flag_id": flag.pk if flag else None,
        "offer_id": buy.offer.pk if buy.offer else None,
        "quantity": buy.quantity,
        "unit_price": buy.unit_price,
        "order_by": buy.order_by,
        "for_month": buy.for_month,
        "says": buy.says[:300],
        "reasons": buy.reasons,
    }
    if before is None:
        Suggestion.objects.create(design=design, made_at=clock.now(), **said)
    elif any(getattr(before, name) != value for name, value in said.items()):
        # One that was ordered in this moment is left as it was ordered.
        if not Suggestion.objects.filter(pk=before.pk, state=Suggestion.State.OPEN).update(**said):
            return
    else:
        return
    done.suggested += 1


def _decide(suggestion: Suggestion, state: str) -> None:
    Suggestion.objects.filter(pk=suggestion.pk, state=Suggestion.State.OPEN).update(state=state, decided_at=clock.now())


def _write_check(design: Design, stock: StockNow) -> None:
    """At the revision that was read before the numbers were worked out: a move since then makes it due again."""
    FlagCheck.objects.update_or_create(
        design=design, defaults={"revision": stock.revision, "checked_on": clock.today()}
    )
