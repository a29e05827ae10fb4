"""The register: what every working declares, and how inputs are read, refused and answered."""

import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy
import pytest

from calc import workings
from calc.errors import WorkingError
from calc.units import ureg
from calc.workings import (
    Found,
    Given,
    Group,
    Input,
    InputErrors,
    Kind,
    Known,
    Result,
    Step,
    UnknownWorking,
    Working,
    all_workings,
    get,
    run,
)
from calc.workings.answer import value_of
from calc.workings.reading import read_inputs

MILLING = {"diameter": 10, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.05}


def refusals(name: str, asked: Mapping[str, object], **more: Any) -> dict[str, list[str]]:
    with pytest.raises(InputErrors) as caught:
        run(name, asked, **more)
    assert str(caught.value) == caught.value.problems[0].sentence
    return caught.value.by_field()


def known_sources() -> set[str]:
    return set(re.findall(r"^- \[([a-z0-9.-]+)", Path("calc/references.md").read_text(), re.MULTILINE))


@pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
def test_every_declaration_is_whole(working: Working) -> None:
    names = [entry.name for entry in working.inputs]
    assert len(set(names)) == len(names)
    assert len({result.name for result in working.results}) == len(working.results)
    assert {entry.group for entry in working.inputs} - {""} == {group.name for group in working.groups}
    assert {key.removesuffix(" (m)") for key in working.sources} <= known_sources()
    assert working.sources
    assert working.cautions
    for entry in working.inputs:
        assert entry.label
        assert bool(entry.choices) == (entry.kind is Kind.CHOICE)


@pytest.mark.parametrize(
    "working", [working for working in all_workings() if working.family == "Cutting"], ids=lambda working: working.name
)
@pytest.mark.parametrize("system", ["metric", "inch"])
def test_the_examples_work_and_the_answer_is_plain_json(working: Working, system: Any) -> None:
    answer = run(working.name, working.example, system)
    body = json.loads(json.dumps(answer.as_dict(), allow_nan=False))
    assert list(body) == ["inputs", "results", "working", "assumed", "cautions", "sources"]
    declared = {result.name: result for result in working.results}
    for name, value in body["results"].items():
        assert set(value) == {"value", "unit", "text"}
        assert value["unit"] == declared[name].unit
    for step in body["working"]:
        assert set(step) == {"says", "formula", "with_numbers", "result", "source"}
        assert all(step.values()), step
        assert step["source"].removesuffix(" (m)") in known_sources()
    missing = [result.name for result in working.results if result.name not in body["results"] and not result.needs]
    assert missing == [] or missing == ["capped_by"]


def test_an_example_says_each_thing_one_way() -> None:
    assert "points" not in get("tool-life").example
    assert {"chamfer_width", "contact_low"} <= set(get("chamfer-edge").example)


def test_values_do_not_depend_on_the_readers_units() -> None:
    metric, inch = run("milling", MILLING), run("milling", MILLING, "inch")
    assert {name: value.value for name, value in metric.results.items()} == {
        name: value.value for name, value in inch.results.items()
    }
    assert metric.results["feed_rate"].text == "382 mm/min"
    assert inch.results["feed_rate"].text == "15.04 in/min"


def test_unknown_working_lists_the_known() -> None:
    with pytest.raises(UnknownWorking, match="milling, drilling"):
        get("milking")


def test_everything_wrong_is_said_at_once() -> None:
    found = refusals("milling", {"diameter": "wide", "teeth": 0, "colour": "red", "surface_speed": "10 kg"})
    assert found["diameter"] == ['Diameter: "wide" is not a number with a unit, such as 12.5 or 0.5 in.']
    assert found["teeth"] == ["Teeth cannot be less than 1."]
    assert found["colour"][0].startswith('There is no input "colour" in milling. Its inputs are: tool, diameter, teeth')
    assert "must be a speed" in found["surface_speed"][0]
    assert found["feed_per_tooth"] == ["The feed is missing: give one of feed per tooth or feed rate."]


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"diameter": None}, "diameter", "Diameter is missing. For example 16 mm."),
        ({"diameter": "  "}, "diameter", "Diameter is missing. For example 16 mm."),
        ({"diameter": 0}, "diameter", "Diameter must be above zero."),
        ({"diameter": True}, "diameter", "Diameter must be a number, not yes or no."),
        ({"teeth": None}, "teeth", "Teeth is missing. For example 4."),
        ({"teeth": 2.5}, "teeth", "Teeth must be a whole number."),
        ({"teeth": 500}, "teeth", "Teeth cannot be more than 200."),
        ({"surface_speed": None}, "surface_speed", "The speed is missing: give one of surface speed or spindle speed."),
        ({"spindle_speed": 100}, "spindle_speed", "said twice over: give only one of surface speed or spindle speed."),
        ({"lead_angle": 180}, "lead_angle", "Lead angle cannot be more than 179 deg."),
        ({"efficiency": "120 %"}, "efficiency", "Efficiency cannot be more than 1."),
        ({"kc11": 2000}, "mc", "it goes with specific cutting force at 1 mm."),
        ({"mc": -0.1, "kc11": 2000}, "mc", "Mc cannot be below zero."),
        ({"mc": 0.2, "kc11": 2000, "material": "duplex"}, "kc11", "The work material is said twice over"),
        ({"material": "duplex"}, "material", "no list to look it up in is at hand here"),
        ({"material": 7.5}, "material", "no list to look it up in"),
        ({"material": ["duplex"]}, "material", "must be a word or a line of text"),
        ({"material": "x" * 300}, "material", "at most 200 characters"),
        ({"material": "two\nlines"}, "material", "one line"),
    ],
)
def test_refusals_name_the_field_and_the_way_out(change: dict[str, object], field: str, says: str) -> None:
    assert says in refusals("milling", MILLING | change)[field][0]


