"""A thread: its basic dimensions, the drill before the tap, and the holes that clear its bolt."""

from dataclasses import dataclass

from calc.cutting.drill_sizes import Drill, neighbours, read_drill, read_stock
from calc.cutting.threads import (
    CUT_PERCENT,
    FORMED,
    FORMED_PERCENT,
    HANDBOOK,
    PROFILE,
    WHITWORTH,
    Thread,
    drill_for,
    hole_for,
    percent_of_thread,
    sizes_for,
    standard_drills,
    thread,
)
from calc.errors import WorkingError
from calc.units import Quantity, in_unit
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.thread_steps import PROFILE_SOURCE, tell_clearance, tell_profile, tell_stress_area

PERCENT_SOURCE = "handbook-tap-percent"
FORM_SOURCE = "handbook-form-tap (m)"
DRILL_SOURCE = "pipe-drills"
MOST_PERCENT, LEAST_PERCENT = 85, 55  # common practice, no source


def _thread(given: Given) -> Found:
    found = Found()
    named = thread(given.text("thread"))
    tell_profile(given, found, named)
    if given.many:
        _sweep(given, found, named)
    elif _tapped(given, found, named):
        exact, drill = _hole(given, found, named)
        found.results |= {"drill_diameter": exact, "drill": {"name": drill.name, "mm": drill.diameter}}
        found.texts["drill"] = _named(given, drill)
        _percents(given, found, named, drill.diameter)
        _tell_neighbours(given, found, named, drill)
    tell_stress_area(given, found, named)
    tell_clearance(given, found, named)
    return found


def _sweep(given: Given, found: Found, named: Thread) -> None:
    """Hole, drill and what it leaves along percents of thread, the one number that can be swept here."""
    asked, formed = given.quantity("percent").m_as("percent"), given.text("form") == "form"
    sizes = sizes_for(named, asked, formed, _stock(given))
    found.results |= {"drill_diameter": hole_for(named, asked, formed), "drill": {"mm": sizes}}
    _percents(given, found, named, sizes)


def _tapped(given: Given, found: Found, named: Thread) -> bool:
    """Whether there is a hole to speak of; an outside thread has none, and for some pipe sizes no table has one."""
    if named.pipe and given.text("form") == "form":
        hole_for(named, formed=True)  # refuses, and says why
    asked = [name for name in ("percent", "drill", "stock") if name in given]
    if named.family == "R":
        if asked:
            hole_for(named)
        found.assumed.append(f"{named.name} is an outside thread: write Rc or Rp for the hole it goes into.")
        return False
    if named.pipe and not named.drill and "percent" not in given and "drill" not in given:
        found.assumed.append(f"No table at hand has a drill for {named.name}: take it from the maker of the tap.")
        return False
    return True


def _named(given: Given, drill: Drill) -> str:
    """The drill's name with its size, or the size alone where that is its name."""
    size = given.show(drill.diameter)
    return size if size.startswith(f"{drill.name} ") else f"{drill.name} ({size})"


@dataclass(frozen=True, slots=True)
class _Measure:
    """One way to say how much thread a hole leaves: (D - drill) over a factor of the pitch."""

    result: str
    says: str
    factor: float
    written: str
    source: str

    def tell(self, given: Given, named: Thread, hole: Quantity) -> tuple[Quantity, str, str]:
        """The percent a hole leaves, the formula, and the formula with its numbers."""
        pitch, major = in_unit(named.pitch, "mm"), in_unit(named.diameter, "mm")
        percent = percent_of_thread(major, pitch, hole, self.factor)
        sizes = f"{given.show(major)} − {given.show(hole)}"
        return percent, f"(D − drill) / ({self.written} · P)", f"({sizes}) / ({self.written} · {given.show(pitch)})"


def _measures(given: Given, named: Thread) -> list[_Measure]:
    """The measures that apply: a formed thread has one of its own, and a taper thread has none."""
    if given.text("form") == "form":
        return [_Measure("percent_of_handbook", "Percent of thread, formed", FORMED, "0.68", FORM_SOURCE)]
    if named.taper:
        return []
    if named.pipe:
        return [_Measure("percent_of_profile", "Percent of the rounded profile", WHITWORTH, "1.2807", named.source)]
    return [
        _Measure("percent_of_handbook", "Percent of thread, handbook measure (3/4 · H per side)", HANDBOOK, "1.299",
                 PERCENT_SOURCE),
        _Measure("percent_of_profile", "Percent of the basic profile (5/8 · H per side)", PROFILE, "1.0825",
                 PROFILE_SOURCE),
    ]  # fmt: skip


