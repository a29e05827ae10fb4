"""What may be taken instead: the same function, what fits where it fits first, and what differs in words."""

from __future__ import annotations

from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Design
from crib.stock import selectors, services
from crib.stock.labels import make_label
from crib.stock.models import Condition
from tests.shop import Shop

LIKE_THE_TIP: dict[str, Any] = {
    "teeth": 4, "diameter_mm": 12.0, "tip_flat_mm": 2.0, "included_angle_deg": 90.0, "max_depth_mm": 5.0,
    "machine_side_system": "screw-on", "machine_side_size": "M8",
}  # fmt: skip


def tip(shop: Shop, code: str, **fields: Any) -> Design:
    return shop.design(code, **(LIKE_THE_TIP | fields))


def offered(shop: Shop) -> dict[str, str]:
    return {one.design.code: one.says for one in selectors.substitutes(design=shop.chamfer_tip)}


def test_the_same_function_of_another_make_fits_the_same_body(shop: Shop) -> None:
    twin = tip(shop, "CX-90-12", makers_number="X-1")
    shop.stock(twin, 3)
    shop.stock(twin, 2, place=shop.other_bin)
    (one,) = selectors.substitutes(design=shop.chamfer_tip)
    assert (one.design, one.on_hand, one.fits) == (twin, 5, True)
    assert one.text == make_label("D", twin.pk)
    assert one.says == "Fits the same body. Nothing else written down differs."


def test_what_differs_is_said_with_both_figures(shop: Shop) -> None:
    shop.stock(tip(shop, "CX-3", teeth=3, diameter_mm=12.1, max_depth_mm=4.0, max_spindle_speed=12000), 1)
    assert offered(shop)["CX-3"] == (
        "Fits the same body. Look at: diameter 12.1 mm instead of 12 mm; largest depth 4 mm instead of 5 mm; "
        "3 teeth instead of 4; runs at most 12000 1/min."
    )


def test_what_does_something_else_or_is_not_there_is_not_offered(shop: Shop) -> None:
    for code, fields in (
        ("OTHER-ANGLE", {"included_angle_deg": 60.0}),
        ("OTHER-SIZE", {"diameter_mm": 16.0}),
        ("NO-ANGLE", {"included_angle_deg": None}),
        ("NO-BODY-TAKES-IT", {"machine_side_size": "M99"}),
    ):
        shop.stock(tip(shop, code, **fields), 2)
    tip(shop, "NONE-THERE")
    assert offered(shop) == {}


def test_another_coupling_is_offered_with_the_body_that_fits_the_same_holder(shop: Shop) -> None:
    usual = shop.body
    other = tip(shop, "CY-12", machine_side_size="M10")
    shop.stock(other, 2)
    carries = {"machine_side_system": usual.machine_side_system, "machine_side_size": usual.machine_side_size,
               "work_side_system": "screw-on", "work_side_size": "M10"}  # fmt: skip
    body = shop.design("BD-12-M10", kind="body", **carries)
    assert offered(shop) == {}, "the body is not in the crib"
    shop.item(body)
    assert offered(shop)["CY-12"].startswith(
        "Has another coupling: goes in BD-12-M10 (1 in the crib), which fits the same holder."
    )
    same = tip(shop, "CZ-12")
    shop.stock(same, 1)
    assert list(offered(shop)) == ["CZ-12", "CY-12"], "what fits without another body comes first"


def test_a_body_is_offered_by_the_label_of_a_piece(shop: Shop) -> None:
    sides = {name: getattr(shop.body, name) for name in (
        "diameter_mm", "seats", "machine_side_system", "machine_side_size", "work_side_system", "work_side_size",
    )}  # fmt: skip
    twin = shop.design("BX-12", kind="body", **sides)
    piece = shop.item(twin)
    shop.item(shop.design("BX-OTHER", kind="body", **(sides | {"work_side_size": "M99"})))
    (one,) = selectors.substitutes(design=shop.body)
    assert (one.design, one.text) == (twin, piece.label)


def test_spent_edges_are_no_substitute(shop: Shop) -> None:
    twin = tip(shop, "CX-90-12")
    shop.stock(twin, 1)
    shop.check_out(twin, by=shop.setter)
    services.take_back(
        design=twin, quantity=1, person=shop.setter, to_place=shop.bin, who=shop.setter, key=shop.key(),
        condition=Condition.SPENT,
    )  # fmt: skip
    assert offered(shop) == {}


def test_it_costs_the_same_whatever_there_is(shop: Shop) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as asked:
            selectors.substitutes(design=shop.chamfer_tip)
        return len(asked)

    shop.stock(shop.chamfer_tip, 1)
    shop.stock(tip(shop, "CX-0"), 1)
    few = cost()
    for number in range(1, 12):
        shop.stock(tip(shop, f"CX-{number}"), 1)
    assert cost() == few
    assert len(selectors.substitutes(design=shop.chamfer_tip)) == 4