def test_a_material_brings_its_numbers_and_their_source() -> None:
    def find(what: str, name: str, words: Mapping[str, str]) -> Known:
        assert name == "duplex 1.4462"
        return Known("Duplex 1.4462", {"kc11": 2400, "mc": 0.21}, "handbook (m)")

    asked = MILLING | {"axial_depth": 5, "radial_depth": 1, "material": "duplex 1.4462"}
    answer = run("milling", asked, shop=find)
    assert "Duplex 1.4462: kc1.1 2400 N/mm², mc 0.21 (handbook (m))." in answer.assumed
    assert answer.results["cutting_power"].value > 0


def test_each_value_names_its_own_source_and_a_lookup_hears_every_word() -> None:
    heard = []

    def find(what: str, name: str, words: Mapping[str, str]) -> Known:
        heard.append((what, name, dict(words)))
        return Known(name, {"kc11": 2400, "mc": 0.21, "n": 0.2} if what == "material" else {}, "assumed", {"mc": "own"})

    asked = MILLING | {"axial_depth": 5, "radial_depth": 1, "material": "duplex", "tool": "EM-16"}
    answer = run("milling", asked, shop=find)
    assert "duplex: kc1.1 2400 N/mm² (assumed), mc 0.21 (own)." in answer.assumed
    named = {"tool": "EM-16", "material": "duplex"}
    assert heard == [("tool", "EM-16", named), ("material", "duplex", named)]


def test_an_unknown_material_is_a_problem_of_its_field() -> None:
    def find(what: str, name: str, words: Mapping[str, str]) -> Known:
        raise WorkingError("material", f'No work material is called "{name}".')

    found = refusals("milling", MILLING | {"material": "cheese", "teeth": 0}, shop=find)
    assert found["material"] == ['No work material is called "cheese".']
    assert "teeth" in found


def test_numbers_beyond_all_measure_are_refused() -> None:
    tiny = {"diameter": 1e-9, "teeth": 1, "surface_speed": 1e9, "feed_per_tooth": 1e9}
    assert math.isfinite(run("milling", tiny).results["feed_rate"].value)


def probe(compute: Any, **declared: Any) -> Working:
    return Working(
        name="probe",
        title="Probe",
        says="A working for tests.",
        inputs=declared.get("inputs", (Input(name="x", label="X", kind=Kind.NUMBER, default=1, assumed="X is 1."),)),
        groups=declared.get("groups", ()),
        results=declared.get("results", (Result(name="y", label="Y", kind=Kind.NUMBER),)),
        compute=compute,
        sources=("plane-geometry",),
    )


def run_probe(monkeypatch: pytest.MonkeyPatch, working: Working, asked: Mapping[str, object]) -> workings.Answer:
    monkeypatch.setattr(workings, "_register", lambda: {"probe": working})
    return run("probe", asked)


@pytest.mark.parametrize(
    "result",
    [
        math.inf,
        math.nan,
        [1.0, math.inf],
        {"a": math.nan},
        ureg.Quantity(math.inf, "mm"),
        [ureg.Quantity(math.nan, "mm")],
    ],
)
def test_no_infinity_leaves(monkeypatch: pytest.MonkeyPatch, result: object) -> None:
    with pytest.raises(WorkingError, match="beyond all measure"):
        run_probe(monkeypatch, probe(lambda given: Found({"y": result})), {})


