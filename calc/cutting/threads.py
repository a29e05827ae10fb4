"""Screw threads of the 60 degree profile: sizes by name, basic dimensions, and the hole to drill before the tap."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from calc.cutting.drill_sizes import Drill, inch_drills, metric_drills, nearest_drill
from calc.errors import WorkingError
from calc.units import Quantity, in_unit, require_positive, takes, ureg

# Nominal diameter -> coarse pitch in mm, and the tapping drill of the standard. Source: [iso-261], [iso-2306].
COARSE = {
    1.0: (0.25, 0.75), 1.1: (0.25, 0.85), 1.2: (0.25, 0.95), 1.4: (0.3, 1.1), 1.6: (0.35, 1.25), 1.8: (0.35, 1.45),
    2.0: (0.4, 1.6), 2.2: (0.45, 1.75), 2.5: (0.45, 2.05), 3.0: (0.5, 2.5), 3.5: (0.6, 2.9), 4.0: (0.7, 3.3),
    4.5: (0.75, 3.7), 5.0: (0.8, 4.2), 6.0: (1.0, 5.0), 7.0: (1.0, 6.0), 8.0: (1.25, 6.8), 9.0: (1.25, 7.8),
    10.0: (1.5, 8.5), 11.0: (1.5, 9.5), 12.0: (1.75, 10.2), 14.0: (2.0, 12.0), 16.0: (2.0, 14.0), 18.0: (2.5, 15.5),
    20.0: (2.5, 17.5), 22.0: (2.5, 19.5), 24.0: (3.0, 21.0), 27.0: (3.0, 24.0), 30.0: (3.5, 26.5), 33.0: (3.5, 29.5),
    36.0: (4.0, 32.0), 39.0: (4.0, 35.0), 42.0: (4.5, 37.5), 45.0: (4.5, 40.5), 48.0: (5.0, 43.0), 52.0: (5.0, 47.0),
    56.0: (5.5, 50.5), 60.0: (5.5, 54.5), 64.0: (6.0, 58.0), 68.0: (6.0, 62.0),
}  # fmt: skip
# Size -> threads per inch, coarse and fine. Source: [asme-b1.1 (m)].
UNIFIED = {
    "#0": (None, 80), "#1": (64, 72), "#2": (56, 64), "#3": (48, 56), "#4": (40, 48), "#5": (40, 44), "#6": (32, 40),
    "#8": (32, 36), "#10": (24, 32), "#12": (24, 28), "1/4": (20, 28), "5/16": (18, 24), "3/8": (16, 24),
    "7/16": (14, 20), "1/2": (13, 20), "9/16": (12, 18), "5/8": (11, 18), "3/4": (10, 16), "7/8": (9, 14),
    "1": (8, 12), "1 1/8": (7, 12), "1 1/4": (7, 12), "1 3/8": (6, 12), "1 1/2": (6, 12), "1 3/4": (5, None),
    "2": (4.5, None), "2 1/4": (4.5, None), "2 1/2": (4, None), "2 3/4": (4, None), "3": (4, None),
}  # fmt: skip
# Clearance holes: fine, medium, coarse in mm; close, normal, loose in inch. Source: [iso-273], [asme-b18.2.8].
FITS = ("fine", "medium", "coarse")
CLEARANCE_METRIC = {
    1.0: (1.1, 1.2, 1.3), 1.2: (1.3, 1.4, 1.5), 1.4: (1.5, 1.6, 1.8), 1.6: (1.7, 1.8, 2.0), 1.8: (2.0, 2.1, 2.2),
    2.0: (2.2, 2.4, 2.6), 2.5: (2.7, 2.9, 3.1), 3.0: (3.2, 3.4, 3.6), 3.5: (3.7, 3.9, 4.2), 4.0: (4.3, 4.5, 4.8),
    5.0: (5.3, 5.5, 5.8), 6.0: (6.4, 6.6, 7.0), 7.0: (7.4, 7.6, 8.0), 8.0: (8.4, 9.0, 10.0), 10.0: (10.5, 11.0, 12.0),
    12.0: (13.0, 13.5, 14.5), 14.0: (15.0, 15.5, 16.5), 16.0: (17.0, 17.5, 18.5), 18.0: (19.0, 20.0, 21.0),
    20.0: (21.0, 22.0, 24.0), 22.0: (23.0, 24.0, 26.0), 24.0: (25.0, 26.0, 28.0), 27.0: (28.0, 30.0, 32.0),
    30.0: (31.0, 33.0, 35.0), 33.0: (34.0, 36.0, 38.0), 36.0: (37.0, 39.0, 42.0), 39.0: (40.0, 42.0, 45.0),
    42.0: (43.0, 45.0, 48.0), 45.0: (46.0, 48.0, 52.0), 48.0: (50.0, 52.0, 56.0), 52.0: (54.0, 56.0, 62.0),
    56.0: (58.0, 62.0, 66.0), 60.0: (62.0, 66.0, 70.0), 64.0: (66.0, 70.0, 74.0),
}  # fmt: skip
CLEARANCE_INCH = {
    "1/4": ("17/64", "9/32", "19/64"), "5/16": ("21/64", "11/32", "23/64"), "3/8": ("25/64", "13/32", "27/64"),
    "7/16": ("29/64", "15/32", "31/64"), "1/2": ("17/32", "9/16", "39/64"), "5/8": ("21/32", "11/16", "47/64"),
    "3/4": ("25/32", "13/16", "29/32"), "7/8": ("29/32", "15/16", "1 1/32"), "1": ("1 1/32", "1 3/32", "1 5/32"),
    "1 1/8": ("1 5/32", "1 7/32", "1 5/16"), "1 1/4": ("1 9/32", "1 11/32", "1 7/16"),
    "1 3/8": ("1 7/16", "1 1/2", "1 39/64"), "1 1/2": ("1 9/16", "1 5/8", "1 47/64"),
}  # fmt: skip
HANDBOOK = 3 * math.sqrt(3) / 4  # 1.299: 100 % is a cut of 3/4 · H per side
PROFILE = 5 * math.sqrt(3) / 8  # 1.0825: 100 % is the basic internal profile's 5/8 · H per side
# A form tap pushes metal up into the crests, so its hole is about half as far below. Source: [handbook-form-tap (m)].
FORMED = 0.68


@dataclass(frozen=True, slots=True)
class Thread:
    """A 60 degree thread: its name, nominal diameter D and pitch P."""

    name: str
    diameter: Quantity
    pitch: Quantity
    inch: bool
    size: str = ""

    @property
    def pitch_diameter(self) -> Quantity:
        """D2 = D - 3/8 · √3 · P, basic."""
        return in_unit(self.diameter - 3 * math.sqrt(3) / 8 * self.pitch, "mm")

    @property
    def minor_diameter(self) -> Quantity:
        """D1 = D - 5/8 · √3 · P, basic, of the internal thread."""
        return in_unit(self.diameter - PROFILE * self.pitch, "mm")

    @property
    def height(self) -> Quantity:
        """Depth of the basic profile, 5/8 · H with H = √3/2 · P."""
        return in_unit(PROFILE / 2 * self.pitch, "mm")


_METRIC = re.compile(r"M(?P<d>\d{1,3}(?:[.,]\d+)?)(?:[X*-](?P<p>\d{1,2}(?:[.,]\d+)?))?(?:-?\d[A-H](?:\d[A-H])?)?", re.I)
_UNIFIED = re.compile(
    r"(?P<size>(?:#|NO\.? ?)\d{1,2}|\d{1,2}|(?:\d[ -])?\d{1,2}/\d{1,2}|\d?\.\d+)\"?[ -]+(?P<tpi>\d{1,2}(?:\.\d)?)"
    r"(?: ?(?P<series>UNC|UNF|UNEF|UNS|UN|NC|NF))?(?:-?\d[AB])?",
    re.I,
)


def thread(text: str) -> Thread:
    """Read a thread: "M10", "M10x1.25", "5/16-18 UNC", "#10-32", "1 1/8-7".

    Parameters
    ----------
    text : metric with or without its pitch, or unified with threads per inch

    Returns
    -------
    the thread

    Raises
    ------
    WorkingError : (argument "thread") when it is neither, the pitch does not belong to it, or none is known

    >>> thread("M10x1.5").minor_diameter.magnitude.__round__(3)
    8.376
    >>> round(thread("1/4-20 UNC").pitch_diameter.m_as("in"), 4)
    0.2175

    Source: [iso-68-1 (m)], [iso-261], [asme-b1.1 (m)]
    """
    plain = re.sub(r"\s+", " ", text.strip().upper().replace("×", "X")).replace(" X ", "X").replace("M ", "M")
    if match := _METRIC.fullmatch(plain):
        return _metric(match["d"].replace(",", "."), (match["p"] or "").replace(",", "."))
    if match := _UNIFIED.fullmatch(plain):
        return _unified(match["size"], float(match["tpi"]), match["series"] or "")
    raise WorkingError(
        "thread", f'Thread "{text.strip()[:30]}" is not known; write it like M10, M10x1.25 or 5/16-18 UNC.'
    )


def _metric(diameter: str, pitch: str) -> Thread:
    size = float(diameter)
    if not pitch and size not in COARSE:
        raise WorkingError("thread", f"M{diameter} has no coarse pitch; write its pitch too, like M{diameter}x1.")
    steps = float(pitch) if pitch else COARSE[size][0]
    if not 0 < steps * PROFILE < size:
        raise WorkingError("thread", f"A pitch of {steps:g} mm does not go with a diameter of {size:g} mm.")
    return Thread(f"M{size:g}x{steps:g}", ureg.Quantity(size, "mm"), ureg.Quantity(steps, "mm"), inch=False)


def _unified(written: str, tpi: float, series: str) -> Thread:
    size = re.sub(r"^NO\.? ?", "#", written).replace("-", " ")
    if size.isdigit() and (f"#{size}" in UNIFIED and tpi in UNIFIED[f"#{size}"] and tpi not in UNIFIED.get(size, ())):
        size = f"#{size}"  # 10-32 is a number ten, 1-8 is an inch
    coarse, fine = UNIFIED.get(size, (None, None))
    belongs = {"UNC": coarse, "NC": coarse, "UNF": fine, "NF": fine}.get(series, tpi)
    if belongs is not None and belongs != tpi:
        raise WorkingError("thread", f"{size} {series} has {belongs:g} threads per inch, not {tpi:g}.")
    inches = _unified_inches(size)
    if not 0 < PROFILE / max(tpi, 1e-9) < inches:
        raise WorkingError("thread", f"{tpi:g} threads per inch do not go with a diameter of {inches:g} in.")
    known = {coarse: "UNC", fine: "UNF"}.get(tpi, series or "UN")
    return Thread(
        f"{size}-{tpi:g} {known}", ureg.Quantity(inches, "in"), ureg.Quantity(1 / tpi, "in"), inch=True, size=size
    )


def _unified_inches(size: str) -> float:
    if size.startswith("#"):
        if size not in UNIFIED:
            raise WorkingError("thread", f"There is no screw size {size}; the numbers run from #0 to #12.")
        return round(0.060 + 0.013 * int(size[1:]), 3)
    try:
        return _inches(size)
    except ZeroDivisionError:
        raise WorkingError("thread", f'Thread size "{size}" is not a fraction of an inch.') from None


@takes(diameter="mm", pitch="mm", drill="mm")
def percent_of_thread(diameter: Quantity, pitch: Quantity, drill: Quantity, convention: float = HANDBOOK) -> Quantity:
    """Percent of thread that a hole leaves to cut, (D - drill) / (k · P).

    Parameters
    ----------
    diameter : D, nominal, length
    pitch : P, length
    drill : the hole, length
    convention : k; HANDBOOK (1.299, 3/4 · H per side) or PROFILE (1.0825, the basic profile's 5/8 · H)

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
    convention : k; HANDBOOK or PROFILE; not used for a form tap
    formed : whether the tap forms instead of cutting

    Returns
    -------
    hole in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or the percent lies outside (0, 100]

    >>> q = ureg.Quantity
    >>> round(hole_for_percent(q(0.3125, "in"), q(1 / 18, "in"), q(75, "percent")).m_as("in"), 4)
    0.2584

    Source: [handbook-tap-percent]; [handbook-form-tap (m)]
    """
    for name, value in (("diameter", diameter), ("pitch", pitch)):
        require_positive(name, value)
    share = percent.m_as("")
    if not 0 < share <= 1:
        raise WorkingError("percent", "Percent of thread must be above 0 and at most 100; 60 to 75 is common.")
    return in_unit(diameter - (FORMED if formed else convention) * share * pitch, "mm")


def hole_for(thread: Thread, percent: float | None = None, formed: bool = False) -> Quantity:
    """The hole to aim at before a tap, not yet rounded to a stocked drill.

    Parameters
    ----------
    thread : the thread
    percent : of thread by the handbook's measure; when None, the standard tapping drill of a metric thread (about
        D - P), 75 percent of an inch thread, and 65 percent of a formed one
    formed : whether the tap forms instead of cutting

    Returns
    -------
    hole in mm

    Raises
    ------
    WorkingError : when the percent lies outside (0, 100]

    >>> hole_for(thread("M8x1")).magnitude
    7.0

    Source: [iso-2306]; [handbook-tap-percent]; [handbook-form-tap (m)]
    """
    if percent is None and not thread.inch and not formed:
        return _standard_hole(thread)
    share = ureg.Quantity((65 if formed else 75) if percent is None else percent, "percent")
    return hole_for_percent(thread.diameter, thread.pitch, share, formed=formed)


def drill_for(thread: Thread, percent: float | None = None, formed: bool = False) -> Drill:
    """The stocked drill for a thread: metric drills for metric threads, number, letter and fraction for inch threads.

    Parameters
    ----------
    thread : the thread
    percent : of thread by the handbook's measure; None as in `hole_for`
    formed : whether the tap forms instead of cutting

    Returns
    -------
    the drill

    Raises
    ------
    WorkingError : when the percent lies outside (0, 100], or no stocked drill is near

    >>> drill_for(thread("5/16-18 UNC"), percent=75).name
    'F'
    >>> drill_for(thread("M12")).name
    '10.2'

    Source: [iso-2306]; [handbook-tap-percent]
    """
    return nearest_drill(hole_for(thread, percent, formed), inch_drills() if thread.inch else metric_drills())


def _standard_hole(thread: Thread) -> Quantity:
    """The standard's drill for a coarse thread; D - P for the rest, as it says of them."""
    coarse = COARSE.get(float(thread.diameter.m_as("mm")))
    if coarse is not None and coarse[0] == thread.pitch.m_as("mm"):
        return ureg.Quantity(coarse[1], "mm")
    return in_unit(thread.diameter - thread.pitch, "mm")


def clearance_hole(thread: Thread, fit: str = "medium") -> Quantity | None:
    """Through hole for a bolt.

    Parameters
    ----------
    thread : the thread
    fit : "fine", "medium" or "coarse", which in inch are close, normal and loose

    Returns
    -------
    hole in mm; None for a size the tables leave out

    Raises
    ------
    WorkingError : when there is no such fit

    >>> clearance_hole(thread("M12")).magnitude
    13.5

    Source: [iso-273], [asme-b18.2.8]
    """
    if fit not in FITS:
        raise WorkingError("fit", f"Fit must be one of: {', '.join(FITS)}.")
    if thread.inch:
        names = CLEARANCE_INCH.get(thread.size)
        return None if names is None else in_unit(ureg.Quantity(_inches(names[FITS.index(fit)]), "in"), "mm")
    holes = CLEARANCE_METRIC.get(float(thread.diameter.m_as("mm")))
    return None if holes is None else ureg.Quantity(holes[FITS.index(fit)], "mm")


def _inches(name: str) -> float:
    return float(sum(Fraction(part) for part in name.split()))
