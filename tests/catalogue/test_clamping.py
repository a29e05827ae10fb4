"""What a design says of clamping it, balancing it and bringing it back."""

from __future__ import annotations

import io
from typing import Any

import pytest

from crib.catalogue.models import Design
from crib.catalogue.services import change_design, import_catalogue
from crib.core.errors import BadInput
from tests.api.calls import api
from tests.shop import Shop


def test_torque_balance_and_days_come_by_file(shop: Shop) -> None:
    """1 lbf·ft is 1.3558179483 N·m: NIST SP 811, appendix B.8 (value from memory)."""
    rows = (
        "record,code,kind,description,seats,clamp_torque_nm,balance_note,return_days\n"
        "design,BD-9,body,Body of nine,1,5.5,G 2.5 at 12 000 1/min,7\n"
        "design,BD-8,body,Body of eight,1,4 lbf*ft,,\n"
        "design,BD-7,body,Body of seven,1,9000,,\n"
    )
    report = import_catalogue(file=io.BytesIO(rows.encode()), who=shop.lead)
    assert (report.created, [(one.line, one.column) for one in report.refused]) == (2, [(4, "clamp_torque_nm")])
    nine, eight = Design.objects.get(code="BD-9"), Design.objects.get(code="BD-8")
    assert (nine.clamp_torque_nm, nine.balance_note, nine.return_days) == (5.5, "G 2.5 at 12 000 1/min", 7)
    assert eight.clamp_torque_nm == pytest.approx(4 * 1.3558179483)
    assert (eight.balance_note, eight.return_days) == ("", None)


@pytest.mark.parametrize(
    "changes", [{"clamp_torque_nm": 0.0}, {"clamp_torque_nm": 5000.0}, {"return_days": 0}, {"return_days": 4000}]
)
def test_what_cannot_be_is_refused(shop: Shop, changes: dict[str, Any]) -> None:
    with pytest.raises(BadInput) as refused:
        change_design(design=shop.body, who=shop.lead, **changes)
    assert refused.value.field in changes


def test_the_interface_takes_a_torque_with_its_unit(shop: Shop) -> None:
    address = f"/api/v1/designs/{shop.body.code}/"
    sent = {"clamp_torque_nm": "5.5 N*m", "balance_note": "G 6.3", "return_days": 14}
    changed = api(shop.engineer).patch(address, sent, format="json")
    assert changed.status_code == 200, changed.data
    assert changed.data["clamp_torque_nm"] == pytest.approx(5.5)
    assert (changed.data["balance_note"], changed.data["return_days"]) == ("G 6.3", 14)