@pytest.mark.parametrize("trouble", [OverflowError, ZeroDivisionError])
def test_arithmetic_that_breaks_down_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch, trouble: type[ArithmeticError]
) -> None:
    def compute(given: Given) -> Found:
        raise trouble

    only_text = (Input(name="x", label="X", kind=Kind.TEXT),)
    with pytest.raises(WorkingError) as caught:
        run_probe(monkeypatch, probe(compute, inputs=only_text), {})
    assert caught.value.argument == "x"


def test_an_array_that_overflows_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    working = probe(lambda given: Found({"y": float(numpy.float64(10.0) ** numpy.float64(400.0))}))
    with pytest.raises(WorkingError, match="beyond all measure"):
        run_probe(monkeypatch, working, {})


def test_a_result_that_was_not_declared_is_our_own_mistake(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(KeyError, match="does not declare its result z"):
        run_probe(monkeypatch, probe(lambda given: Found({"z": 1.0})), {})


def test_two_workings_of_one_name_are_our_own_mistake(monkeypatch: pytest.MonkeyPatch) -> None:
    from calc.workings import cutting

    monkeypatch.setattr(cutting, "WORKINGS", (*cutting.WORKINGS, cutting.WORKINGS[0]))
    workings._register.cache_clear()
    try:
        with pytest.raises(ValueError, match="two workings are called milling"):
            workings.all_workings()
    finally:
        monkeypatch.undo()
        workings._register.cache_clear()


def test_a_default_is_an_assumption_only_when_it_was_used(monkeypatch: pytest.MonkeyPatch) -> None:
    used = probe(lambda given: Found({"y": given.number("x")}))
    unused = probe(lambda given: Found({"y": 2.0}))
    assert run_probe(monkeypatch, used, {}).assumed == ("X is 1.",)
    assert run_probe(monkeypatch, used, {"x": 1}).assumed == ()
    assert run_probe(monkeypatch, unused, {}).assumed == ()


KINDS = (
    Input(name="size", label="Size", unit="mm", lowest=1, highest=5),
    Input(name="count", label="Count", kind=Kind.COUNT, above=2),
    Input(name="ratio", label="Ratio", kind=Kind.NUMBER),
    Input(name="word", label="Word", kind=Kind.TEXT),
    Input(name="shape", label="Shape", kind=Kind.CHOICE, choices=("ball", "cone")),
    Input(name="through", label="Through", kind=Kind.BOOL),
    Input(name="numbers", label="Numbers", kind=Kind.LIST),
    Input(
        name="rows",
        label="Rows",
        kind=Kind.LIST,
        fields=(
            Input(name="minutes", label="Minutes", unit="min", required=True, above=0),
            Input(name="ended", label="Ended", kind=Kind.BOOL, default=True),
            Input(name="note", label="Note", kind=Kind.TEXT),
        ),
    ),
    Input(name="body", label="Body", kind=Kind.OBJECT, fields=(Input(name="cost", label="Cost", kind=Kind.NUMBER),)),
)


def read(asked: Mapping[str, object]) -> Given:
    return read_inputs(probe(lambda given: Found(), inputs=KINDS), asked, "metric", None)


def test_reads_every_kind() -> None:
    found = read(
        {
            "size": "0.1 in", "count": 3, "ratio": "1/4", "word": 12.5, "shape": "BALL", "through": "Yes",
            "numbers": [1, "2.5"], "rows": [{"minutes": "1 h"}, {"minutes": 5, "ended": False, "note": "chipped"}],
            "body": {"cost": 3},
        }
    )  # fmt: skip
    assert found.quantity("size").magnitude == pytest.approx(2.54)
    assert found.quantity_or_none("size") is not None
    assert found.count("count") == 3
    assert found.number("ratio") == 0.25
    assert found.text("word") == "12.5"
    assert found.text("shape") == "ball"
    assert found.yes("through")
    assert found.rows("numbers") == [1.0, 2.5]
    assert [row["minutes"].magnitude for row in found.rows("rows")] == [60, 5]
    assert [row["ended"] for row in found.rows("rows")] == [True, False]
    assert found.mapping("body") == {"cost": 3.0}


def test_a_row_may_be_given_by_position() -> None:
    rows = read({"rows": [[5, False], [6]]}).rows("rows")
    assert [(row["minutes"].magnitude, row["ended"]) for row in rows] == [(5, False), (6, True)]


def test_a_missing_list_is_asked_for_without_an_example() -> None:
    inputs = (Input(name="points", label="Points", kind=Kind.LIST, required=True, example=[1, 2]),)
    with pytest.raises(InputErrors, match=r"^Points is missing\.$"):
        read_inputs(probe(lambda given: Found(), inputs=inputs), {}, "metric", None)


def test_what_was_not_given_is_nothing() -> None:
    found = read({})
    assert found.quantity_or_none("size") is None
    assert found.number_or_none("ratio") is None
    assert read({"ratio": 2}).number_or_none("ratio") == 2
    assert not found.yes("through")
    assert found.rows("rows") == []
    assert found.mapping("body") == {}
    with pytest.raises(TypeError, match="not declared as a quantity"):
        read({"ratio": 2}).quantity("ratio")


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("size", 0.5, "Size cannot be less than 1 mm."),
        ("size", 6, "Size cannot be more than 5 mm."),
        ("count", 2, "Count must be above 2."),
        ("shape", "square", "Shape must be one of: ball, cone."),
        ("through", "perhaps", "Through must be yes or no."),
        ("through", 3, "Through must be yes or no."),
        ("word", True, "Word must be a word or a line of text."),
        ("word", math.nan, "Word must be a word or a line of text."),
        ("numbers", "1, 2", "Numbers must be a list."),
        ("numbers", [1, "two"], 'Numbers, row 2: "two" is not a number'),
        ("numbers", [0] * 6000, "Numbers can hold at most 5000 rows; this has 6000."),
        ("rows", [3], "Rows, row 1 must give: minutes, ended, note."),
        ("rows", [{"minutes": 1}, {}], "Rows, row 2 lacks minutes."),
        ("rows", [{"minutes": 0}], "Rows, row 1: minutes must be above zero."),
        ("rows", [{"minutes": 1, "colour": "red"}], 'Rows, row 1 has no "colour"; it has ended, minutes, note.'),
        ("body", [], "Body must give: cost."),
    ],
)
def test_every_kind_says_what_is_wrong(name: str, value: object, says: str) -> None:
    with pytest.raises(InputErrors) as caught:
        read({name: value})
    assert caught.value.argument == name
    assert says in caught.value.sentence


