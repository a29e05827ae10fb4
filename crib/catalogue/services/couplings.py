"""Does it fit? Machine, holder, body and tip are joined side by side; each joint is compared by system and size."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from crib.catalogue.errors import CouplingDoesNotFit
from crib.catalogue.models import Design, Machine

_RANGE = re.compile(r"\A(\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(\d+(?:\.\d+)?)\Z")
_NUMBER = re.compile(r"\A\d+(?:\.\d+)?\Z")
FITS_IN_BODY = (Design.Kind.TIP, Design.Kind.INSERT, Design.Kind.DRILL, Design.Kind.TAP, Design.Kind.SOLID_MILL)


@dataclass(frozen=True)
class _Side:
    owner: str
    where: str
    system: str
    size: str

    @property
    def words(self) -> str:
        return " ".join(part for part in (self.system, self.size) if part) or "nothing written down"


def check_coupling(
    *,
    tip: Design | None = None,
    body: Design | None = None,
    holder: Design | None = None,
    machine: Machine | None = None,
) -> None:
    """Refuse parts that do not go together, each pair that is given from the machine down to the tip.

    `tip` is whatever cuts: a tip or insert in a body, or a solid tool straight in the holder. Where neither side has
    a coupling written down there is nothing to compare, and nothing is refused.
    """
    _check_kind("body", body, (Design.Kind.BODY,))
    _check_kind("holder", holder, (Design.Kind.HOLDER,))
    _check_kind("tip", tip, FITS_IN_BODY)
    chain = [side for side in (machine, holder, body, tip) if side is not None]
    for carrier, carried in pairwise(chain):
        assert isinstance(carried, Design)
        _join(_towards_work(carrier), _towards_machine(carried))


def _check_kind(field: str, design: Design | None, kinds: tuple[Design.Kind, ...]) -> None:
    if design is not None and design.kind not in kinds:
        is_a = design.get_kind_display().lower()
        wanted = " or ".join(kind.label.lower() for kind in kinds)
        raise CouplingDoesNotFit(f"{design.code} is a {is_a}; here goes a {wanted}.", field=field)


def _towards_work(carrier: Design | Machine) -> _Side:
    if isinstance(carrier, Machine):
        return _Side(f"Machine {carrier.code}", "spindle nose", carrier.nose_system, carrier.nose_size)
    return _Side(carrier.code, "side towards the work", carrier.work_side_system, carrier.work_side_size)


def _towards_machine(carried: Design) -> _Side:
    return _Side(carried.code, "side towards the machine", carried.machine_side_system, carried.machine_side_size)


def _join(takes: _Side, goes_in: _Side) -> None:
    if not takes.system and not goes_in.system:
        return
    if _same(takes.system, goes_in.system) and _sizes_fit(takes.size, goes_in.size):
        return
    what = "system" if not _same(takes.system, goes_in.system) else "size"
    raise CouplingDoesNotFit(
        f"{goes_in.owner} does not fit {takes.owner}: the {what} differs. "
        f"{takes.owner} has {takes.words} on its {takes.where}; "
        f"{goes_in.owner} has {goes_in.words} on its {goes_in.where}.",
        field="coupling",
    )


def _same(one: str, other: str) -> bool:
    return _plain(one) == _plain(other)


def _sizes_fit(takes: str, goes_in: str) -> bool:
    """Equal, or a chuck's range such as "3-16" that holds the shank's size."""
    if _same(takes, goes_in):
        return True
    span, size = _RANGE.match(takes.strip()), _NUMBER.match(goes_in.strip())
    if span is None or size is None:
        return False
    return float(span[1]) <= float(size[0]) <= float(span[2])


def _plain(word: str) -> str:
    return re.sub(r"[\s\-]+", "", word).casefold()
