"""Starting lives: written down once for each thing, metal and kind of cut, with where they come from."""

from __future__ import annotations

from typing import Any

import pytest

from crib.core.errors import BadInput
from crib.life.models import LifePrior
from crib.life.services import write_starting_life
from tests.shop import Shop

FIGURES: dict[str, Any] = {"life_minutes": 60.0, "surface_speed": 80.0, "feed": 0.1, "depth": 1.0}


def test_the_same_thing_again_is_written_anew(shop: Shop) -> None:
    about: dict[str, Any] = {"design": shop.chamfer_tip, "material": shop.material, "kind_of_cut": "chamfering"}
    first = write_starting_life(**about, **FIGURES, who=shop.engineer)
    again = write_starting_life(**about, **(FIGURES | {"life_minutes": 75.0}), source="first month", who=shop.engineer)
    assert again.pk == first.pk
    assert LifePrior.objects.get().life_minutes == 75.0
    assert (first.source, again.source) == ("assumed", "first month")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"life_minutes": 0.0}, "life_minutes"),
        ({"shape": float("nan")}, "shape"),
        ({"speed_exponent": -1.0}, "speed_exponent"),
        ({"kind_of_cut": "carving"}, "kind_of_cut"),
        ({"iso_group": "Z"}, "iso_group"),
        ({"source": " "}, "source"),
    ],
)
def test_figures_that_mean_nothing_are_refused(shop: Shop, changes: dict[str, Any], field: str) -> None:
    given = FIGURES | {"kind_of_cut": "milling"} | changes
    with pytest.raises(BadInput) as refused:
        write_starting_life(**given, who=shop.engineer)
    assert refused.value.field == field
    assert not LifePrior.objects.exists()


def test_it_is_about_one_thing_and_one_metal(shop: Shop) -> None:
    twice: list[tuple[dict[str, Any], str]] = [
        ({"design": shop.chamfer_tip, "family": "chamfer tips"}, "family"),
        ({"material": shop.material, "iso_group": "M"}, "iso_group"),
        ({"design": shop.holder}, "design"),
    ]
    for about, field in twice:
        with pytest.raises(BadInput) as refused:
            write_starting_life(**about, **FIGURES, kind_of_cut="milling", who=shop.engineer)
        assert refused.value.field == field
