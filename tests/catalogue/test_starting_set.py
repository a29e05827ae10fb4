"""The starting set of work materials, and figures that keep their sources."""

from __future__ import annotations

from io import BytesIO

import pytest

from crib.catalogue import services
from crib.catalogue.models import WorkMaterial
from crib.catalogue.services.starting import starting_file
from crib.core.errors import BadInput, Refused
from crib.people.models import ChangeRecord
from tests.shop import Shop

WIKIPEDIA = "Wikipedia (de), Spezifische Schnittkraft"


def test_the_set_fills_an_empty_shop_with_every_group(shop: Shop) -> None:
    loaded = services.load_starting_materials(who=shop.engineer)
    assert (len(loaded.added), loaded.left_alone) == (32, 0)
    assert set(WorkMaterial.objects.values_list("iso_group", flat=True)) == set("PMKNSH")
    assert services.materials_to_start_with() == []
    assert ChangeRecord.objects.filter(act="created", what="material", who=shop.engineer).count() == 32


def test_every_figure_has_a_range_a_hardness_and_a_source(shop: Shop) -> None:
    for material in services.load_starting_materials(who=shop.engineer).added:
        assert 500 < material.kc11 < 5000
        assert 0.1 < material.mc < 0.3
        assert 0.1 < (material.taylor_n or 0) < 0.4
        assert material.hardness.split()[-1] in ("HB", "HRC")
        assert 0 < (material.speed_low or 0) < (material.speed_high or 0)
        assert all((material.kc11_source, material.mc_source, material.taylor_n_source, material.speed_source))


def test_figures_that_were_seen_name_their_source(shop: Shop) -> None:
    # de.wikipedia.org, Spezifische Schnittkraft, table of kc1.1 and mc, seen in a mirrored copy.
    seen = {"S275JR": (1780, 0.17), "E335": (2110, 0.17), "16MnCr5": (2100, 0.26), "42CrMo4": (2500, 0.26)}
    services.load_starting_materials(who=shop.engineer)
    for word, (kc11, mc) in seen.items():
        steel = WorkMaterial.objects.get(name__contains=word)
        assert (steel.kc11, steel.mc) == (kc11, mc)
        assert steel.kc11_source == steel.mc_source == WIKIPEDIA
    brass = WorkMaterial.objects.get(name__contains="CuZn39Pb3")
    assert (brass.kc11, brass.mc) == (780, 0.18)
    # Tatar, Sjöberg, Andersson 2020, abstract: one per cent more speed, four per cent less life.
    titanium = WorkMaterial.objects.get(name="Titanium Ti-6Al-4V")
    assert titanium.taylor_n == 0.25
    assert titanium.taylor_n_source.startswith("Tatar, Sjöberg, Andersson 2020")


def test_what_the_shop_edited_or_retired_stays(shop: Shop) -> None:
    services.load_starting_materials(who=shop.engineer)
    steel, duplex = (
        WorkMaterial.objects.get(name="Alloy steel 42CrMo4"),
        WorkMaterial.objects.get(name__contains="1.4462"),
    )
    services.change_material(material=steel, kc11=2350.0, kc11_source="own test cuts", who=shop.engineer)
    services.retire_material(material=duplex, who=shop.engineer)
    again = services.load_starting_materials(who=shop.lead)
    assert (again.added, again.left_alone) == ([], 32)
    steel.refresh_from_db()
    duplex.refresh_from_db()
    assert (steel.kc11, steel.kc11_source, duplex.retired) == (2350.0, "own test cuts", True)


def test_only_what_is_missing_is_added(shop: Shop) -> None:
    services.create_material(name="alloy steel 42crmo4", iso_group="P", kc11=2000.0, mc=0.25, who=shop.engineer)
    assert "Alloy steel 42CrMo4" not in services.materials_to_start_with()
    loaded = services.load_starting_materials(who=shop.engineer)
    assert (len(loaded.added), loaded.left_alone) == (31, 1)


def test_the_file_is_a_catalogue_like_any_other(shop: Shop) -> None:
    report = services.import_catalogue(file=BytesIO(starting_file().read_bytes()), who=shop.lead)
    assert (report.created, report.refused) == (32, [])


def test_a_damaged_set_says_its_line(shop: Shop, tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    from pathlib import Path

    from crib.catalogue.services import starting

    assert isinstance(tmp_path, Path)
    broken = tmp_path / "materials.csv"
    broken.write_text("record,name,iso_group,kc11,mc\nmaterial,Tin,N,soft,0.2\n")
    monkeypatch.setattr(starting, "starting_file", lambda: broken)
    with pytest.raises(Refused, match="cannot be read: line 2"):
        services.load_starting_materials(who=shop.lead)


# --- figures and their sources ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "source"),
    [
        ({"kc11": 2300.0}, "kc11_source"),
        ({"mc": 0.3}, "mc_source"),
        ({"taylor_n": 0.2}, "taylor_n_source"),
        ({"speed_low": 80.0}, "speed_source"),
        ({"speed_high": 150.0}, "speed_source"),
    ],
)
def test_a_new_figure_under_an_old_source_is_told_to_update_it(
    shop: Shop, fields: dict[str, float], source: str
) -> None:
    services.change_material(
        material=shop.material, kc11_source="a handbook", mc_source="a handbook", taylor_n_source="a handbook",
        speed_low=70.0, speed_high=160.0, speed_source="a handbook", who=shop.lead,
    )  # fmt: skip
    with pytest.raises(BadInput) as refused:
        services.change_material(material=shop.material, who=shop.lead, **fields)  # type: ignore[arg-type]  # one figure
    assert refused.value.field == source
    assert "its source still says “a handbook”. Say where the new figure comes from" in refused.value.sentence
    services.change_material(material=shop.material, who=shop.lead, **(fields | {source: "own test cuts"}))  # type: ignore[arg-type]  # as above
    shop.material.refresh_from_db()
    assert getattr(shop.material, source) == "own test cuts"


def test_what_was_assumed_may_stay_assumed_and_what_is_not_changed_is_not_asked_for(shop: Shop) -> None:
    services.change_material(material=shop.material, kc11=2300.0, who=shop.lead)
    services.change_material(material=shop.material, kc11_source="a handbook", who=shop.lead)
    services.change_material(material=shop.material, kc11=2300.0, hardness="240-280 HB", who=shop.lead)
    services.change_material(material=shop.material, taylor_n=None, who=shop.lead)
    shop.material.refresh_from_db()
    assert (shop.material.kc11, shop.material.hardness, shop.material.taylor_n) == (2300.0, "240-280 HB", None)
    with pytest.raises(BadInput, match="must be filled in"):
        services.change_material(material=shop.material, kc11_source="", who=shop.lead)
