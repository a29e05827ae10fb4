"""A thread: its basic dimensions, and the drill before the tap."""

from calc.cutting.drill_sizes import Drill, read_drill
from calc.cutting.threads import (
    FORMED,
    HANDBOOK,
    PROFILE,
    Thread,
    clearance_hole,
    drill_for,
    hole_for,
    percent_of_thread,
    thread,
)
from calc.errors import WorkingError
from calc.units import Quantity, in_unit
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working

PROFILE_SOURCE = "iso-68-1 (m)"
PERCENT_SOURCE = "handbook-tap-percent"


def _thread(given: Given) -> Found:
    found, show = Found(), given.show
    named = thread(given.text("thread"))
    pitch, major = in_unit(named.pitch, "mm"), in_unit(named.diameter, "mm")
    found.results |= {
        "pitch": pitch, "minor_diameter": named.minor_diameter, "pitch_diameter": named.pitch_diameter,
        "thread_height": named.height,
    }  # fmt: skip
    found.working += [
        Step("Basic minor diameter of the nut thread", "D1 = D − 5/8 · √3 · P",
             f"{show(major)} − 1.0825 · {show(pitch)}", show(named.minor_diameter), PROFILE_SOURCE),
        Step("Basic pitch diameter", "D2 = D − 3/8 · √3 · P", f"{show(major)} − 0.6495 · {show(pitch)}",
             show(named.pitch_diameter), PROFILE_SOURCE),
        Step("Depth of the basic profile", "5/8 · H, H = √3/2 · P", f"0.5413 · {show(pitch)}", show(named.height),
             PROFILE_SOURCE),
    ]  # fmt: skip
    exact, drill = _hole(given, found, named)
    found.results |= {"drill_diameter": exact, "drill": {"name": drill.name, "mm": drill.diameter}}
    found.texts["drill"] = _named(given, drill)
    _percents(given, found, named, drill)
    clearance = clearance_hole(named)
    if clearance is not None:
        source = "asme-b18.2.8" if named.inch else "iso-273"
        found.results["clearance_medium"] = clearance
        found.working.append(Step("Clearance hole", "medium fit, from the table", named.name, show(clearance), source))
    return found


def _named(given: Given, drill: Drill) -> str:
    """The drill's name with its size, or the size alone where that is its name."""
    size = given.show(drill.diameter)
    return size if size.startswith(f"{drill.name} ") else f"{drill.name} ({size})"


def _percents(given: Given, found: Found, named: Thread, drill: Drill) -> None:
    """Percent of thread the drill leaves; a formed thread has a measure of its own, and no share of the cut profile."""
    show, pitch, major = given.show, in_unit(named.pitch, "mm"), in_unit(named.diameter, "mm")
    difference = f"({show(major)} − {show(drill.diameter)})"
    if given.text("form") == "form":
        formed = percent_of_thread(major, pitch, drill.diameter, FORMED)
        found.results["percent_of_handbook"] = formed
        found.working.append(
            Step("Percent of thread, formed", "(D − drill) / (0.68 · P)", f"{difference} / (0.68 · {show(pitch)})",
                 show(formed), "handbook-form-tap (m)")
        )  # fmt: skip
        return
    handbook = percent_of_thread(major, pitch, drill.diameter, HANDBOOK)
    profile = percent_of_thread(major, pitch, drill.diameter, PROFILE)
    found.results |= {"percent_of_handbook": handbook, "percent_of_profile": profile}
    found.working += [
        Step("Percent of thread, handbook measure (3/4 · H per side)", "(D − drill) / (1.299 · P)",
             f"{difference} / (1.299 · {show(pitch)})", show(handbook), PERCENT_SOURCE),
        Step("Percent of the basic profile (5/8 · H per side)", "(D − drill) / (1.0825 · P)",
             f"{difference} / (1.0825 · {show(pitch)})", show(profile), PROFILE_SOURCE),
    ]  # fmt: skip