def test_groups_that_need_two_and_groups_with_defaults() -> None:
    pair = (
        Input(name="a", label="A", kind=Kind.NUMBER, group="g"),
        Input(name="b", label="B", kind=Kind.NUMBER, group="g"),
        Input(name="c", label="C", kind=Kind.NUMBER, group="g"),
        Input(name="p", label="P", kind=Kind.NUMBER, group="h", default=1),
        Input(name="q", label="Q", kind=Kind.NUMBER, group="h"),
        Input(name="r", label="R", kind=Kind.NUMBER, group="k", default=5),
    )
    groups = (
        Group(name="g", label="the place", needs=2),
        Group(name="h", label="the other", required=False),
        Group(name="k", label="the third", needs=3),
    )
    working = probe(lambda given: Found(), inputs=pair, groups=groups)

    def given(asked: Mapping[str, object]) -> Mapping[str, Any]:
        return read_inputs(working, asked, "metric", None).values

    assert given({"a": 1, "b": 2}) == {"a": 1, "b": 2, "p": 1, "r": 5}
    assert given({"a": 1, "b": 2, "q": 3}) == {"a": 1, "b": 2, "q": 3, "r": 5}
    for asked, says in (
        ({"a": 1}, "The place is missing: give two of a, b or c."),
        ({"a": 1, "b": 1, "c": 1}, "The place is said twice over: give only two of a, b or c."),
    ):
        with pytest.raises(InputErrors, match=re.escape(says)):
            given(asked)


def test_texts_of_every_kind_of_value() -> None:
    listed = Result(name="y", label="Y", unit="min", kind=Kind.LIST)
    assert value_of(listed, [1.5, 2], "metric").text == "1.5 min; 2 min"
    assert value_of(listed, [], "metric").text == "none"
    mapped = value_of(listed, {"low": ureg.Quantity(90, "s"), "high": None}, "metric")
    assert mapped.value == {"low": 1.5, "high": None}
    assert mapped.text == "low 90 s, high "
    assert value_of(KINDS[7], [{"minutes": ureg.Quantity(1, "hour"), "ended": True}], "metric").value == [
        {"minutes": 60.0, "ended": True}
    ]
    assert value_of(listed, True, "metric").text == "yes"
    assert value_of(listed, "done", "metric").text == "done"
    assert value_of(listed, 3, "metric", "three").text == "three"


def test_a_step_says_all_five() -> None:
    step = Step("Speed", "n = vc / (π · DC)", "60 / (π · 10)", "1910", "iso-3002-3")
    assert list(step.as_dict().values()) == ["Speed", "n = vc / (π · DC)", "60 / (π · 10)", "1910", "iso-3002-3"]
