"""The profile of a screw thread: what follows from its diameter and pitch, at 60 and at 55 degrees."""

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from calc.units import Quantity, in_unit, require, require_positive, takes, ureg

HANDBOOK = 3 * math.sqrt(3) / 4  # 1.299: 100 % is a cut of 3/4 · H per side
PROFILE = 5 * math.sqrt(3) / 8  # 1.0825: 100 % is the basic internal profile's 5/8 · H
# A form tap pushes metal up into the crests, so its hole is about half as far below. Source: [handbook-form-tap (m)].
FORMED = 0.68
WHITWORTH = 2 * 0.640327  # 100 % is the whole depth of the rounded 55 degree profile, 2/3 · H per side
NPT_DEPTH = 0.8  # largest depth of the NPT profile over its pitch
TAPER = 16  # length over change of diameter
_STRESS_METRIC = 17 * math.sqrt(3) / 48 + 3 * math.sqrt(3) / 16  # 0.9382: (d2 + d3) / 2 below d, in pitches
_STRESS_INCH = 9 * math.sqrt(3) / 16  # 0.9743

Family: TypeAlias = Literal["metric", "unified", "G", "Rp", "Rc", "R", "NPT"]
_SOURCES: dict[Family, str] = {
    "metric": "iso-261", "unified": "asme-b1.1 (m)", "G": "iso-228-1", "Rp": "iso-7-1", "Rc": "iso-7-1", "R": "iso-7-1",
    "NPT": "asme-b1.20.1",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread by its name, with its diameter and pitch; of a taper thread, at its gauge plane.

    Parameters
    ----------
    name : as this service writes it, "M10x1.25", "1/4-20 UNC", "G 1/2", "1/2-14 NPT"; it reads back as the same
    diameter : D, basic major diameter
    pitch : P
    inch : whether its drills are the number, letter and fractional ones
    size : the size alone, as tables list it
    family : which standard it belongs to
    listed : whether a table lists it; a special is only what its diameter and pitch make it
    gauge_length : of a taper thread, from its small end to the gauge plane; of NPT the hand-tight length L1
    useful_length : of a taper thread, the least length of useful thread; of NPT the effective thread L2
    drill : the customary drill or hole of a pipe thread, by name or in mm; "" when there is none at hand
    left : whether it is left-handed
    """

    name: str
    diameter: Quantity
    pitch: Quantity
    inch: bool
    size: str = ""
    family: Family = "metric"
    listed: bool = True
    gauge_length: Quantity | None = None
    useful_length: Quantity | None = None
    drill: str = ""
    left: bool = False

    @property
    def pipe(self) -> bool:
        """Whether it is a pipe thread, whose hole is drilled by custom and not by a percent of thread."""
        return self.family not in ("metric", "unified")

    @property
    def taper(self) -> bool:
        """Whether it tapers by 1:16."""
        return self.family in ("Rc", "R", "NPT")

    @property
    def source(self) -> str:
        """Key of the standard it belongs to."""
        return _SOURCES[self.family]

    @property
    def angle(self) -> Quantity:
        """Angle of the thread, between its flanks."""
        return ureg.Quantity(55.0 if self.family in ("G", "Rp", "Rc", "R") else 60.0, "deg")

    @property
    def threads_per_inch(self) -> float:
        """Threads in an inch of length."""
        return float(f"{1 / in_unit(self.pitch, 'inch').magnitude:.12g}")

    @property
    def depth_factor(self) -> float:
        """Depth of the basic profile in pitches."""
        if self.family == "NPT":
            return NPT_DEPTH
        return PROFILE / 2 if not self.pipe else WHITWORTH / 2

    @property
    def height(self) -> Quantity:
        """Depth of the basic profile: 5/8 · H at 60 degrees, 2/3 · H at 55 degrees, 0.8 · P of NPT."""
        return in_unit(self.depth_factor * self.pitch, "mm")

    @property
    def pitch_diameter(self) -> Quantity:
        """D2, basic: D - 3/8 · √3 · P at 60 degrees; one depth below D for the others."""
        below = self.depth_factor if self.pipe else 3 * math.sqrt(3) / 8
        return in_unit(self.diameter - below * self.pitch, "mm")

    @property
    def minor_diameter(self) -> Quantity:
        """D1, basic, of the internal thread: two depths below D."""
        return in_unit(self.diameter - 2 * self.depth_factor * self.pitch, "mm")

    @property
    def stress_area(self) -> Quantity | None:
        """Stress area of the bolt, π/4 · (D - 0.9382 · P)², or with 0.9743 in inch; None for a pipe thread."""
        if self.pipe:
            return None
        below = _STRESS_INCH if self.inch else _STRESS_METRIC
        return in_unit(math.pi / 4 * (self.diameter - below * self.pitch) ** 2, "mm^2")


@takes(diameter="mm", pitch="mm", drill="mm")
def percent_of_thread(diameter: Quantity, pitch: Quantity, drill: Quantity, convention: float = HANDBOOK) -> Quantity:
    """Percent of thread that a hole leaves to cut, (D - drill) / (k · P).

    Parameters
    ----------
    diameter : D, nominal, length
    pitch : P, length
    drill : the hole, length
    convention : k; HANDBOOK (1.299, 3/4 · H per side), PROFILE (1.0825, the basic profile's 5/8 · H), or WHITWORTH
        (1.2807, the whole depth of the 55 degree profile)

    Returns
    -------
    percent; below zero when the hole is larger than the thread

    Raises
    ------
    WorkingError : when a length is not above zero

    >>> q = ureg.Quantity
    >>> round(percent_of_thread(q(8, "mm"), q(1.25, "mm"), q(6.8, "mm")).magnitude, 1)
    73.9

    Source: [handbook-tap-percent]; [iso-68-1 (m)] for the profile
    """
    for name, value in (("diameter", diameter), ("pitch", pitch), ("drill", drill)):
        require_positive(name, value)
    return in_unit((diameter - drill) / (convention * pitch), "percent")


@takes(diameter="mm", pitch="mm", percent="%")
def hole_for_percent(
    diameter: Quantity, pitch: Quantity, percent: Quantity, convention: float = HANDBOOK, formed: bool = False
) -> Quantity:
    """Hole that leaves a wanted percent of thread, D - k · P · percent; for a form tap D - 0.68 · P · percent.

    Parameters
    ----------
    diameter : D, nominal, length
    pitch : P, length
    percent : wanted, above 0 and at most 100 percent
    convention : k; HANDBOOK, PROFILE or WHITWORTH; not used for a form tap
    formed : whether the tap forms instead of cutting

    Returns
    -------
    hole in mm

    Raises
    ------
    WorkingError : when a length is not above zero, the percent lies outside (0, 100], or nothing is left of the hole

    >>> q = ureg.Quantity
    >>> round(hole_for_percent(q(0.3125, "in"), q(1 / 18, "in"), q(75, "percent")).m_as("in"), 4)
    0.2584

    Source: [handbook-tap-percent]; [handbook-form-tap (m)]
    """
    for name, value in (("diameter", diameter), ("pitch", pitch)):
        require_positive(name, value)
    share = percent.m_as("")
    require(
        "percent", (share > 0) & (share <= 1), "Percent of thread must be above 0 and at most 100; 60 to 75 is common."
    )
    hole = in_unit(diameter - (FORMED if formed else convention) * share * pitch, "mm")
    require("pitch", hole.magnitude > 0, "The pitch is too coarse for this diameter: no hole would be left.")
    return hole
