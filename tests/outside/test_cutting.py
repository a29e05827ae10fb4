"""The calculator against values from outside the project: `checks/cutting.json`, each entry a test of its own.

Each entry carries its source, how its value was reached, and the convention it is in. What an entry asks is answered
by the public functions of `calc`; a number this file would have to work out itself proves nothing.
"""

import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from calc.cutting import chamfer, chip, drilling, force, hole_chamfer, milling, tapping, turning
from calc.cutting.drill_sizes import read_drill
from calc.cutting.speed import spindle_speed, surface_speed, time_in_cut
from calc.cutting.threads import PROFILE, clearance_hole, drill_for, hole_for_percent, percent_of_thread, thread
from calc.units import Quantity, read_quantity, unit_named, ureg
from calc.workings import run

ENTRIES = {entry["id"]: entry for entry in json.loads((Path(__file__).parent / "checks/cutting.json").read_text())}
NOT_APPLICABLE = {
    "csk-01": "the diameter of a countersink for a screw head is an input here; no table of head standards is kept",
}
OWN_UNITS = {"index": "", "bool": "", "1": "", "metric hp": "PS"}

Inputs = Mapping[str, Any]
Solve = Callable[[Inputs], Mapping[str, Any]]
SOLVERS: dict[str, Solve] = {}


def answers(*names: str) -> Callable[[Solve], Solve]:
    def keep(solve: Solve) -> Solve:
        for name in names:
            SOLVERS[name] = solve
        return solve

    return keep


def quantity(entry: Mapping[str, Any]) -> Quantity:
    """Read as a person's input is: "rpm" is 1/min at this boundary."""
    unit = OWN_UNITS.get(entry["unit"], entry["unit"])
    return ureg.Quantity(entry["value"], unit_named(unit))


@pytest.mark.parametrize("name", sorted(set(ENTRIES) - set(NOT_APPLICABLE)))
def test_agrees_with_the_outside_value(name: str) -> None:
    entry = ENTRIES[name]
    found = SOLVERS[name]({key: quantity(value) for key, value in entry["inputs"].items()})
    assert set(found) == set(entry["expected"])
    for key, expected in entry["expected"].items():
        got = found[key]
        value = got.m_as(unit_named(OWN_UNITS.get(expected["unit"], expected["unit"]))) if hasattr(got, "m_as") else got
        assert value == pytest.approx(expected["value"], rel=expected["rel_tol"], abs=0), (key, entry["source"])


def test_every_entry_is_answered_or_has_its_reason() -> None:
    assert set(SOLVERS) | set(NOT_APPLICABLE) == set(ENTRIES)
    assert not set(SOLVERS) & set(NOT_APPLICABLE)


def count(value: Quantity) -> int:
    return round(float(value.m_as("")))


@answers("mill-01", "mill-02")
def speed_and_feed(given: Inputs) -> Mapping[str, Any]:
    n = spindle_speed(given["cutting_speed"], given["diameter"])
    return {"spindle_speed": n, "feed_rate": milling.feed_rate(given["feed_per_tooth"], count(given["teeth"]), n)}


@answers("mill-03")
def milling_removal(given: Inputs) -> Mapping[str, Any]:
    found = dict(speed_and_feed(given))
    return found | {"removal_rate": milling.removal_rate(given["depth"], given["width"], found["feed_rate"])}


@answers("mill-04")
def slab_milling(given: Inputs) -> Mapping[str, Any]:
    found = dict(milling_removal(given))
    approach = milling.run_in(given["depth"], given["diameter"])
    return found | {"approach": approach, "machining_time": time_in_cut(given["length"] + approach, found["feed_rate"])}


