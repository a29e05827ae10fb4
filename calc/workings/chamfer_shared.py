"""What chamfers on edges and on holes have in common: the tool, its wear, and the conditions of the cut."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.bands import MARGIN as USUAL_MARGIN
from calc.cutting.bands import LeastWorn, Span, WornBand, free_bands, least_worn_band, wear_profile
from calc.cutting.chamfer import EdgeChamfer
from calc.cutting.clearance import Verdict
from calc.cutting.cone import ConicalMill, conical_mill, in_mm, mm_of, speeds_in_contact
from calc.cutting.hole_chamfer import HoleChamfer
from calc.errors import WorkingError
from calc.units import Quantity, System, choose, in_unit, plain, show, show_number, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Mark, Result, Step
from calc.workings.shared import (
    CAPPED_BY,
    GEOMETRY,
    KINEMATICS,
    MACHINE,
    TOOL,
    held_back,
    in_feed,
    length,
    limit_inputs,
    speed_step,
    wanted_speed,
    warn_of_speed,
)

MOST_BANDS = 8
MOST_WORN = 200
HAIR = 1e-9  # of wear; rounding must not make a band look less worn than another

ITEM = Input(
    name="item", label="Tip", kind=Kind.TEXT,
    hint="By the label on it; brings its sizes, and the bands of its flute that have cut already.",
)  # fmt: skip
MILL_INPUTS = (
    TOOL, ITEM,
    Input(name="included_angle", label="Included angle", symbol="σ", unit="deg", required=True, above=0, highest=179,
          example=90),
    length("tip_diameter", "Tip flat", "d0", required=True, above=None, lowest=0, example=1,
           hint="Diameter of the flat at the tip; 0 for a sharp point."),
    length("max_diameter", "Largest diameter of the flute", "DC", example=16),
    length("shank_diameter", "Shank above the flute", hint="As wide as the flute where it is left out."),
)  # fmt: skip
WEAR_INPUTS = (
    Input(
        name="worn", label="Worn bands", kind=Kind.LIST,
        fields=(
            length("low", "From, above the tip flat", required=True, above=None, lowest=0),
            length("high", "To", required=True, above=None, lowest=0),
            Input(name="share", label="Share of its life used", kind=Kind.NUMBER, lowest=0),
            Input(name="minutes", label="Minutes in cut", unit="min", lowest=0),
        ),
        hint="The stretches of flute that have cut, each with the share of its life used (0.4) or its minutes.",
    ),
    length("margin", "Kept between bands", above=None, lowest=0, default=USUAL_MARGIN,
           hint="Unused flute beside each band and at both ends."),
)  # fmt: skip
CONDITIONS = (
    Input(name="teeth", label="Teeth", symbol="ZEFP", kind=Kind.COUNT, lowest=1, highest=200, example=4),
    Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", group="speed", above=0, example=60,
          hint="At the largest diameter in contact."),
    Input(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min", group="speed", above=0),
    length("feed_per_tooth", "Feed per tooth", "fz", group="feed", example=0.05),
    Input(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min", group="feed", above=0),
    Input(name="material", label="Work material", kind=Kind.TEXT,
          hint="By its name in the catalogue; warns of a speed outside those kept for it."),
    MACHINE, *limit_inputs("max_spindle_speed", "max_feed_rate"),
)  # fmt: skip
SPEED_OR_NONE = Group(name="speed", label="the speed", required=False)
FEED_OR_NONE = Group(name="feed", label="the feed", required=False)

NEEDS_SPEED = "Give the surface speed or the spindle speed."
NEEDS_FEED = f"{NEEDS_SPEED} Give also teeth and feed per tooth, or the feed rate."
NEEDS_WEAR = "Give the worn bands or the tip, and the largest diameter of the flute."
NEEDS_FLUTE = "Give the largest diameter of the flute."
FIT_RESULTS = (
    Result(name="flute_height", label="Height of the flute", unit="mm", needs=NEEDS_FLUTE),
    Result(name="clearance_tip", label="Clearance of the tip flat to the wall", unit="mm",
           needs="The tip flat does not enter the hole."),
    Result(name="clearance_shank", label="Clearance of the shank over the face", unit="mm", needs=NEEDS_FLUTE),
)  # fmt: skip
CONTACT_RESULTS = (
    Result(name="contact_low", label="Lowest contact above the tip flat", unit="mm"),
    Result(name="contact_high", label="Highest contact above the tip flat", unit="mm"),
)  # fmt: skip
ACROSS_RESULTS = (
    Result(name="effective_diameter", label="Largest diameter in contact", unit="mm"),
    Result(name="smallest_diameter", label="Smallest diameter in contact", unit="mm"),
)  # fmt: skip
PROPOSED_DEPTH = Result(
    name="proposed_depth_below_face", label="Depth of the tip flat for the least worn band", unit="mm", needs=NEEDS_WEAR
)
PROPOSED_PROGRAM = Result(
    name="proposed_program_diameter", label="Diameter to program for the least worn band", unit="mm", needs=NEEDS_WEAR
)
WEAR_RESULTS = (
    Result(name="proposed_contact_low", label="Least worn band that fits, from", unit="mm", needs=NEEDS_WEAR),
    Result(name="proposed_contact_high", label="Least worn band that fits, to", unit="mm", needs=NEEDS_WEAR),
    Result(name="proposed_wear", label="Worst wear of the least worn band", kind=Kind.NUMBER, needs=NEEDS_WEAR),
    Result(name="wear_measure", label="Wear is counted as", kind=Kind.TEXT, needs=NEEDS_WEAR),
    Result(name="free_bands", label="Bands not worn yet that fit", unit="mm", kind=Kind.LIST, needs=NEEDS_FLUTE),
)  # fmt: skip
SPEED_RESULTS = (
    Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min", needs=NEEDS_SPEED),
    Result(name="surface_speed", label="Surface speed at the largest contact", symbol="vc", unit="m/min",
           needs=NEEDS_SPEED),
    Result(name="smallest_speed", label="Surface speed at the smallest contact", unit="m/min", needs=NEEDS_SPEED),
    Result(name="feed_per_tooth", label="Feed per tooth", symbol="fz", unit="mm",
           needs=f"{NEEDS_FEED} Give the teeth."),
    Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min", needs=NEEDS_FEED),
)  # fmt: skip
VERDICT = (
    Result(name="fits", label="Fits", kind=Kind.BOOL),
    Result(name="why_not", label="Why not", kind=Kind.TEXT),
    CAPPED_BY,
)  # fmt: skip
COLLISIONS = {
    "clearance_tip": "the tip flat cuts into the wall",
    "clearance_entry": "the tool is too wide to enter the hole",
    "clearance_shank": "the shank meets the work, or the flute ends",
    "clearance_far_wall": "the tool meets the neighbouring wall",
    "clearance_floor": "the tip flat cuts into the floor",
    "clearance_bottom": "the tip flat cuts into the bottom of the hole",
}


def mill_of(given: Given, found: Found) -> ConicalMill:
    """The tool, and the height of its flute where its largest diameter is known."""
    mill = conical_mill(
        given.quantity("included_angle"),
        given.quantity("tip_diameter"),
        given.quantity_or_none("max_diameter"),
        given.quantity_or_none("shank_diameter"),
    )
    if mill.max_diameter is None:
        found.assumed.append("The largest diameter is not known: whether the shank stays clear was not checked.")
    return mill


def say_fit(given: Given, found: Found, mill: ConicalMill, rooms: Mapping[str, Quantity | None], why_not: str) -> None:
    """The room left around the tool, what collides, and the verdict; of a sweep the marks alone."""
    if mill.max_diameter is not None:
        found.results["flute_height"] = in_mm(mill.flute_height)
    for name, room in rooms.items():
        if room is not None:
            found.results[name] = room
            found.marks.append(Mark(name, COLLISIONS[name], plain(mm_of(room) < 0)))
    if not given.many:
        say_verdict(found, why_not)


def say_verdict(found: Found, why_not: str) -> None:
    """Whether it fits, and why not."""
    found.results |= {"fits": not why_not, "why_not": why_not}
    if why_not:
        found.cautions.append(why_not)


@dataclass(frozen=True, slots=True)
class Wear:
    """The worn bands of a flute, their amounts all shares of life or all minutes in cut."""

    bands: tuple[WornBand, ...]
    measure: str

    def says(self, amount: float, system: System) -> str:
        """An amount in words."""
        if amount <= HAIR:
            return "not worn"
        if self.measure == "minutes":
            return f"{show(ureg.Quantity(amount, 'min'), system)} in cut"
        return f"{show_number(100 * amount)} % of its life used"

    def over(self, low: Quantity, high: Quantity) -> Any:
        """The worst wear between two heights."""
        return plain(wear_profile(self.bands).worst(mm_of(low), mm_of(high)))


def wear_of(given: Given, found: Found) -> Wear | None:
    """What is known of the flute's wear; None when nothing was said of it."""
    if "worn" not in given and "item" not in given:
        return None
    rows = given.rows("worn")
    if len(rows) > MOST_WORN:
        raise WorkingError("worn", f"Worn: give at most {MOST_WORN} bands; join those that touch and are worn alike.")
    for number, row in enumerate(rows, start=1):
        if row["high"] < row["low"]:
            raise WorkingError(
                "worn",
                f"Worn, row {number}: the band ends at {show(row['high'], given.system)}, below its beginning at "
                f"{show(row['low'], given.system)}; give the lower end first.",
            )
    rows = [row for row in rows if row["high"] > row["low"]]  # a band of no height stands for a run without one
    measures = [name for name in ("share", "minutes") if all(name in row for row in rows)]
    if measures:
        return Wear(tuple(_worn_band(row, measures[0]) for row in rows), measures[0])
    if any(name in row for row in rows for name in ("share", "minutes")):
        raise WorkingError(
            "worn",
            "Worn: the bands cannot be compared; give the share of life used for every band, or the minutes for every "
            "band.",
        )
    found.assumed.append("How much the worn bands have cut is not said: each counts as used up.")
    return Wear(tuple(WornBand(row["low"], row["high"], 1.0) for row in rows), "share")


