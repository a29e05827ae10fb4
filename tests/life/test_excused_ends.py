"""What lives learn of excused ends: that the edge lasted at least so long, and no more."""

from __future__ import annotations

import pytest

from crib.floor import services as floor
from crib.life import services
from crib.life.laws import law_of
from crib.life.models import LifeModel
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def learnt() -> tuple[int, int, int]:
    services.refit_all()
    model = LifeModel.objects.get()
    return model.ended, model.broken, model.censored


@pytest.mark.parametrize("outcome", ["worn", "chipped", "broken"])
def test_an_excused_end_counts_as_taken_off_at_that_age(shop: Shop, outcome: str) -> None:
    odd = add_edges(shop, [*WORN, Past(9, outcome)])[-1]
    before = learnt()
    assert before[2] == 0
    floor.excuse_end(edge=odd, excuse="wrong_offset", note="Ran 2 mm deep", who=shop.lead)
    assert learnt() == (10, 0, 1)
    excused = law_of(LifeModel.objects.get())
    # By another way: the same edge, really taken off.
    floor.count_again(edge=odd, who=shop.lead)
    assert learnt() == before
    type(odd).objects.filter(pk=odd.pk).update(outcome="taken_off_early")
    assert learnt() == (10, 0, 1)
    taken_off = law_of(LifeModel.objects.get())
    assert excused.mean == pytest.approx(taken_off.mean, abs=1e-9)
    assert excused.breaks == pytest.approx(taken_off.breaks)