@answers("mill-05")
def slab_milling_power(given: Inputs) -> Mapping[str, Any]:
    n = given["spindle_speed"]
    rate = milling.feed_rate(given["feed_per_tooth"], count(given["teeth"]), n)
    removed = milling.removal_rate(given["depth"], given["width"], rate)
    power = force.cutting_power(removed, given["specific_energy"].to("N/mm^2"))
    way = given["length"] + milling.run_in(given["depth"], given["diameter"])
    return {
        "feed_rate": rate,
        "removal_rate": removed,
        "power": power,
        "torque": force.torque(power, n),
        "machining_time": time_in_cut(way, rate),
    }


@answers("mill-06")
def two_cutters(given: Inputs) -> Mapping[str, Any]:
    return {f"spindle_speed_{which}": spindle_speed(given[f"speed_{which}"], given["diameter"]) for which in "ab"}


@answers("chip-01", "chip-02")
def chips(given: Inputs) -> Mapping[str, Any]:
    radial, diameter, lead = given["radial_engagement"], given["diameter"], given["lead_angle_kappa"]
    return {
        "engagement_angle": chip.engagement_angle(radial, diameter),
        "max_chip_thickness": chip.max_chip_thickness(given["feed_per_tooth"], radial, diameter, lead),
        "mean_chip_thickness": chip.mean_chip_thickness(given["feed_per_tooth"], radial, diameter, lead),
    }


@answers("chip-03", "chip-04")
def thinning(given: Inputs) -> Mapping[str, Any]:
    answer = run(
        "chip-thinning",
        {
            "diameter": given["diameter"],
            "radial_depth": given["radial_engagement"],
            "lead_angle": given["lead_angle_kappa"],
            "max_chip_thickness": given["target_max_chip_thickness"],
        },
    ).results
    feed = ureg.Quantity(answer["feed_per_tooth"].value, "mm")
    return {"thinning_factor": answer["factor"].value, "programmed_feed_per_tooth": feed}


@answers("force-01")
def kienzle_row(given: Inputs) -> Mapping[str, Any]:
    kc11, mc = given["kc11"], given["mc"].m_as("")
    return {
        f"kc_{which}": force.specific_cutting_force(
            turning.chip_thickness(given[f"feed_{which}"], given["lead_angle_kappa"]), kc11, mc
        )
        for which in "abcdef"
    }


@answers("force-02")
def turning_force(given: Inputs) -> Mapping[str, Any]:
    thickness = turning.chip_thickness(given["feed"], given["lead_angle_kappa"])
    kc = force.specific_cutting_force(thickness, given["kc11"], given["mc"].m_as(""))
    power = force.cutting_power(turning.removal_rate(given["cutting_speed"], given["depth"], given["feed"]), kc)
    return {
        "chip_thickness": thickness,
        "kc": kc,
        "cutting_force": power / given["cutting_speed"],
        "net_power": power,
        "motor_power": force.spindle_power(power, given["efficiency"].m_as("")),
    }


@answers("power-01")
def milling_power(given: Inputs) -> Mapping[str, Any]:
    answer = run(
        "milling",
        {
            "diameter": given["diameter"],
            "teeth": count(given["teeth"]),
            "surface_speed": given["cutting_speed"],
            "feed_per_tooth": given["feed_per_tooth"],
            "axial_depth": given["axial_depth"],
            "radial_depth": given["radial_engagement"],
            "lead_angle": given["lead_angle_kappa"],
            "kc11": given["kc11"],
            "mc": given["mc"].m_as(""),
        },
    ).results
    names = {"kc": "specific_cutting_force", "net_power": "cutting_power"}
    return {key: answer[names.get(key, key)].value for key in ENTRIES["power-01"]["expected"]}


@answers("turn-01")
def lathe_speed(given: Inputs) -> Mapping[str, Any]:
    return {"spindle_speed": spindle_speed(given["cutting_speed"], given["diameter"])}


@answers("turn-02")
def turning_at_the_outer_diameter(given: Inputs) -> Mapping[str, Any]:
    n = spindle_speed(given["cutting_speed"], given["diameter"])
    return {
        "cutting_time": time_in_cut(given["length"], (given["feed"] * n).to("mm/min")),
        "removal_rate": turning.removal_rate(given["cutting_speed"], given["depth"], given["feed"]),
    }