def _percents(given: Given, found: Found, named: Thread, hole: Quantity) -> None:
    """Percent of thread the drill leaves, by each measure that applies."""
    for measure in _measures(given, named):
        percent, formula, numbers = measure.tell(given, named, hole)
        found.results[measure.result] = percent
        found.working.append(Step(measure.says, formula, numbers, given.show(percent), measure.source))
    if named.taper:
        minor = named.minor_diameter
        found.warn(
            "hole", "hole past the minor diameter at the gauge plane", hole > minor,
            lambda: f"{given.show(hole)} is past the minor diameter at the gauge plane, {given.show(minor)}: the first "
            "threads will not be full and may leak.",
        )  # fmt: skip
    if not named.pipe and given.text("form") == "cut":
        _warn_of_percent(given, found, hole)


def _warn_of_percent(given: Given, found: Found, hole: Quantity) -> None:
    percent = found.results["percent_of_handbook"]
    leaves = f"The hole of {given.show(hole)} leaves {given.show(percent)} of thread"
    found.warn(
        "percent_high", f"over {MOST_PERCENT} % of thread", percent.magnitude > MOST_PERCENT,
        lambda: f"{leaves}, over {MOST_PERCENT} %: hard work for the tap and little gained in strength. A larger drill "
        "spares it.",
    )  # fmt: skip
    found.warn(
        "percent_low",
        f"under {LEAST_PERCENT} % of thread",
        percent.magnitude < LEAST_PERCENT,
        lambda: f"{leaves}, under {LEAST_PERCENT} %: the thread may strip. Take a smaller drill, or a longer thread.",
    )


def _tell_neighbours(given: Given, found: Found, named: Thread, drill: Drill) -> None:
    """The next smaller and the next larger drill, with what each would leave."""
    if drill.name == "bored":
        return
    both = neighbours(drill, _stock(given) or standard_drills(named))
    for says, other in zip(("Next smaller drill", "Next larger drill"), both, strict=True):
        if other is None or other.diameter >= named.diameter:
            continue
        result = _named(given, other)
        if named.taper and other.diameter > named.minor_diameter:
            result += ": too large, past the minor diameter at the gauge plane"
        step = Step(says, "beside it in the list", _named(given, drill), result, "drill-gauges")
        for measure in _measures(given, named)[:1]:
            percent, formula, numbers = measure.tell(given, named, other.diameter)
            step = Step(says, formula, numbers, f"{step.result}: {given.show(percent)}", measure.source)
        found.working.append(step)


def _stock(given: Given) -> tuple[Drill, ...]:
    return read_stock(given.text("stock")) if "stock" in given else ()


def _hole(given: Given, found: Found, named: Thread) -> tuple[Quantity, Drill]:
    """The hole before rounding to a drill, and the drill."""
    formed = given.text("form") == "form"
    if "drill" in given:
        if "stock" in given:
            found.assumed.append("The drill at hand was taken; the stock was not looked through.")
        return _drill_at_hand(given, named)
    percent = given.quantity_or_none("percent")
    asked = None if percent is None else float(percent.magnitude)
    stock = _stock(given)
    hole, drill = hole_for(named, asked, formed), drill_for(named, asked, formed, stock)
    if formed:
        found.cautions.append("A form tap needs the hole within a few hundredths: try it on a test piece first.")
    _tell_hole(given, found, named, hole, asked)
    if stock:
        sizes, source = f"the nearest of {len(stock)} in stock", "common-practice"
    elif named.inch:
        sizes, source = "the nearest of numbers, letters and fractions", "drill-gauges"
    else:
        sizes, source = "the nearest of the metric sizes", "iso-235 (m)"
    says = "Nearest drill in stock" if stock else "Nearest standard drill"
    if drill.name == "bored":
        says, sizes = "No standard drill is near", "bored to size"
    if stock or asked is not None or not named.pipe:
        found.working.append(Step(says, sizes, f"{given.show(hole)} wanted", _named(given, drill), source))
    return hole, drill


def _tell_hole(given: Given, found: Found, named: Thread, hole: Quantity, asked: float | None) -> None:
    """Where the hole comes from: the standard's drill, the pipe's customary one, or a percent of thread."""
    show, formed = given.show, given.text("form") == "form"
    major, pitch = show(in_unit(named.diameter, "mm")), show(in_unit(named.pitch, "mm"))
    taken = asked if asked is not None else FORMED_PERCENT if formed else CUT_PERCENT
    if asked is None and named.pipe:
        what, rule, numbers, source = "the customary hole", "from the tables of tap makers", named.name, DRILL_SOURCE
        if named.taper:
            found.cautions.append(
                "The hole is drilled straight. Reaming it 1:16 first spares the tap. Stop when the gauge sits flush at "
                "its notch: each turn more makes the thread larger."
            )
    elif asked is None and not named.inch and not formed:
        what, rule = "the standard's tapping drill", "D − P, in the standard's sizes"
        numbers, source = f"{major} − {pitch}", "iso-2306"
    else:
        factor = "0.68" if formed else "1.2807" if named.pipe else "1.299"
        what, rule = f"{taken:g} % of thread", f"D − {factor} · P · percent"
        numbers = f"{major} − {factor} · {pitch} · {taken:g} %"
        source = FORM_SOURCE if formed else named.source if named.pipe else PERCENT_SOURCE
    if asked is None:
        found.assumed.append(f"No percent was asked for: {what} was taken.")
    found.working.append(Step("Hole before the tap", rule, numbers, show(hole), source))


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


