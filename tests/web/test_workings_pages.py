"""The calculators' pages: made from their declarations, sound without scripts, answering as one types with them."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from calc.workings import Input, Kind, Working, all_workings, get, run
from crib.catalogue.models import WorkMaterial
from crib.web.working_fields import ask, example_query
from tests.shop import Shop
from tests.web.conftest import OpenPage, Scheme, accessibility_faults
from tests.web.test_every_page import OVERFLOW, SMALL_TARGETS

pytestmark = pytest.mark.once

MILLING = {"diameter": "16", "teeth": "4", "surface_speed": "60", "feed_per_tooth": "0.08"}
WORKINGS = pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)


@pytest.fixture
def client(shop: Shop) -> Client:
    client = Client()
    client.force_login(shop.engineer, backend="django.contrib.auth.backends.ModelBackend")
    return client


def page(client: Client, name: str, query: dict[str, str] | None = None, **headers: str) -> str:
    response = client.get(reverse("crib:working", args=[name]), query or {}, headers=headers)
    assert response.status_code == 200
    return response.content.decode()


def words(text: str) -> str:
    """The text of a page as it is read."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def test_the_list_has_every_working_under_its_family(client: Client) -> None:
    text = client.get(reverse("crib:workings")).content.decode()
    for working in all_workings():
        assert f'href="/workings/{working.name}/"' in text
        assert html.escape(working.title) in text
    assert text.index("Cutting</h2>") < text.index("Life</h2>") < text.index("What to buy</h2>")


def test_the_pages_ask_for_sign_in(db: None) -> None:
    for url in (reverse("crib:workings"), reverse("crib:working", args=["milling"])):
        assert Client().get(url).status_code == 302


def test_an_unknown_working_is_told_which_there_are(client: Client) -> None:
    response = client.get("/workings/milking/")
    assert response.status_code == 404
    assert "There are: milling, drilling" in words(response.content.decode())


@WORKINGS
def test_an_empty_page_says_what_to_do_first_and_has_every_input(client: Client, working: Working) -> None:
    text = page(client, working.name)
    assert "No numbers yet" in text
    for entry in working.inputs:
        if entry.kind is not Kind.OBJECT:
            assert f'name="{entry.name}"' in text, entry.name


@WORKINGS
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_the_example_fills_in_and_answers(client: Client, shop: Shop, working: Working, units: str) -> None:
    shop.engineer.units = units
    shop.engineer.save()
    link = re.search(r'<a class="button" href="([^"]+)">Fill in an example', page(client, working.name))
    assert link is not None
    query = {key: value[0] for key, value in parse_qs(urlsplit(html.unescape(link[1])).query).items()}
    assert query["units"] == units
    text = page(client, working.name, query)
    assert "<h2>Answer</h2>" in text, words(text)[-600:]
    assert "<h2>The working</h2>" in text
    assert 'role="alert"' not in text
    answer = run(working.name, working.example)
    assert text.count('<code class="formula">') == len(answer.steps)
    for sentence in working.cautions:
        assert html.escape(sentence) in text


def test_what_is_amiss_with_these_numbers_stands_above_the_answer(client: Client) -> None:
    text = page(client, "thread", {"thread": "M10", "percent": "95"})
    assert 0 < text.index("over 85 %: hard work for the tap") < text.index("<h2>Answer</h2>")
    assert "hard work for the tap" not in words(page(client, "thread", {"thread": "M10"}))


def test_milling_shows_formula_numbers_result_and_source(client: Client) -> None:
    text = words(page(client, "milling", MILLING))
    assert "Spindle speed 1194 rev/min" in text
    assert "n = vc / (π · DC) = 60 m/min / (π · 16 mm) Source: iso-3002-3" in text
    assert "ISO 3002-3" in text
    assert "(Cited from memory.)" in text
    assert "Guards closed" in text
    assert "Not worked out" in text
    assert "Give the radial depth." in text


def test_what_is_wrong_stands_beside_its_control_and_what_is_missing_is_asked_for(client: Client) -> None:
    text = page(client, "milling", {"diameter": "wide", "teeth": "4"})
    beside = re.search(r'id="in-diameter-error">(.*?)</div>', text, re.DOTALL)
    assert beside is not None
    assert "is not a number with a unit" in beside[1]
    assert re.search(r'id="in-diameter"[^>]*value="wide"[^>]*aria-invalid="true"', text)
    assert "aria-invalid" not in text[text.index('id="in-teeth"') : text.index('id="in-teeth-error"')]
    assert "Still needed" in text
    assert "The speed is missing: give one of surface speed or spindle speed." in words(text)
    assert "<h2>Answer</h2>" not in text


def test_what_only_shows_while_computing_is_said_too(client: Client) -> None:
    text = page(client, "milling", {**MILLING, "radial_depth": "20"})
    assert text.count("Radial depth cannot be more than the diameter") == 2
    assert "<h2>Answer</h2>" not in text


