"""What may be taken instead of a design that ran out: composed of what lies in the crib and what the lives say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from crib.catalogue.models import Design, Job
from crib.life.selectors import part_used_tips
from crib.stock import selectors
from crib.stock.counter import Short
from crib.stock.labels import make_label
from crib.stock.models import Condition

PART_USED_SHOWN = 3


@dataclass(frozen=True)
class Offer:
    """One thing to take: what to send as a scan for it, what it is, and what to know of it."""

    text: str
    takes: str
    words: str
    says: str
    tone: str


@dataclass(frozen=True)
class Instead:
    """The question and what is offered; nothing offered is an answer too."""

    design: Design
    offers: Sequence[Offer]


def what_instead(*, short: Short | None, job: Job | None) -> Instead | None:
    """The offers for what was short at the counter; nothing when nothing was."""
    design = None if short is None else Design.objects.filter(pk=short.design).first()
    if short is None or design is None:
        return None
    offers = [
        *_what_is_left(design, short.quantity),
        *_part_used(design, job),
        *_of_the_same_function(design, short.quantity),
    ]
    return Instead(design, offers)


def _what_is_left(design: Design, asked: int) -> list[Offer]:
    """The loose pieces of the design itself, when they are only too few, by condition."""
    here: dict[str, int] = {}
    for row in selectors.shelves(design=design, quantity=asked):
        here[row.condition] = max(here.get(row.condition, 0), row.quantity - row.labelled)
    if not here:
        return []
    ((condition, count), *_) = here.items()
    kind = "" if condition == Condition.NEW else f" {Condition(condition).label.lower()}"
    words = f"{count}{kind} × {design.code}"
    label = make_label("D", design.pk)
    return [Offer(f"{count}*{label}", f"Take {count}", words, "All that lies loose in one bin.", "good")]


def _part_used(design: Design, job: Job | None) -> list[Offer]:
    """Tips that have cut before: those that last the rest of the job first, else what is left of each."""
    offers = []
    for tip in part_used_tips(designs=[design], job=job)[:PART_USED_SHOWN]:
        chance = "" if tip.chance is None else f" Chance that it lasts the rest of the batch: {_percent(tip.chance)}."
        words = f"Part-used {design.code} {tip.item.label} in {tip.place.code}"
        tone = "good" if tip.enough else "caution"
        offers.append(Offer(tip.item.label, "Take it", words, f"{tip.says}.{chance}", tone))
    return offers


def _percent(chance: float) -> str:
    """Whole percents that never promise more than there is."""
    return "less than 1 %" if chance < 0.01 else f"{math.floor(chance * 100)} %" if chance < 1 else "more than 99 %"


def _of_the_same_function(design: Design, asked: int) -> list[Offer]:
    offers = []
    for one in selectors.substitutes(design=design):
        count = 1 if one.design.kept_as_items else min(asked, one.on_hand)
        text = one.text if count == 1 else f"{count}*{one.text}"
        words = f"{one.design.code} · {one.on_hand} in {one.place.code}"
        says = f"{one.design.description}. {one.says}"
        offers.append(Offer(text, f"Take {count}", words, says, "good" if one.fits else "caution"))
    return offers