def _worn_band(row: Mapping[str, Any], measure: str) -> WornBand:
    amount = row[measure]
    return WornBand(row["low"], row["high"], amount if measure == "share" else amount.m_as("min"))


@dataclass(frozen=True, slots=True)
class Proposal:
    """The least worn band of a flute for a chamfer, and by what it was chosen."""

    mill: ConicalMill
    wear: Wear
    fits: Span
    best: LeastWorn

    @property
    def found(self) -> Verdict:
        """Whether there is a place."""
        return self.best.found

    @property
    def span(self) -> Span:
        """Lowest and highest contact; not numbers where there is no place."""
        return self.best.contact_low, self.best.contact_high

    def contact_or(self, otherwise: Quantity) -> Quantity:
        """Its lowest contact, or another where no band will do."""
        return choose(self.best.found, self.best.contact_low, otherwise, "mm")

    def tenth_of_room(self) -> Quantity:
        """A lowest contact to show the collisions of, where no band will do: off the tip, if there is room at all."""
        return in_mm(np.maximum(mm_of(self.fits[1]), 0.0) / 10)


def propose(given: Given, mill: ConicalMill, width: Quantity, wear: Wear | None, fits: Span) -> Proposal | None:
    """The least worn band for a chamfer as wide, among those that fit; None when wear or flute is not known."""
    if wear is None or mill.max_diameter is None:
        return None
    best = least_worn_band(mill, width, wear.bands, given.quantity("margin"), fits, system=given.system)
    return Proposal(mill, wear, fits, best)