@answers("turn-03")
def turning_at_the_mean_diameter(given: Inputs) -> Mapping[str, Any]:
    first, last, n = given["initial_diameter"], given["final_diameter"], given["spindle_speed"]
    feed, depth = given["feed_rate"] / n, (first - last) / 2
    return {
        "cutting_speed": surface_speed(n, first),
        "feed": feed,
        "depth": depth,
        "removal_rate": turning.removal_rate(surface_speed(n, (first + last) / 2), depth, feed),
        "cutting_time": time_in_cut(given["length"], given["feed_rate"]),
    }


@answers("finish-01")
def finish(given: Inputs) -> Mapping[str, Any]:
    return {
        "rz_parabola": turning.roughness_rz(given["feed"], given["nose_radius"]),
        "ra_rule": turning.roughness_ra(given["feed"], given["nose_radius"]),
    }


@answers("ball-01")
def ball(given: Inputs) -> Mapping[str, Any]:
    return {
        f"effective_diameter_{which}": chip.ball_contact_diameter(given["diameter"], given[f"depth_{which}"])
        for which in "ab"
    }


@answers("bull-01")
def bull(given: Inputs) -> Mapping[str, Any]:
    found = chip.bull_contact_diameter(given["diameter"], given["corner_radius"], given["depth"])
    return {"effective_diameter": found}


@answers("drill-01")
def blind_hole(given: Inputs) -> Mapping[str, Any]:
    asked = {key: given[key] for key in ("diameter", "depth", "point_angle", "feed")}
    answer = run("drilling", {**asked, "surface_speed": given["cutting_speed"]}).results
    names = {"cutting_time": "time_in_cut"}
    return {key: answer[names.get(key, key)].value for key in ENTRIES["drill-01"]["expected"]}


@answers("drill-02")
def plate_without_the_point(given: Inputs) -> Mapping[str, Any]:
    n = spindle_speed(given["cutting_speed"], given["diameter"])
    way = drilling.travel(given["diameter"], given["depth"], ureg.Quantity(180, "deg"))
    return {"spindle_speed": n, "cutting_time": time_in_cut(way, (given["feed"] * n).to("mm/min"))}


@answers("drill-03")
def drilling_power(given: Inputs) -> Mapping[str, Any]:
    diameter, feed, kc = given["diameter"], given["feed"], given["kc"]
    n = spindle_speed(given["cutting_speed"], diameter)
    load = drilling.drilling_load(diameter, feed, n, kc, 0.0, given["point_angle"])  # mc 0: kc as given
    return {"power": load.power, "torque": load.torque, "thrust_half_kc": load.thrust}


@answers("drill-04")
def half_an_hour(given: Inputs) -> Mapping[str, Any]:
    rate = (given["depth"] + given["allowance"]) / given["cutting_time"]
    return {"feed_rate": rate, "removal_rate": drilling.removal_rate(given["diameter"], rate)}


@answers("tap-01")
def tap_torque(given: Inputs) -> Mapping[str, Any]:
    return {"torque": tapping.torque(given["kc"], given["pitch"], given["diameter"])}


@answers("tap-02")
def tap_feed(given: Inputs) -> Mapping[str, Any]:
    asked = {"diameter": given["diameter"], "pitch": given["pitch"], "surface_speed": given["cutting_speed"]}
    answer = run("tapping", asked).results
    return {key: answer[key].value for key in ("spindle_speed", "feed_rate")}


@answers("thread-01", "thread-02")
def metric_threads(given: Inputs) -> Mapping[str, Any]:
    name = "thread-01" if "M6x1_pitch" in given else "thread-02"
    found = {}
    for key in ENTRIES[name]["expected"]:
        size, what = key.split("_", 1)
        named = thread(size)
        found[key] = named.pitch_diameter if what == "pitch_diameter" else named.minor_diameter
    return found


