"""Ends that were not the tip's fault: who may say so, what is kept of it, and that it can be taken back."""

from __future__ import annotations

import pytest

from crib.core.errors import BadInput
from crib.floor import services
from crib.floor.errors import EdgeExcused
from crib.floor.models import Edge
from crib.people.models import ChangeRecord
from tests.life.lives import Past, add_edges
from tests.shop import Shop


@pytest.fixture
def broken(shop: Shop) -> Edge:
    return add_edges(shop, [Past(12, "broken")])[0]


def excuse(edge: Edge, shop: Shop, excuse: str = "crash", note: str = "Drove into the vice") -> Edge:
    return services.excuse_end(edge=edge, excuse=excuse, note=note, who=shop.engineer)


def test_an_end_is_excused_with_who_and_why(shop: Shop, broken: Edge) -> None:
    excuse(broken, shop, note="  Drove into the vice ")
    broken.refresh_from_db()
    assert (broken.excuse, broken.excuse_note, broken.excused_by) == ("crash", "Drove into the vice", shop.engineer)
    assert broken.excused_at is not None
    assert broken.outcome == "broken"
    change = ChangeRecord.objects.get(what="edge")
    assert (change.act, change.who, change.which) == ("left out", shop.engineer, str(broken))
    assert change.details["note"] == "Drove into the vice"


def test_it_counts_again_and_what_was_said_stays_on_record(shop: Shop, broken: Edge) -> None:
    excuse(broken, shop)
    services.count_again(edge=broken, who=shop.lead)
    broken.refresh_from_db()
    assert (broken.excuse, broken.excuse_note, broken.excused_by, broken.excused_at) == ("", "", None, None)
    change = ChangeRecord.objects.get(act="counted again")
    assert change.details == {"excuse": "crash", "note": "Drove into the vice", "by": str(shop.engineer)}


@pytest.mark.parametrize("past", [Past(12), Past(12, "taken_off_early"), Past(12, "end_of_job")])
def test_only_an_end_can_be_excused(shop: Shop, past: Past) -> None:
    with pytest.raises(EdgeExcused, match=r"(has not ended|came off before its end)"):
        excuse(add_edges(shop, [past])[0], shop)


def test_a_second_excuse_is_refused_with_what_was_said(shop: Shop, broken: Edge) -> None:
    excuse(broken, shop)
    with pytest.raises(EdgeExcused, match=r"crash, Enno Vale.*count it again first"):
        excuse(broken, shop, "other")


def test_what_counts_cannot_be_counted_again(shop: Shop, broken: Edge) -> None:
    with pytest.raises(EdgeExcused, match="counts as it is"):
        services.count_again(edge=broken, who=shop.lead)


@pytest.mark.parametrize(
    ("said", "note", "field"),
    [("weather", "Rain", "excuse"), ("", "Rain", "excuse"), ("crash", "  ", "note"), ("crash", "x" * 201, "note")],
)
def test_an_excuse_needs_a_known_reason_and_a_note(shop: Shop, broken: Edge, said: str, note: str, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        excuse(broken, shop, said, note)
    assert refused.value.field == field
    broken.refresh_from_db()
    assert not broken.excuse
