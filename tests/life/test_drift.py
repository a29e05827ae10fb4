"""Lives that fall: noticed after a refit, with since when, how much and how surely; and what a lead may do then."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from calc.life.drift import find_drift
from crib.core import clock
from crib.core.errors import Refused
from crib.floor import services as floor
from crib.floor.models import Edge
from crib.life import selectors, services
from crib.life.laws import Key, law_of
from crib.life.models import LifeModel, RefitMark
from crib.life.selectors.drift import due_for_drift, how_edges_stood
from crib.life.services import drifting
from crib.people.models import ChangeRecord
from tests.life.lives import WORN, Past, add_edges, add_in_order, fallen
from tests.shop import Shop


def learnt() -> LifeModel:
    services.refit_all()
    return LifeModel.objects.select_related("design", "material").get()


def test_lives_that_halve_are_noticed_and_dated(shop: Shop) -> None:
    edges = add_in_order(shop, fallen())
    model = learnt()
    drift = selectors.drift_of(model)
    assert drift is not None
    edges[16].refresh_from_db()
    assert drift.since == edges[16].put_in_at
    assert (drift.falling, drift.edges_since, drift.ended_since) == (True, 10, 10)
    assert drift.p_value <= drifting.CERTAIN
    assert drift.low < 0.5 < drift.high
    assert drift.low < drift.factor < drift.high < 0.75
    assert "shorter since" in drift.words
    assert "10 edges put in since, 10 of them ended" in drift.words
    assert selectors.falling_lives() == [selectors.Falling(model, sure=True)]


def test_lives_that_rise_are_no_fall(shop: Shop) -> None:
    add_in_order(shop, [*fallen()[16:], *fallen()[:16]])
    drift = selectors.drift_of(learnt())
    assert drift is not None
    assert not drift.falling
    assert "longer since" in drift.words
    assert selectors.falling_lives() == []


def test_steady_lives_leave_no_evidence(shop: Shop) -> None:
    add_in_order(shop, [*WORN, *WORN])
    model = learnt()
    assert selectors.drift_of(model) is None
    assert selectors.drift_shown(model=model) is None


def test_seven_ends_are_too_few_to_judge(shop: Shop) -> None:
    add_in_order(shop, [Past(60, "worn")] * 4 + [Past(6, "worn")] * 3)
    assert learnt().drift == {}


def test_more_speed_is_not_taken_for_a_fall(shop: Shop) -> None:
    slow = add_in_order(shop, fallen(16, 0))
    fast = floor.create_operation(
        who=shop.engineer, job=shop.job, number=90, name="Faster", machine=shop.machine, tip=shop.chamfer_tip,
        body=shop.body, material=shop.material, kind_of_cut="chamfering",
        surface_speed=2 ** (1 / 4) * (slow[0].operation.surface_speed or 0) if slow[0].operation else 0,
        feed=shop.operation.feed, depth=shop.operation.depth,
    )  # fmt: skip
    add_in_order(shop, fallen(0, 10), from_days_ago=40, operation=fast)
    assert selectors.drift_of(learnt()) is None


def test_breaks_by_entry_are_expected_by_entries(shop: Shop) -> None:
    type(shop.operation).objects.update(entries_per_part=4)
    edge = add_in_order(shop, [*WORN, Past(30, "broken")])[-1]
    model = learnt()
    law = law_of(model)
    assert law.breaks_by_entry
    stood = next(one for one in how_edges_stood(models=[model])[model.pk] if one.edge == edge.pk)
    # 30 minutes at the reference duty, 15 parts of 4 entries each.
    wear = (30 / math.exp(law.mean[0])) ** law.shape
    assert stood.chance == pytest.approx(wear + law.breaks / law.break_entries * 60)


def test_an_excused_end_is_no_evidence(shop: Shop) -> None:
    edges = add_in_order(shop, fallen())
    assert selectors.drift_of(learnt()) is not None
    for edge in edges[16:]:
        floor.excuse_end(edge=edge, excuse="clamping", note="The vice was loose", who=shop.engineer)
    assert selectors.drift_of(learnt()) is None


def test_the_lot_that_came_with_the_fall_is_named(shop: Shop) -> None:
    edges = add_in_order(shop, fallen())
    for edge in edges[16:]:
        type(edge.item).objects.filter(pk=edge.item_id).update(lot="L-88")
    model = learnt()
    assert model.drift["lot"] == "L-88"
    assert model.drift["words"].endswith("Most of them are of lot L-88.")


def test_it_is_looked_for_once_for_the_same_data(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    add_in_order(shop, fallen())
    learnt()
    assert due_for_drift() == []
    asked = []
    monkeypatch.setattr(drifting, "find_drift", lambda *given: asked.append(given))
    services.refit_all()
    assert [given[0] for given in asked] == [[]]


def test_a_look_that_was_cut_short_is_made_good(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    add_in_order(shop, fallen())

    def killed(**_: object) -> int:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("crib.life.services.refitting.note_drift", killed)
        with pytest.raises(KeyboardInterrupt):
            services.refit_all()
    assert selectors.falling_lives() == []
    assert services.refit_is_due()
    assert selectors.drift_of(learnt()) is not None


def test_only_the_groups_asked_for_are_looked_at(shop: Shop) -> None:
    add_in_order(shop, fallen())
    model = learnt()
    LifeModel.objects.update(drift={})
    elsewhere = Key(model.design_id, model.material_id, "turning")
    assert services.note_drift(keys=[elsewhere]) == 0
    assert services.note_drift(keys=[Key(model.design_id, model.material_id, "chamfering")]) == 1


def test_evidence_in_doubt_neither_comes_up_nor_goes(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    add_in_order(shop, fallen())
    model = learnt()
    found = find_drift

    def at(p_value: float) -> bool:
        def told(*given: object) -> object:
            answer = found(*given)  # type: ignore[arg-type]  # passed on as they came
            answer.p_value[:] = p_value
            return answer

        monkeypatch.setattr(drifting, "find_drift", told)
        LifeModel.objects.update(drift={**LifeModel.objects.get().drift, "mark": "before"})
        services.note_drift()
        return selectors.drift_of(LifeModel.objects.get()) is not None

    assert at(0.03), model
    assert not at(0.06)
    assert not at(0.03)
    assert at(0.01)


def test_the_page_gets_the_sum_of_what_was_not_expected(shop: Shop) -> None:
    add_in_order(shop, fallen())
    shown = selectors.drift_shown(model=learnt())
    assert shown is not None
    assert shown.began_at == 16
    assert len(shown.beyond) == len(shown.edges) == 26
    # Falling while the edges outlast the law, rising from where they no longer do.
    assert shown.beyond[15] == min(shown.beyond)
    assert shown.beyond[-1] > shown.beyond[15]


def test_how_edges_stood_takes_as_many_queries_for_many_edges_as_for_few(
    shop: Shop, django_assert_num_queries: object
) -> None:
    counts = []
    for pasts in (fallen(), fallen(30, 10)):
        add_in_order(shop, pasts)
        models = [learnt()]
        with django_assert_num_queries(3):  # type: ignore[operator]  # pytest-django's fixture has no public type
            counts.append(len(how_edges_stood(models=models)[models[0].pk]))
    assert counts == [26, 66]


def test_a_fall_in_one_group_of_many_is_sure_only_when_chance_hardly_shows_as_much(shop: Shop) -> None:
    add_in_order(shop, fallen())
    model = learnt()
    for number in range(20):
        design = shop.design(f"CT-{number}")
        LifeModel.objects.create(design=design, material=model.material, kind_of_cut="chamfering", ended=8 + number)
    for p_value, sure in ((0.004, True), (0.006, False)):
        LifeModel.objects.filter(pk=model.pk).update(drift={**model.drift, "p": p_value})
        assert [one.sure for one in selectors.falling_lives()] == [sure]


# --- beginning anew -----------------------------------------------------------------------------------


def test_a_group_learns_anew_from_where_its_lives_fell_and_from_all_again(shop: Shop) -> None:
    add_in_order(shop, fallen())
    model = learnt()
    since = model.drift["since"]
    services.learn_anew(model=model, who=shop.lead)
    mark = RefitMark.objects.get()
    assert mark.refit_asked_by == shop.lead
    model = learnt()
    assert (model.ended, model.drift["learn_since"], model.drift["learn_by"]) == (10, since, "Lena Holt")
    assert selectors.drift_of(model) is None
    assert ChangeRecord.objects.filter(what="life model", act="learns anew", who=shop.lead).exists()
    services.learn_from_all(model=model, who=shop.lead)
    model = learnt()
    assert model.ended == 26
    assert selectors.drift_of(model) is not None


def test_an_edge_put_in_later_counts_for_a_group_that_learns_anew(shop: Shop) -> None:
    add_in_order(shop, fallen())
    services.learn_anew(model=learnt(), who=shop.lead)
    add_edges(shop, [Past(26, "worn")])
    Edge.objects.filter(minutes=26).update(put_in_at=clock.now() - timedelta(days=1))
    model = learnt()
    assert model.ended == 11
    assert "learn_since" in model.drift


def test_nothing_begins_anew_without_evidence(shop: Shop) -> None:
    add_in_order(shop, [*WORN, *WORN])
    model = learnt()
    with pytest.raises(Refused, match="no day to start from"):
        services.learn_anew(model=model, who=shop.lead)
    with pytest.raises(Refused, match="all its edges already"):
        services.learn_from_all(model=model, who=shop.lead)