@answers("thread-05")
def unified_threads(given: Inputs) -> Mapping[str, Any]:
    found = {}
    for key in ENTRIES["thread-05"]["expected"]:
        size, what = key.split("_", 1)
        found[key] = thread(size).pitch_diameter if what == "pitch_diameter" else thread(size).minor_diameter
    return found


def tap_drills(name: str) -> Solve:
    return lambda given: {key: drill_for(thread(key.split("_")[0])).diameter for key in ENTRIES[name]["expected"]}


for metric_or_unified in ("tapdrill-01", "tapdrill-02", "tapdrill-03", "tapdrill-04"):
    SOLVERS[metric_or_unified] = tap_drills(metric_or_unified)


@answers("thread-03")
def percents(given: Inputs) -> Mapping[str, Any]:
    return {
        "percent_a": percent_of_thread(given["major_a"], (1 / given["tpi_a"]), given["hole_a"]),
        "percent_b": percent_of_thread(given["major_b"], given["pitch_b"], given["hole_b"]),
    }


@answers("thread-04")
def holes_in_both_conventions(given: Inputs) -> Mapping[str, Any]:
    major, pitch, percent = given["major"], 1 / given["tpi"], given["percent"]
    return {
        "hole_5H8": hole_for_percent(major, pitch, percent, PROFILE),
        "hole_3H4": hole_for_percent(major, pitch, percent),
    }


@answers("drillsize-01")
def drill_names(given: Inputs) -> Mapping[str, Any]:
    spoken = {name: name.replace("letter_", "").replace("_", ". ") for name in given}
    return {name: read_drill(text).diameter for name, text in spoken.items()}


@answers("clear-01")
def metric_clearance(given: Inputs) -> Mapping[str, Any]:
    return {
        key: clearance_hole(thread(key.split("_")[0]), key.split("_")[1]) for key in ENTRIES["clear-01"]["expected"]
    }


@answers("clear-02")
def inch_clearance(given: Inputs) -> Mapping[str, Any]:
    named = {"1/4": thread("1/4-20"), "5/16": thread("5/16-18")}
    fits = {"close": "fine", "normal": "medium", "loose": "coarse"}
    return {
        key: clearance_hole(named[key.split("_")[0]], fits[key.split("_")[1]])
        for key in ENTRIES["clear-02"]["expected"]
    }


@answers("csk-02")
def mouth_for_a_thread(given: Inputs) -> Mapping[str, Any]:
    asked = {"thread": "1/4-20", "hole_diameter": "0.201 in", "included_angle": 90, "tip_diameter": 0}
    answer = run("chamfer-hole", {**asked, "factor": given["factor"].m_as("")}).results
    return {"chamfer_diameter": ureg.Quantity(answer["chamfer_diameter"].value, "mm")}


@answers("chamfer-01", "chamfer-02", "chamfer-03", "chamfer-06")
def edges(given: Inputs) -> Mapping[str, Any]:
    asked = {
        "included_angle": given["included_angle"],
        "tip_diameter": given["tip_flat"],
        "axis_offset": given["axis_offset"],
        "depth_below_face": given["depth_below_face"],
    }
    answer = run("chamfer-edge", asked).results
    names = {
        "chamfer_width": "chamfer_width",
        "chamfer_leg_down": "chamfer_depth",
        "contact_diameter_low": "smallest_diameter",
        "contact_diameter_high": "effective_diameter",
    }
    return {key: ureg.Quantity(answer[name].value, "mm") for key, name in names.items()}


