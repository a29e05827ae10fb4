"""The caution of chips that burn, by the names that shops give to their materials.

That titanium and magnesium swarf burns, and that water feeds a magnesium fire, is common practice, no source here; the
designations are written from memory of ASTM B275, UNS, DIN 17007 and EN 1754.
"""

import pytest

from crib.catalogue.burning import MAGNESIUM, PERHAPS_TITANIUM, TITANIUM, burning_caution
from crib.catalogue.models import WorkMaterial


def said(name: str, group: str) -> str:
    return burning_caution(WorkMaterial(name=name, iso_group=group))


@pytest.mark.parametrize(
    "name",
    [
        "Titanium grade 2", "TITANIUM 6-4", "Commercially pure titanium", "Ti-6Al-4V", "Ti6Al4V", "TiAl6V4", "TA6V",
        "Ti 10-2-3", "Ti grade 5", "Ti", "Alloy Ti-17", "TC4", "TA2", "3.7165", "UNS R56400", "TI-6AL-4V", "ti6al4v",
        "ta6v",
    ],
)  # fmt: skip
def test_titanium_by_any_of_its_names(name: str) -> None:
    assert said(name, "S") == said(name, "N") == TITANIUM


@pytest.mark.parametrize(
    "name",
    [
        "Magnesium AZ91", "magnesium", "AZ91", "AZ31B", "AM60", "AS41", "WE43", "ZK60A", "AE44", "MgAl9Zn1",
        "EN-MCMgAl9Zn1(A)", "EN-MC21120", "Mg", "3.5912", "UNS M11916", "Casting AZ91D", "az91d",
    ],
)  # fmt: skip
def test_magnesium_by_any_of_its_names(name: str) -> None:
    assert said(name, "N") == MAGNESIUM


@pytest.mark.parametrize(
    ("name", "group"),
    [
        ("X6CrNiTi18-10", "M"), ("1.4541", "M"), ("X6CrNiMoTi17-12-2", "M"), ("AlMg4.5Mn", "N"), ("AlSi10Mg", "N"),
        ("EN AW-5083 [AlMg4,5Mn0,7]", "N"), ("EN AW-6082", "N"), ("C45E", "P"), ("42CrMo4", "P"), ("S355J2", "P"),
        ("ZA27", "N"), ("CuZn39Pb3", "N"), ("EN-GJL-250", "K"), ("Tin bronze", "N"),
        ("Manganese steel", "P"), ("AISI 1045", "P"), ("100Cr6 hardened", "H"), ("TA steel bar", "P"),
    ],
)  # fmt: skip
def test_what_only_holds_a_little_of_either_says_nothing(name: str, group: str) -> None:
    assert said(name, group) == ""


@pytest.mark.parametrize("name", ["Nickel alloy 718", "NiCr19Fe19Nb5Mo3", "Grade 5 bar", "Alloy C-1023"])
def test_what_may_be_titanium_is_said_as_a_condition(name: str) -> None:
    assert said(name, "S") == PERHAPS_TITANIUM