def _hole(given: Given, found: Found, named: Thread) -> tuple[Quantity, Drill]:
    """The hole before rounding to a stocked drill, and the drill."""
    show, formed = given.show, given.text("form") == "form"
    if "drill" in given:
        return _drill_at_hand(given, named)
    percent = given.quantity_or_none("percent")
    asked = None if percent is None else float(percent.magnitude)
    hole, drill = hole_for(named, asked, formed), drill_for(named, asked, formed)
    standard = asked is None and not named.inch and not formed
    taken = asked if asked is not None else 65 if formed else 75
    if formed:
        found.cautions.append("A form tap needs the hole within a few hundredths: try it on a test piece first.")
    if asked is None:
        what = "the standard's tapping drill" if standard else f"{taken:g} % of thread"
        found.assumed.append(f"No percent was asked for: {what} was taken.")
    major, pitch, factor = show(in_unit(named.diameter, "mm")), show(in_unit(named.pitch, "mm")), _factor(formed)
    if standard:
        rule, numbers, source = "D − P, in the standard's sizes", f"{major} − {pitch}", "iso-2306"
    else:
        rule, numbers = f"D − {factor} · P · percent", f"{major} − {factor} · {pitch} · {taken:g} %"
        source = "handbook-form-tap (m)" if formed else PERCENT_SOURCE
    found.working += [
        Step("Hole before the tap", rule, numbers, show(hole), source),
        Step("Nearest stocked drill", "number, letter, fraction" if named.inch else "metric sizes",
             f"near {show(hole)}", _named(given, drill), "drill-gauges" if named.inch else "iso-235 (m)"),
    ]  # fmt: skip
    return hole, drill


def _factor(formed: bool) -> str:
    return "0.68" if formed else "1.299"


def _drill_at_hand(given: Given, named: Thread) -> tuple[Quantity, Drill]:
    """The drill that was named; one that cannot be meant for this thread most often wants its unit."""
    drill = read_drill(given.text("drill"))
    size, major = given.show(drill.diameter), given.show(in_unit(named.diameter, "mm"))
    if drill.diameter >= named.diameter:
        raise WorkingError("drill", f"Drill: a hole of {size} in a thread of {major} leaves nothing to tap.")
    if drill.diameter < 0.9 * named.minor_diameter:
        minor = given.show(named.minor_diameter)
        raise WorkingError(
            "drill",
            f"Drill: {size} is far below the minor diameter of {minor}. A bare number is in mm; write inches as "
            "0.257 in.",
        )
    return drill.diameter, drill


THREAD = Working(
    name="thread", title="Thread and tap drill",
    says="Basic dimensions of a thread, the drill before the tap, and the percent of thread it leaves.",
    inputs=(
        Input(name="thread", label="Thread", kind=Kind.TEXT, required=True, example="M10x1.5",
              hint="Such as M10, M10x1.25, 5/16-18 UNC or #10-32."),
        Input(name="percent", label="Percent of thread", unit="%", group="hole", above=0, highest=100, example=75,
              hint="By the handbook's measure."),
        Input(name="drill", label="Drill at hand", kind=Kind.TEXT, group="hole",
              hint="By size in mm or by name: 8.5, F, #7, 27/64."),
        Input(name="form", label="Tap", kind=Kind.CHOICE, choices=("cut", "form"), default="cut"),
    ),
    groups=(Group(name="hole", label="the hole", required=False),),
    results=(
        Result(name="pitch", label="Pitch", symbol="P", unit="mm"),
        Result(name="minor_diameter", label="Minor diameter", symbol="D1", unit="mm"),
        Result(name="pitch_diameter", label="Pitch diameter", symbol="D2", unit="mm"),
        Result(name="thread_height", label="Depth of the basic profile", unit="mm"),
        Result(name="drill_diameter", label="Hole, exact", unit="mm"),
        Result(name="drill", label="Drill", unit="mm", kind=Kind.OBJECT),
        Result(name="percent_of_handbook", label="Percent of thread", unit="%"),
        Result(name="percent_of_profile", label="Percent of the basic profile", unit="%",
               needs="Only a cut thread has it."),
        Result(name="clearance_medium", label="Clearance hole", unit="mm", needs="The table does not list this size."),
    ),
    headline=("drill", "percent_of_handbook", "minor_diameter", "clearance_medium"),
    compute=_thread,
    sources=("iso-68-1 (m)", "iso-261", "asme-b1.1 (m)", "iso-2306", "handbook-tap-percent", "iso-273", "asme-b18.2.8",
             "drill-gauges", "iso-235 (m)"),
)  # fmt: skip
