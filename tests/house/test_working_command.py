"""`manage.py working`: the calculators in a terminal."""

from __future__ import annotations

import json
import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

from crib.catalogue.models import WorkMaterial
from crib.management.commands.working import Command

MILLING = ["milling", "diameter=5/8 in", "teeth=6", "surface_speed=120 sfm", "feed_per_tooth=0.0022 in"]


def said(*words: str, **options: object) -> str:
    out = StringIO()
    call_command("working", *words, stdout=out, **options)
    return out.getvalue()


def test_without_a_name_it_lists_them_by_family() -> None:
    text = said()
    assert text.index("Cutting") < text.index("milling") < text.index("Life") < text.index("life-fit")


def test_with_a_name_alone_it_shows_what_is_taken_and_given() -> None:
    text = said("milling")
    assert "surface_speed      m/min   Surface speed (vc); one way to say the speed" in text
    assert "Diameter (DC); needed" in text
    assert "manage.py working milling diameter=16 teeth=4" in text
    assert "plunge or interpolate; plunge if not given" in said("chamfer-hole")
    assert "no if not given" in said("drilling")
    assert "lives='[{" in said("life-fit")


def test_it_prints_results_working_and_cautions() -> None:
    text = said(*MILLING, "radial_depth=2 mm")
    assert re.search(r"Spindle speed n +733 rev/min", text)
    assert "n = vc / (π · DC)\n    = 36.6 m/min / (π · 15.875 mm) = 733 rev/min  [iso-3002-3 (m)]" in text
    assert "Assumed\n  The lead angle κr is 90 degrees." in text
    assert "Guards closed" in text
    assert "Assumed" not in said(*MILLING)
    assert "9.68 in/min" in said(*MILLING, inch=True)


def test_it_prints_what_is_amiss_before_the_general_cautions() -> None:
    text = said("thread", "thread=M10", "percent=95")
    assert 0 < text.index("over 85 %: hard work for the tap") < text.index("Guards closed")


def test_json_is_what_the_api_answers() -> None:
    answer = json.loads(said(*MILLING, json=True))
    assert list(answer) == ["inputs", "results", "working", "assumed", "cautions", "sources"]
    assert answer["results"]["spindle_speed"]["value"] == pytest.approx(733.386, rel=1e-5)


def test_lists_are_given_as_json() -> None:
    text = said("tool-life", "points=[[60, 60], [100, 10]]", "surface_speed=80")
    assert "Tool life" in text
    assert "surface_speed=90" in said("tool-life")


def test_a_material_of_the_catalogue_is_found(db: None) -> None:
    WorkMaterial.objects.create(name="Duplex", iso_group="M", kc11=2400, mc=0.21)
    text = said(*MILLING, "axial_depth=5", "radial_depth=1", "material=duplex")
    assert "Duplex: kc1.1 2400 N/mm², mc 0.21 (assumed)." in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["milking"], 'There is no working called "milking". There are: milling'),
        (["milling", "diameter"], "“diameter” is not of the form key=value"),
        (["milling", "diameter=1", "diameter=2"], "diameter is given twice."),
        (["milling", "diameter=0", "teeth=x"], "Diameter must be above zero.\nTeeth"),
        (
            ["chamfer-hole", "hole_diameter=9", "chamfer_diameter=8", "included_angle=90", "tip_diameter=1"],
            "larger than",
        ),
        (["tool-life", "points=sixty", "surface_speed=80"], "points must be JSON"),
    ],
)
def test_bad_input_is_a_sentence(words: list[str], says: str) -> None:
    with pytest.raises(CommandError) as caught:
        said(*words)
    assert says in str(caught.value)


def test_a_database_that_is_not_ready_is_said_with_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def away(what: str, word: str, words: object) -> None:
        raise OperationalError("no such table")

    monkeypatch.setattr("crib.management.commands.working.look_up", away)
    with pytest.raises(CommandError, match=r"run manage\.py migrate, or give their numbers"):
        said(*MILLING, "material=718")


def test_from_the_shell_bad_input_ends_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        Command().run_from_argv(["manage.py", "working", "milling", "diameter=0"])
    assert ended.value.code == 1
    assert capsys.readouterr().err.startswith("Diameter must be above zero.")


def test_a_sweep_is_a_table_with_its_limits() -> None:
    asked = ("milling", "diameter=16", "teeth=4", "surface_speed=60", "feed_per_tooth=0.08", "max_feed_rate=300")
    text = said(*asked, sweep="surface_speed=20..100", of=["feed_rate", "spindle_speed"], points=5)
    lines = text.splitlines()
    assert lines[0].split() == ["surface_speed", "m/min", "feed_rate", "mm/min", "spindle_speed", "1/min"]
    assert [line.split()[0] for line in lines[1:6]] == ["20", "40", "60", "80", "100"]
    assert lines[-1].endswith("100: held back by the highest feed rate")
    ended = said(*asked, sweep="radial_depth=1 mm..1 in", points=3)
    assert "From 16 mm on: Radial depth cannot be more than the diameter" in ended
    body = json.loads(said(*asked, sweep="surface_speed=20..100", json=True))
    assert body["over"]["values"][0] == 20


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"sweep": "surface_speed"}, "not of the form INPUT=FROM..TO"),
        ({"sweep": "surface_speed=20"}, "not of the form INPUT=FROM..TO"),
        ({"sweep": "colour=1..2"}, "cannot be drawn against"),
        ({"sweep": "surface_speed=20..100", "of": ["colour"]}, "no result “colour” in this sweep"),
        ({"sweep": "surface_speed=20..100", "points": 1}, "from 2 to 500"),
    ],
)
def test_a_sweep_that_makes_no_sense_is_refused(options: dict[str, object], says: str) -> None:
    with pytest.raises(CommandError, match=says):
        said(*MILLING, **options)
