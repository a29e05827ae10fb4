"""What is believed of edges of some group: as the shop has learnt it, else by what stands nearest."""

from __future__ import annotations

from collections.abc import Sequence

from crib.catalogue.models import Design
from crib.floor.models import Operation
from crib.life.laws import Key, Law, duty_of, law_after_regrind, law_of, starting_law
from crib.life.models import LifeModel, LifePrior
from crib.life.selectors.groups import all_priors, models_by_key


def laws_at(places: Sequence[tuple[Design, bool, Operation]]) -> list[tuple[Law, LifeModel | None]]:
    """What is believed of a design at an operation, its edges new or (true) reground; with the life model, if any.

    Without a model of their own reground edges begin from the new edges of their design, and new ones from the starting
    value. At most two queries.
    """
    keys = [Key(design.pk, work.material_id, work.kind_of_cut, reground) for design, reground, work in places]
    models = models_by_key({one for key in keys for one in (key, key.new)})
    priors = all_priors() if any(key not in models for key in keys) else []
    return [_law(key, design, work, models, priors) for key, (design, _, work) in zip(keys, places, strict=True)]


def _law(
    key: Key, design: Design, work: Operation, models: dict[Key, LifeModel], priors: Sequence[LifePrior]
) -> tuple[Law, LifeModel | None]:
    model, new = models.get(key), models.get(key.new)
    if model is not None:
        return law_of(model), model
    if new is not None:
        return law_after_regrind(law_of(new)), None
    start = starting_law(
        design=design, material=work.material, kind_of_cut=key.kind_of_cut, duty=duty_of(work), priors=priors
    )
    return law_after_regrind(start) if key.reground else start, None