@answers("chamfer-04")
def tip_into_the_wall(given: Inputs) -> Mapping[str, Any]:
    mill = chamfer.conical_mill(given["included_angle"], given["tip_flat"])
    cut = chamfer.edge_chamfer(mill, axis_offset=given["axis_offset"], depth_below_face=given["depth_below_face"])
    assert not cut.fits
    closest = chamfer.edge_chamfer(mill, contact_low=0 * ureg.mm, depth_below_face=given["depth_below_face"])
    assert closest.fits
    return {"minimum_offset": closest.axis_offset, "gouge_into_wall": cut.gouge, "cut_area": cut.cut_area}


@answers("chamfer-05")
def which_diameter(given: Inputs) -> Mapping[str, Any]:
    return {
        "rpm_on_contact_diameter": spindle_speed(given["cutting_speed"], given["contact_diameter_high"]),
        "rpm_on_nominal_diameter": spindle_speed(given["cutting_speed"], given["nominal_diameter"]),
    }


@answers("csk-03")
def countersinks(given: Inputs) -> Mapping[str, Any]:
    found = {}
    for name, angle in given.items():
        if name.startswith("angle_"):
            mill = chamfer.conical_mill(angle, 0 * ureg.mm)
            cut = hole_chamfer.plunge(mill, given["hole_diameter"], given["top_diameter"])
            found[name.replace("angle", "cone_depth")] = cut.chamfer_depth
            found[name.replace("angle", "tip_depth")] = cut.depth_below_face
    return found


@answers("csk-04")
def countersink_with_a_flat(given: Inputs) -> Mapping[str, Any]:
    mill = chamfer.conical_mill(given["included_angle"], given["tip_flat"])
    cut = hole_chamfer.plunge(mill, given["hole_diameter"], given["top_diameter"])
    return {
        "cone_depth": cut.chamfer_depth,
        "tip_depth": cut.depth_below_face,
        "removed_volume": cut.removed_volume,
    }


@answers("point-01")
def points(given: Inputs) -> Mapping[str, Any]:
    return {
        f"{which}_point_length": drilling.point_length(given[f"{which}_diameter"], given[f"{which}_point_angle"])
        for which in "abcd"
    }


@answers("units-01", "units-02")
def units(given: Inputs) -> Mapping[str, Any]:
    name = "units-01" if "finish" in given else "units-02"
    found = {}
    for key, entry in ENTRIES[name]["inputs"].items():
        wanted = ENTRIES[name]["expected"][key]["unit"]
        typed = f"{entry['value']} {OWN_UNITS.get(entry['unit'], entry['unit'])}"
        found[key] = read_quantity(key, typed, wanted)
    return found


def test_the_mean_chip_is_the_integral_over_the_engagement() -> None:
    # Numeric quadrature, independent of the closed form: h = fz sin φ from 0 to θe.
    diameter, radial, feed = 20.0, 3.0, 0.1
    engaged = math.acos(1 - 2 * radial / diameter)
    steps = 20_000
    mean = sum(math.sin(engaged * (step + 0.5) / steps) for step in range(steps)) / steps * feed
    q = ureg.Quantity
    found = chip.mean_chip_thickness(q(feed, "mm"), q(radial, "mm"), q(diameter, "mm"), q(90, "deg"))
    assert found.m_as("mm") == pytest.approx(mean, rel=1e-8)


def test_facing_time_is_the_integral_along_the_radius() -> None:
    # Numeric quadrature of dr / (f · n(r)), with the speed held below its limit.
    outer, inner, speed, feed, limit = 60.0, 5.0, 150_000.0, 0.15, 1800.0
    steps = 20_000
    total = 0.0
    for step in range(steps):
        radius = inner + (outer - inner) * (step + 0.5) / steps
        total += (outer - inner) / steps / (feed * min(limit, speed / (2 * math.pi * radius)))
    q = ureg.Quantity
    cut = turning.facing(q(120, "mm"), q(10, "mm"), q(150, "m/min"), q(0.15, "mm"), q(1800, "1/min"))
    assert cut.time_in_cut.m_as("min") == pytest.approx(total, rel=1e-7)