NO_TABLE = "The tables do not list this size."
NO_HOLE = "An outside thread is not tapped, and some large pipe sizes have no drill in the tables."
NO_TAPER = "Only a taper thread has it."
THREAD = Working(
    name="thread", title="Thread and tap drill",
    says="Dimensions of a thread, the drill before the tap with the percent of thread it leaves, and the clearance "
         "holes. The chamfer at the mouth, 1.10 times D, is worked out under Chamfer on a hole.",
    inputs=(
        Input(name="thread", label="Thread", kind=Kind.TEXT, required=True, example="M10x1.5",
              hint="Such as M10, M10x1.25, 5/16-18 UNC, #10-32, 1 1/8-8 UN, G 1/2, Rc 3/4 or 1/2-14 NPT."),
        Input(name="percent", label="Percent of thread", unit="%", group="hole", above=0, highest=100, example=75,
              hint="By the handbook's measure; of a parallel pipe thread by its whole depth. Not for taper threads."),
        Input(name="drill", label="Drill at hand", kind=Kind.TEXT, group="hole",
              hint="By size in mm or by name: 8.5, F, #7, 27/64."),
        Input(name="stock", label="Drills in stock", kind=Kind.TEXT,
              hint="The drill is chosen from these: 8.4, 8.5, F, #7, 27/64, ranges such as 1 to 13 by 0.1, or the sets "
                   "metric, numbers, letters, fractions."),
        Input(name="form", label="Tap", kind=Kind.CHOICE, choices=("cut", "form"), default="cut"),
    ),
    groups=(Group(name="hole", label="the hole", required=False),),
    results=(
        Result(name="designation", label="Thread", kind=Kind.TEXT),
        Result(name="pitch", label="Pitch", symbol="P", unit="mm"),
        Result(name="threads_per_inch", label="Threads per inch", kind=Kind.NUMBER),
        Result(name="major_diameter", label="Major diameter", symbol="D", unit="mm"),
        Result(name="minor_diameter", label="Minor diameter", symbol="D1", unit="mm"),
        Result(name="pitch_diameter", label="Pitch diameter", symbol="D2", unit="mm"),
        Result(name="thread_height", label="Depth of the basic profile", unit="mm"),
        Result(name="thread_angle", label="Angle of the thread", unit="deg"),
        Result(name="gauge_length", label="Small end to gauge plane, hand-tight", unit="mm", needs=NO_TAPER),
        Result(name="useful_length", label="Useful thread", unit="mm", needs=NO_TAPER),
        Result(name="drill_diameter", label="Hole, exact", unit="mm", needs=NO_HOLE),
        Result(name="drill", label="Drill", unit="mm", kind=Kind.OBJECT, needs=NO_HOLE),
        Result(name="percent_of_handbook", label="Percent of thread", unit="%",
               needs="It does not apply to pipe threads."),
        Result(name="percent_of_profile", label="Percent of the basic profile", unit="%",
               needs="Only a cut thread that does not taper has it."),
        Result(name="clearance_close", label="Clearance hole, close", unit="mm", needs=NO_TABLE),
        Result(name="clearance_medium", label="Clearance hole, medium", unit="mm", needs=NO_TABLE),
        Result(name="clearance_free", label="Clearance hole, free", unit="mm", needs=NO_TABLE),
        Result(name="stress_area", label="Stress area of the bolt", symbol="As", unit="mm²",
               needs="A pipe thread has none."),
    ),
    headline=("drill", "percent_of_handbook", "minor_diameter", "clearance_medium"),
    compute=_thread,
    takes_arrays=True,
    sources=("iso-68-1 (m)", "iso-261", "asme-b1.1 (m)", "iso-228-1", "iso-7-1", "asme-b1.20.1", "iso-2306",
             "handbook-tap-percent", "handbook-form-tap (m)", "pipe-drills", "iso-273", "asme-b18.2.8",
             "iso-898-1 (m)", "drill-gauges", "iso-235 (m)", "plane-geometry", "common-practice"),
)  # fmt: skip
