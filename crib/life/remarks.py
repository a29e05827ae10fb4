"""What the lives of a group leave untold, in words that stand beside the fit."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crib.life.laws import FIGURES, Floats

BEYOND_SENSE = "the fit gave a life beyond sense, so what was known before stands"
# Lives within 1 % of each other are one count that the shop changes at, not the spread of wear.
ALIKE, FEWEST_ALIKE = 0.01, 3
# Covariates are logarithms: duties within 2 % are one duty.
ONE_DUTY = 0.02
FEWEST_APART = 2
LONGEST = 200
SPOKEN = ("speed", "feed", "depth", "width")


class Seen(NamedTuple):
    """The lives of one group: which wore out, exposures by the starting law, the last duty of each, and all duties."""

    worn: npt.NDArray[np.bool_]
    exposure: Floats
    last: Floats
    duties: Floats

    @property
    def all_alike(self) -> bool:
        """Whether all worn edges lasted the same, which says nothing of how lives spread."""
        lasted = self.exposure[self.worn]
        return bool(lasted.size >= FEWEST_ALIKE and lasted.max() <= (1 + ALIKE) * lasted.min())


def remark(seen: Seen, *, left_out: int) -> str:
    """What these lives cannot tell; empty where they tell all."""
    said = []
    if left_out:
        said.append(f"{left_out} {'life' if left_out == 1 else 'lives'} beyond sense left out")
    count = int(seen.worn.sum())
    if seen.worn.size and not count:
        said.append("no edge has worn out yet: the lives say only what edges last at least")
    elif count == 1:
        said.append("one worn edge says nothing of how lives spread")
    elif seen.all_alike:
        said.append("all worn edges lasted alike, so the spread of lives is the starting value's")
    if count > 1:
        said += _duties(seen)
    return "; ".join(said)[:LONGEST]


def _duties(seen: Seen) -> list[str]:
    if np.ptp(seen.duties, axis=0).max() < ONE_DUTY:
        return ["all edges ran at one duty, so what another does is the starting value's"]
    taken_off, worn = seen.last[~seen.worn], seen.last[seen.worn]
    if min(len(taken_off), len(worn)) < FEWEST_APART:
        return []
    said = []
    for column, name in enumerate(SPOKEN, start=1):
        on, off = worn[:, column], taken_off[:, column]
        if on.min() > off.max() + ONE_DUTY or on.max() < off.min() - ONE_DUTY:
            said.append(f"no {name} saw both worn edges and others, so its effect leans on the starting value")
    return said


assert len(SPOKEN) == len(FIGURES)