def say_proposal(given: Given, found: Found, proposal: Proposal, places: Mapping[str, Quantity]) -> None:
    """The proposed band with the place it puts the tool at; `places` holds that by the names of its results."""
    best, wear, show = proposal.best, proposal.wear, given.show
    if not given.many:
        _proposal_step(given, found, proposal)
    found.marks.append(Mark("no_band", "no band with its margins fits", np.logical_not(best.found)))
    if best.found is False:
        found.warnings.append(best.why_not)
        return
    low, high = proposal.span
    found.results |= {
        "proposed_contact_low": low, "proposed_contact_high": high, "proposed_wear": best.worst_wear, **places,
    }  # fmt: skip
    if given.many:
        return
    found.results["wear_measure"] = wear.measure
    found.texts["proposed_wear"] = wear.says(best.worst_wear, given.system)
    found.texts["wear_measure"] = "share of life used" if wear.measure == "share" else "minutes in cut"
    if "margin" in given.defaulted:
        found.assumed.append(
            f"{show(given.quantity('margin'))} of the flute stays unused beside each band and at both ends."
        )


def _proposal_step(given: Given, found: Found, proposal: Proposal) -> None:
    """Why that band: what is worn, where a band may lie, and what was looked for."""
    best, wear, show = proposal.best, proposal.wear, given.show
    told = [
        f"{show(band.low)} to {show(band.high)}: {wear.says(band.amount, given.system)}"
        for band in wear.bands[:MOST_BANDS]
    ]
    told += [f"{len(wear.bands) - MOST_BANDS} more"] if len(wear.bands) > MOST_BANDS else []
    numbers = f"{'; '.join(told) or 'nothing worn'}; contacts that fit begin from {show(proposal.fits[0])} to "
    numbers += f"{show(proposal.fits[1])}" if mm_of(proposal.fits[1]) >= 0 else "nowhere"
    low, high = proposal.span
    result = "none"
    if best.found is True:
        left = len(best.free_after)
        after = f"{left} whole {'band' if left == 1 else 'bands'} left after it"
        result = f"{show(low)} to {show(high)}, {wear.says(best.worst_wear, given.system)}, {after}"
    rule = f"least of its worst wear, then off what is worn more by {show(given.quantity('margin'))}, then nearest "
    found.working.append(Step("Least worn band that fits", f"{rule}the tip", numbers, result, GEOMETRY))


