"""What may be taken instead of a design that is not there: of the same function, and what differs, in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet, Sum

from crib.catalogue.errors import CouplingDoesNotFit
from crib.catalogue.models import Design
from crib.catalogue.services import check_coupling
from crib.stock.labels import make_label
from crib.stock.models import Balance, Item, Place
from crib.stock.selectors.standing import USABLE

SHOWN = 4
LOOKED_AT = 300
# A tip that is a little larger or smaller does the same when the path is corrected by it; a hole does not come out
# the same. Common practice, no source.
SHARE_OF_DIAMETER = 0.02
SAME_MM = 0.005
SAME_DEG = 0.05
MAKES_THE_HOLE = (Design.Kind.DRILL, Design.Kind.TAP)
CARRIES = (Design.Kind.BODY, Design.Kind.HOLDER)
# What must be the same, because another angle or pitch makes another part.
_DECIDES = ("included_angle_deg", "lead_angle_deg", "point_angle_deg", "pitch_mm")


@dataclass(frozen=True)
class Substitute:
    """A design that does the same; `text` is what to scan for it, `says` whether it fits and what differs."""

    design: Design
    on_hand: int
    place: Place
    text: str
    fits: bool
    says: str


def substitutes(*, design: Design) -> list[Substitute]:
    """Designs of the same function that lie in the crib, those that fit where this one fits first."""
    found = [one for one in _on_hand(design) if _does_the_same(design, one.design)]
    bodies = _bodies_for([design, *(one.design for one in found)])
    labels = _labels_in_the_crib([one.design for one in found])
    offered: dict[int, tuple[tuple[object, ...], Substitute]] = {}
    for row in found:
        other = row.design
        fits = _fits_the_same(design, other)
        carried = "" if fits else _goes_in(design, other, bodies)
        text = labels.get(other.pk, "") if other.kept_as_items else make_label("D", other.pk)
        if not (fits or carried) or not text:
            continue
        count = row.quantity + (offered[other.pk][1].on_hand if other.pk in offered else 0)
        differs = what_differs(design, other)
        begin = f"Fits {_where_it_fits(design)}." if fits else carried
        says = f"{begin} {_sentence(differs)}"
        place = offered[other.pk][1].place if other.pk in offered else row.place
        order = (not fits, len(differs), other.code)
        offered[other.pk] = order, Substitute(other, count, place, text, fits, says)
    return [one for _, one in sorted(offered.values(), key=lambda pair: pair[0])[:SHOWN]]


def _on_hand(design: Design) -> list[Balance]:
    alike = Q(design__kind=design.kind, design__retired_at__isnull=True) & ~Q(design=design.pk)
    for name in ("diameter_mm", *_DECIDES):
        alike &= _near(name, getattr(design, name), design)
    rows = Balance.objects.filter(
        alike, place__kind__in=Place.ON_HAND, place__retired_at__isnull=True, condition__in=USABLE, quantity__gt=0
    )
    joins = design.kind in CARRIES and design.machine_side_system and design.work_side_system
    if not joins and all(getattr(design, name) is None for name in ("diameter_mm", *_DECIDES)):
        # Without a figure or couplings to compare only what is said to wear alike counts as the same.
        rows = rows.filter(design__family=design.family).exclude(design__family="")
    return list(rows.select_related("design", "place").order_by("-quantity", "design__code", "place__code")[:LOOKED_AT])


def _near(name: str, value: float | None, design: Design) -> Q:
    if value is None:
        return Q(**{f"design__{name}__isnull": True})
    slack = SAME_DEG if name.endswith("_deg") else SAME_MM
    if name == "diameter_mm" and design.kind not in MAKES_THE_HOLE:
        slack = max(slack, value * SHARE_OF_DIAMETER)
    return Q(**{f"design__{name}__range": (value - slack, value + slack)})


def _does_the_same(design: Design, other: Design) -> bool:
    """What cannot be asked of the database: a body or holder carries what the other carries."""
    if design.kind not in CARRIES:
        return True
    return _coupling(design, "work") == _coupling(other, "work") and design.seats == other.seats


def _coupling(design: Design, side: str) -> tuple[str, str]:
    system, size = getattr(design, f"{side}_side_system"), getattr(design, f"{side}_side_size")
    return tuple("".join(word.replace("-", " ").split()).casefold() for word in (system, size))  # type: ignore[return-value]  # two words


def _fits_the_same(design: Design, other: Design) -> bool:
    return _coupling(design, "machine") == _coupling(other, "machine")


def _where_it_fits(design: Design) -> str:
    if design.kind == Design.Kind.HOLDER:
        return "the same spindle"
    if design.kind in (Design.Kind.TIP, Design.Kind.INSERT):
        return "the same body"
    return "the same holder"


def _bodies_for(tips: Iterable[Design]) -> list[Design]:
    """The bodies that might carry one of these, with how many of each lie in the crib as `here`."""
    systems = Q(pk__in=[])
    for system in {tip.machine_side_system for tip in tips if tip.kind not in CARRIES and tip.machine_side_system}:
        systems |= Q(work_side_system__iexact=system)
    lying = Q(balances__place__kind__in=Place.ON_HAND, balances__condition__in=USABLE, balances__quantity__gt=0)
    bodies: QuerySet[Design] = Design.objects.filter(systems, kind=Design.Kind.BODY, retired_at__isnull=True)
    return list(bodies.annotate(here=Sum("balances__quantity", filter=lying)).order_by("code")[:LOOKED_AT])


def _goes_in(design: Design, other: Design, bodies: list[Design]) -> str:
    """The body in the crib that carries the other tip in the same holder, in words; empty where there is none."""
    if design.kind in CARRIES:
        return ""
    usual = {_coupling(body, "machine") for body in bodies if _carries(body, design)}
    for body in bodies:
        here = getattr(body, "here", 0) or 0
        if here and _coupling(body, "machine") in usual and _carries(body, other):
            return f"Has another coupling: goes in {body.code} ({here} in the crib), which fits the same holder."
    return ""


def _carries(body: Design, tip: Design) -> bool:
    try:
        check_coupling(tip=tip, body=body)
    except CouplingDoesNotFit:
        return False
    return bool(body.work_side_system)


def _labels_in_the_crib(designs: list[Design]) -> dict[int, str]:
    """A label for each design that is kept piece by piece, of one that lies in the crib."""
    kept = [design.pk for design in designs if design.kept_as_items]
    lying = Item.objects.filter(design__in=kept, place__kind__in=Place.ON_HAND, condition__in=USABLE)
    return {item.design_id: item.label for item in lying.order_by("-pk")[:LOOKED_AT]}


def what_differs(design: Design, other: Design) -> list[str]:
    """Each figure in which the other design differs, in words that name both."""
    said = [words for compare in _COMPARED if (words := compare(design, other))]
    if design.family and other.family and design.family != other.family:
        said.append(f"{other.family} instead of {design.family}")
    return said


def _length(name: str, words: str) -> Callable[[Design, Design], str]:
    def compare(design: Design, other: Design) -> str:
        was, now = getattr(design, name), getattr(other, name)
        if was is None and now is None:
            return ""
        if was is not None and now is not None and abs(was - now) <= SAME_MM:
            return ""
        return f"{words} {_mm(now)} instead of {_mm(was)}"

    return compare


def _count(name: str, words: str) -> Callable[[Design, Design], str]:
    def compare(design: Design, other: Design) -> str:
        was, now = getattr(design, name), getattr(other, name)
        return "" if was == now or not was or not now else f"{now} {words} instead of {was}"

    return compare


def _speed(design: Design, other: Design) -> str:
    was, now = design.max_spindle_speed, other.max_spindle_speed
    if now is None or (was is not None and now >= was):
        return ""
    return f"runs at most {now:g} 1/min"


def _mm(value: float | None) -> str:
    return "not written down" if value is None else f"{value:g} mm"


def _sentence(differs: list[str]) -> str:
    if not differs:
        return "Nothing else written down differs."
    words = "; ".join(differs)
    return f"Look at: {words}."


_COMPARED: tuple[Callable[[Design, Design], str], ...] = (
    _length("diameter_mm", "diameter"),
    _length("tip_flat_mm", "tip flat"),
    _length("corner_radius_mm", "corner radius"),
    _length("max_depth_mm", "largest depth"),
    _length("shank_mm", "shank"),
    _length("length_mm", "length"),
    _count("teeth", "teeth"),
    _count("edges", "edges"),
    _speed,
)
