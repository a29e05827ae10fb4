"""What was ever cut by edges of one group: the range of each condition, and how far beyond it another one lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from crib.floor.models import Operation
from crib.life.laws import FIGURES, Key
from crib.life.selectors.groups import lives_by_group

# Speeds that differ by less say nothing of what speed does.
ALIKE = 1.02
# Rounding of what was typed is no step into the unknown.
CLOSE = 1.005
WORDS: dict[str, tuple[str, str, str]] = {
    "surface_speed": ("speed", "faster", "slower"),
    "feed": ("feed", "more feed", "less feed"),
    "depth": ("depth", "deeper", "shallower"),
    "width": ("width", "wider", "narrower"),
}


@dataclass(frozen=True, slots=True)
class CutHere:
    """Lowest and highest of each condition at which edges of the group have cut, in the unit of the operation."""

    ranges: Mapping[str, tuple[float, float]]
    edges: int
    source: str

    def beyond(self, operation: Operation) -> tuple[str, ...]:
        """How far an operation's conditions lie beyond all that was cut, in sentences."""
        said = []
        for name, (low, high) in self.ranges.items():
            value = getattr(operation, name)
            if not value:
                continue
            _, more, less = WORDS[name]
            if value > high * CLOSE:
                said.append(f"{_percent(value / high - 1)} {more} than anything cut here: extrapolated.")
            elif value < low / CLOSE:
                said.append(f"{_percent(1 - value / low)} {less} than anything cut here: extrapolated.")
        return tuple(said)

    @property
    def untold(self) -> tuple[str, ...]:
        """Which conditions never differed, so that what they do is the starting value's."""
        if not self.edges:
            return (f"No edge has cut here yet: all of this is the starting value's ({self.source}).",)
        alike = [WORDS[name][0] for name, (low, high) in self.ranges.items() if high < low * ALIKE]
        if not alike:
            return ()
        listed = " and ".join([", ".join(alike[:-1]), alike[-1]] if len(alike) > 1 else alike)
        does = "what these do" if len(alike) > 1 else "what it does"
        return (f"All edges here ran at one {listed}: {does} to the life is the starting value's ({self.source}).",)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 else "Under 1 %"


def cut_here(*, operation: Operation, source: str) -> CutHere:
    """What edges of the operation's group have cut; one query."""
    key = Key(operation.tip_id, operation.material_id, operation.kind_of_cut)
    edges = lives_by_group(keys=[key])[key]
    duties = [stretch.duty for life in edges for stretch in life.stretches if stretch.is_of(key)]
    ranges = {}
    for name in FIGURES:
        seen = [value for duty in duties if (value := getattr(duty, name))]
        if seen:
            ranges[name] = (min(seen), max(seen))
    return CutHere(ranges, len(edges), source)