def test_while_typing_only_the_answer_comes_and_the_address_keeps_what_was_typed(client: Client) -> None:
    query = {**MILLING, "axial_depth": "", "units": "metric", "radial_depth": "20"}
    response = client.get("/workings/milling/", query, headers={"HX-Request": "true"})
    text = response.content.decode()
    assert "<html" not in text
    assert 'id="in-radial_depth-error" hx-swap-oob="true"' in text
    assert text.count("Radial depth cannot be more than the diameter") == 2
    kept = parse_qs(urlsplit(response["HX-Replace-Url"]).query)
    assert set(kept) == {*MILLING, "units", "radial_depth"}
    whole = page(client, "milling", query)
    assert "hx-swap-oob" not in whole


def test_bare_numbers_are_in_the_units_the_page_shows(client: Client, shop: Shop) -> None:
    shop.engineer.units = "inch"
    shop.engineer.save()
    inch = {"diameter": "0.625", "teeth": "6", "surface_speed": "120", "feed_per_tooth": "0.0022"}
    text = page(client, "milling", inch)
    assert '<span class="field-unit" aria-hidden="true">ft/min</span>' in text
    # Common practice, no source: 733 turns and 9.68 in/min.
    assert "Spindle speed 733 rev/min" in words(text)
    assert "Feed rate 9.68 in/min" in words(text)
    own_unit = words(page(client, "milling", {**inch, "diameter": "15.875 mm"}))
    assert "Spindle speed 733 rev/min" in own_unit
    bad = page(client, "milling", {**inch, "diameter": "wide"})
    assert "is not a number with a unit" in bad


def test_an_address_reads_the_same_for_whoever_opens_it(client: Client, shop: Shop) -> None:
    shop.engineer.units = "inch"
    shop.engineer.save()
    text = page(client, "milling", {**MILLING, "units": "metric"})
    assert '<input type="hidden" name="units" value="metric">' in text
    assert "Feed rate 382 mm/min" in words(text)


def test_on_paper_the_answer_says_what_it_was_worked_out_from(client: Client) -> None:
    given = re.search(r'<div class="panel-body working-given">.*?</div>', page(client, "milling", MILLING), re.DOTALL)
    assert given is not None
    assert "Diameter 16 mm Teeth 4" in words(given[0])
    assert "Surface speed 60 m/min" in words(given[0])
    assert "Spindle power" not in words(given[0])


def test_work_materials_are_offered_and_bring_their_numbers(client: Client) -> None:
    WorkMaterial.objects.create(name="Duplex 1.4462", iso_group="M", kc11=2400, mc=0.21)
    query = {**MILLING, "axial_depth": "8", "radial_depth": "3", "material": "Duplex 1.4462"}
    text = page(client, "milling", query)
    assert '<option value="Duplex 1.4462" selected>' in text
    assert "Duplex 1.4462: kc1.1 2400 N/mm², mc 0.21 (assumed)." in words(text)
    assert "Torque" in text


def test_a_limit_that_takes_hold_is_said_above_the_answer(client: Client) -> None:
    text = words(page(client, "milling", {**MILLING, "max_spindle_speed": "1000"}))
    assert "Held back by the highest spindle speed. Everything below is worked out with that." in text


def test_a_tool_that_does_not_fit_is_said_above_the_answer(client: Client) -> None:
    asked = {"included_angle": "90", "tip_diameter": "1", "axis_offset": "0.3", "depth_below_face": "0.8"}
    text = words(page(client, "chamfer-edge", asked))
    assert "It does not fit. The tip flat would cut 0.2 mm into the wall" in text
    assert "Does not fit" in text
    small = {"included_angle": "90", "tip_diameter": "1", "hole_diameter": "0.8", "chamfer_diameter": "2"}
    assert "It does not fit." in words(page(client, "chamfer-hole", small))
    good = words(page(client, "chamfer-edge", {**asked, "axis_offset": "1", "depth_below_face": "1.2"}))
    assert "It fits" in good


def test_rows_are_typed_one_to_a_line(client: Client) -> None:
    lines = "41; yes\n58, yes\n\n70\tno\n33"
    text = words(page(client, "life-fit", {"lives": lines}))
    assert "Edges ended 3" in text
    assert "Edges censored 1" in text
    bad = words(page(client, "life-fit", {"lives": "41; yes\nforty; yes"}))
    assert 'row 2: minutes: "forty" is not a number' in bad
    wide = words(page(client, "life-fit", {"lives": "41; yes; 60; 0.1; 2; 9; 9"}))
    assert "must give: minutes, ended, duty" in wide


def test_rows_with_duties_reach_their_members() -> None:
    found = ask(get("life-fit"), {"lives": "41; yes; 100; 0.004; 0.1\n50;;120"}, "inch", {})
    assert found.raw["lives"] == [
        {
            "minutes": "41",
            "ended": "yes",
            "duty": {"surface_speed": "100 ft/min", "feed": "0.004 in", "depth": "0.1 in"},
        },
        {"minutes": "50", "duty": {"surface_speed": "120 ft/min"}},
    ]


