"""How the lots of a design lived, beside each other: under one law, so that speed and early changes do not differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from calc.life.lots import compare_lots, lots_that_differ
from calc.life.predictive import remaining
from crib.life.laws import FIGURES, Duty, beliefs, law_of
from crib.life.models import LifeModel
from crib.life.selectors.drift import Stood, how_edges_stood


@dataclass(frozen=True, slots=True)
class LotLife:
    """One lot in one group: its edges, its typical life in minutes at the duty asked for, and how it compares."""

    lot: str
    first_put_in_at: datetime
    edges: int
    ended: int
    factor: float
    factor_low: float
    factor_high: float
    life: float
    low: float
    high: float
    worse: float | None
    stands_out: bool

    @property
    def named(self) -> str:
        return self.lot or "Not written down"


def lots_of(*, model: LifeModel, duty: Duty | None = None) -> list[LotLife]:
    """The lots behind a model in the order they came in use, at its reference duty unless another is given.

    Edges whose lot nobody wrote down are shown as if they were one, and take part in no comparison.
    """
    by_lot: dict[str, list[Stood]] = {}
    for one in how_edges_stood(models=[model])[model.pk]:
        by_lot.setdefault(one.lot, []).append(one)
    known = {lot: edges for lot, edges in by_lot.items() if lot}
    if not known:
        return []
    law = law_of(model)
    at = duty or Duty(*(law.reference.get(name) for name in FIGURES))
    typical = float(remaining(np.zeros(1), beliefs([law], [at]))[0, 1])
    unknown = {lot: edges for lot, edges in by_lot.items() if not lot}
    beside_all = _compared(by_lot, law.shape, typical, known=False)
    return _compared(known, law.shape, typical, known=True) + [row for row in beside_all if row.lot in unknown]


def _compared(by_lot: dict[str, list[Stood]], shape: float, typical: float, *, known: bool) -> list[LotLife]:
    rows = [(number, one) for number, edges in enumerate(by_lot.values()) for one in edges]
    lots = compare_lots(
        [number for number, _ in rows], [one.ended for _, one in rows], [one.chance for _, one in rows], shape
    )
    bad: Sequence[int] = lots_that_differ(lots).tolist() if known and len(by_lot) > 1 else []
    return [
        LotLife(
            lot=lot,
            first_put_in_at=edges[0].put_in_at,
            edges=len(edges),
            ended=int(lots.ended[number]),
            factor=float(lots.factor[number]),
            factor_low=float(lots.low[number]),
            factor_high=float(lots.high[number]),
            life=typical * float(lots.factor[number]),
            low=typical * float(lots.low[number]),
            high=typical * float(lots.high[number]),
            worse=float(lots.worse[number]) if known and len(by_lot) > 1 else None,
            stands_out=number in bad,
        )
        for number, (lot, edges) in enumerate(by_lot.items())
    ]