def warn_of_wear(
    given: Given, found: Found, proposal: Proposal | None, wear: Wear | None, span: Span, way_out: str
) -> None:
    """The band that cuts is worn: how much, and where the flute is worn least."""
    if wear is None:
        return
    worst = wear.over(*span)

    def sentence() -> str:
        here = f"{given.show(span[0])} to {given.show(span[1])} above the tip flat"
        said = f"The flute cuts from {here}, where it is worn already: {wear.says(worst, given.system)}."
        if proposal is None:
            return f"{said} {NEEDS_FLUTE} A less worn band can then be proposed."
        best = proposal.best
        if best.found is False or best.worst_wear >= worst - HAIR:
            return f"{said} No band that fits is worn less: have a fresh tip ready."
        low, high = (given.show(end) for end in proposal.span)
        return (
            f"{said} The least worn band that fits is {low} to {high}, {wear.says(best.worst_wear, given.system)}: "
            f"{way_out.format(low=low)}"
        )

    found.warn("worn", "cuts where the flute is worn", plain(worst > HAIR), sentence)


def say_free_bands(
    given: Given, found: Found, mill: ConicalMill, width: Quantity, wear: Wear | None, fits: Span
) -> None:
    """The bands of the flute that are not worn yet and fit, of a single case."""
    if given.many or mill.max_diameter is None:
        return
    show, margin = given.show, given.quantity("margin")
    bands = free_bands(mill, width, () if wear is None else wear.bands, margin, MOST_BANDS, fits=fits)
    text = "; ".join(f"{show(low)} to {show(high)}" for low, high in bands) or "none"
    found.results["free_bands"] = [{"low": low, "high": high} for low, high in bands]
    found.texts["free_bands"] = text
    height = in_mm(mm_of(width) / mill.slope)
    numbers = f"bands {show(height)} high, {show(margin)} apart, up to {show(in_mm(mill.flute_height))}"
    found.working.append(
        Step("Bands of the flute that can cut this width", "from the tip upward, as far as they fit and are not worn",
             numbers, text, GEOMETRY)
    )  # fmt: skip


def say_conditions(given: Given, found: Found, cut: EdgeChamfer | HoleChamfer, says: str) -> None:
    """Speed at the largest diameter in contact and the feed, held inside the limits; either may be left out."""
    if "feed_per_tooth" in given and "teeth" not in given:
        raise WorkingError("teeth", "Teeth is missing: it goes with feed per tooth.")
    if "surface_speed" not in given and "spindle_speed" not in given:
        return
    show, largest = given.show, cut.effective_diameter
    speed = wanted_speed(given, largest)
    found.working.append(speed_step(given, speed, largest, "largest contact"))
    held = held_back(given, found, speed, feed := _feed_per_turn(given, speed))
    turning = held.spindle_speed
    slow, fast = speeds_in_contact(cut.smallest_diameter, largest, turning)
    found.results |= {"spindle_speed": turning, "surface_speed": fast, "smallest_speed": slow}
    warn_of_speed(given, found, fast)
    numbers = f"π · {show(cut.smallest_diameter)} · {show(turning)}"
    found.working.append(
        Step("Surface speed at the smallest contact", "π · smallest contact · n", numbers, show(slow), KINEMATICS)
    )
    if feed is None:
        return
    rate = found.results["feed_rate"] = in_feed(held)
    formula, numbers = "vf = feed per turn · n", f"{show(held.feed)} · {show(turning)}"
    if "teeth" in given:
        teeth = given.count("teeth")
        tooth = found.results["feed_per_tooth"] = in_unit(held.feed / teeth, "mm")
        formula, numbers = "vf = fz · z · n", f"{show(tooth)} · {show(teeth)} · {show(turning)}"
    found.working.append(Step(says, formula, numbers, show(rate), KINEMATICS))


def _feed_per_turn(given: Given, speed: Quantity) -> Quantity | None:
    """The feed asked for, whichever way it was said; None when it was not."""
    if "feed_per_tooth" in given:
        return in_unit(given.quantity("feed_per_tooth") * given.count("teeth"), "mm")
    rate = given.quantity_or_none("feed_rate")
    return None if rate is None else in_unit(rate / speed, "mm")
