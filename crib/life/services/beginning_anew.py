"""Where the lives of a group have changed for good: learn from what was put in since, or from everything again."""

from __future__ import annotations

from django.db import transaction

from crib.core import clock
from crib.core.errors import Refused
from crib.life.models import LifeModel
from crib.life.selectors.drift import drift_of
from crib.life.services.refitting import ask_for_refit
from crib.people.models import Person
from crib.people.services import record_change


@transaction.atomic
def learn_anew(*, model: LifeModel, who: Person) -> LifeModel:
    """Have a group learn only from edges put in since its lives changed; what was before stays in the books."""
    model = LifeModel.objects.select_for_update(of=("self",)).get(pk=model.pk)
    drift = drift_of(model)
    if drift is None:
        raise Refused(f"Nothing shows that lives of {model} have changed, so there is no day to start from.")
    model.drift = {
        "learn_since": drift.since.isoformat(),
        "learn_by": str(who),
        "learn_at": clock.now().isoformat(),
        "learn_words": drift.words,
    }
    model.save(update_fields=["drift"])
    _noted(model, who, "learns anew", since=drift.since, because=drift.words)
    return model


@transaction.atomic
def learn_from_all(*, model: LifeModel, who: Person) -> LifeModel:
    """Have a group learn from all its edges again."""
    model = LifeModel.objects.select_for_update(of=("self",)).get(pk=model.pk)
    if "learn_since" not in model.drift:
        raise Refused(f"{model} learns from all its edges already.")
    since = model.drift["learn_since"]
    model.drift = {}
    model.save(update_fields=["drift"])
    _noted(model, who, "learns from all edges", before_from=since)
    return model


def _noted(model: LifeModel, who: Person, act: str, **details: object) -> None:
    record_change(who=who, what="life model", which=str(model), act=act, details=details)
    ask_for_refit(who=who)