def test_members_of_an_object_have_controls_of_their_own(client: Client) -> None:
    text = page(client, "cost-compare")
    assert 'name="modular.body_cost"' in text
    assert 'name="solid.regrinds"' in text
    missing = words(page(client, "cost-compare", {"modular.body_cost": "240", "life": "45", "minutes_per_part": "6"}))
    assert "Modular lacks" in missing


def test_what_stands_in_an_empty_control() -> None:
    fields = {one.name: one for one in ask(get("milling"), {}, "inch", {}).fields()}
    assert fields["diameter"].placeholder == "e.g. 0.63"
    assert fields["lead_angle"].placeholder == "90 if empty"
    assert fields["max_power"].placeholder == ""
    assert example_query(get("tool-life"), "metric")["surface_speed"] == "90"


def test_lists_of_plain_numbers_and_open_choices() -> None:
    base = get("facing")
    on = Input(name="on", label="On", kind=Kind.BOOL)
    inputs = (
        Input(name="numbers", label="Numbers", kind=Kind.LIST, example=[1, 2]),
        Input(name="shape", label="Shape", kind=Kind.CHOICE, choices=("ball", "cone"), required=True),
        Input(name="through", label="Through", kind=Kind.BOOL, default=True),
        Input(name="row", label="Row", kind=Kind.LIST, fields=(on,), example=[{"on": True}]),
    )
    made = replace(base, inputs=inputs, groups=())
    fields = {one.name: one for one in ask(made, {"numbers": "1\n2; 3"}, "metric", {}).fields()}
    assert ask(made, {"numbers": "1\n2; 3"}, "metric", {}).raw["numbers"] == ["1", "2; 3"]
    assert fields["numbers"].hint == "One number to a line."
    assert fields["numbers"].example == "1\n2"
    assert fields["row"].example == "yes"
    assert fields["shape"].choices[0].choices[0] == ("", "choose …")
    assert fields["through"].value == "true"


def test_what_would_do_instead_of_two_is_said(client: Client) -> None:
    text = words(page(client, "chamfer-edge"))
    says = "Or only chamfer width along the face with worn bands, or chamfer width along the face with tip."
    assert f"Give two of these. {says}" in text


def test_typed_markup_stays_text(client: Client) -> None:
    text = page(client, "milling", {**MILLING, "diameter": '"><script>alert(1)</script>'})
    assert "<script>alert" not in text


@pytest.mark.browser
def test_the_answer_comes_as_one_types_and_the_address_follows(open_page: OpenPage) -> None:
    page = open_page("machinist", "/workings/milling/")
    for name, value in MILLING.items():
        page.fill(f"#in-{name}", value)
    page.wait_for_selector("text=1194")
    assert page.locator(".figure-number").first.inner_text().split() == ["1194", "rev/min"]
    page.wait_for_url("**surface_speed=60**")
    assert "axial_depth" not in page.url
    page.fill("#in-diameter", "wide")
    page.wait_for_selector("#in-diameter-error .field-error")
    assert "is not a number" in page.locator("#in-diameter-error").inner_text()
    page.fill("#in-diameter", "5/8 in")
    page.wait_for_selector("text=1203")
    assert page.locator("#in-diameter-error").inner_text() == ""
    page.reload()
    assert page.input_value("#in-diameter") == "5/8 in"
    assert page.locator(".figure-number").first.inner_text().split() == ["1203", "rev/min"]


@pytest.mark.browser
def test_without_scripts_the_form_is_sent_and_answered(open_page: OpenPage) -> None:
    page = open_page("machinist", "/workings/chamfer-hole/", script=False, width=800, height=1280)
    asked = {"hole_diameter": "8.5", "chamfer_diameter": "11", "included_angle": "90", "tip_diameter": "1"}
    for name, value in asked.items():
        page.fill(f"#in-{name}", value)
    page.click("text=Work it out")
    assert "how=plunge" in page.url
    assert page.locator("svg.drawing").count() == 1
    assert "5 mm" in page.locator(".figure-number").first.inner_text()


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), [(1280, 800, "light"), (800, 1280, "dark")])
def test_answers_are_accessible_reachable_by_glove_and_never_scroll_sideways(
    open_page: OpenPage, width: int, height: int, scheme: Scheme
) -> None:
    page = open_page("engineer", "/workings/", width=width, height=height, scheme=scheme)
    faults = []
    for name in ("milling", "thread", "chamfer-edge", "chamfer-hole", "life-fit", "cost-compare"):
        for query in (urlencode(example_query(get(name), "metric")), "diameter=wide&lives=x&tip_diameter=y"):
            page.goto(f"/workings/{name}/?{query}")
            faults += [f"{name}: {fault}" for fault in accessibility_faults(page)]
            faults += [f"{name}: {fault}" for fault in page.evaluate(SMALL_TARGETS)]
            if page.evaluate(OVERFLOW) > 0:
                faults.append(f"{name} scrolls sideways")
    assert faults == []
