"""The band of the flute over REST: said with the operation in any unit, and told with each run."""

from __future__ import annotations

from typing import Any

import pytest

from crib.floor.models import Operation
from tests.api.calls import BASE, PROBLEM, api, get, post
from tests.api.test_floor_api import run_body
from tests.shop import Shop

ADDRESS = f"{BASE}/operations"


def body(shop: Shop, **changes: Any) -> dict[str, Any]:
    given = {
        "job": shop.job.code, "number": 30, "name": "Chamfer all round", "machine": shop.machine.code,
        "tip": shop.chamfer_tip.code, "material": shop.material.name, "kind_of_cut": "chamfering",
        "minutes_per_part": 2.0,
    }  # fmt: skip
    return given | changes


def test_an_operation_is_made_with_a_band_and_moved_to_another(shop: Shop) -> None:
    made = post(shop.engineer, "operations/", body(shop, contact_low="0.02 in", contact_high=1.5))
    assert made.status_code == 201, made.data
    assert (made.data["contact_low"], made.data["contact_high"]) == (0.508, 1.5)
    address = f"{ADDRESS}/{made.data['id']}/"
    moved = api(shop.engineer).patch(address, {"contact_low": 2, "contact_high": "3 mm"}, format="json")
    assert (moved.data["contact_low"], moved.data["contact_high"]) == (2.0, 3.0)
    bare = api(shop.engineer).patch(address, {"contact_low": None, "contact_high": None}, format="json")
    assert (bare.data["contact_low"], bare.data["contact_high"]) == (None, None)


@pytest.mark.parametrize(
    ("band", "field", "words"),
    [
        ({"contact_low": 1}, "contact_high", "Say also where the band of the flute ends"),
        ({"contact_high": 1}, "contact_low", "Say also where the band of the flute begins"),
        ({"contact_low": 1, "contact_high": 0.5}, "contact_high", "above where it begins"),
        ({"contact_low": -1, "contact_high": 0.5}, "contact_low", "0 to 500 mm"),
        ({"contact_low": 1, "contact_high": 6}, "contact_high", "ends 5 mm above its tip flat"),
        ({"contact_low": 1, "contact_high": 1e300}, "contact_high", "beyond anything"),
        ({"contact_low": 1, "contact_high": "NaN"}, "contact_high", ""),
        ({"contact_low": 1, "contact_high": "2 kg"}, "contact_high", ""),
        ({"contact_low": [], "contact_high": 2}, "contact_low", ""),
        ({"contact_low": 1, "contact_high": 2, "kind_of_cut": "milling"}, "contact_low", "Only chamfering"),
    ],
)
def test_an_unsound_band_names_the_field(shop: Shop, band: dict[str, Any], field: str, words: str) -> None:
    refused = post(shop.engineer, "operations/", body(shop, **band))
    assert (refused.status_code, refused.data["type"]) == (400, PROBLEM + "bad-input"), refused.data
    assert list(refused.data["errors"]) == [field]
    assert words in str(refused.data["errors"][field])
    assert not Operation.objects.exists()


def test_a_run_tells_the_band_it_was_logged_in(shop: Shop) -> None:
    plain = post(shop.setter, "runs/", run_body(shop))
    assert (plain.data["contact_low"], plain.data["contact_high"]) == (0.0, 0.0)
    address = f"{ADDRESS}/{shop.operation.pk}/"
    assert api(shop.engineer).patch(address, {"contact_low": 0.5, "contact_high": 1}, format="json").status_code == 200
    made = post(shop.setter, "runs/", run_body(shop, hour=1))
    assert (made.data["contact_low"], made.data["contact_high"]) == (0.5, 1.0)
    assert get(shop.setter, f"runs/{made.data['id']}/").data == made.data
