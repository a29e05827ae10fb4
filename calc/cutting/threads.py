"""The hole for a screw thread: what to drill before the tap, and what lets the bolt through."""

from typing import Any

import numpy as np

from calc.cutting.drill_sizes import Drill, bored, inch_drills, metric_drills, nearest_drill, nearest_sizes, read_drill
from calc.cutting.thread_names import thread, thread_names
from calc.cutting.thread_profile import (
    FORMED,
    HANDBOOK,
    PROFILE,
    WHITWORTH,
    Thread,
    hole_for_percent,
    percent_of_thread,
)
from calc.cutting.thread_tables import CLEARANCE_INCH, CLEARANCE_METRIC, COARSE, FITS, METRIC, UNIFIED
from calc.errors import WorkingError
from calc.units import Quantity, choose, in_unit, ureg

__all__ = [
    "COARSE", "CUT_PERCENT", "FITS", "FORMED", "FORMED_PERCENT", "HANDBOOK", "METRIC", "PROFILE", "UNIFIED",
    "WHITWORTH", "Thread", "clearance_hole", "drill_for", "hole_for", "hole_for_percent", "percent_of_thread",
    "sizes_for", "standard_drills", "thread", "thread_names",
]  # fmt: skip

CUT_PERCENT = 75.0
FORMED_PERCENT = 65.0
NEAR = 0.25  # of the pitch; a drill further off would leave a fifth more or less of the thread


def hole_for(thread: Thread, percent: Any = None, formed: bool = False) -> Quantity:
    """The hole to aim at before a tap, not yet rounded to a drill.

    Parameters
    ----------
    thread : the thread
    percent : of thread by the handbook's measure, of a parallel pipe thread by its whole depth, one number or an
        array; when None, the standard tapping drill of a metric thread (about D - P), 75 percent of an inch thread, 65
        percent of a formed one, and the customary drill of a pipe thread
    formed : whether the tap forms instead of cutting

    Returns
    -------
    hole in mm

    Raises
    ------
    WorkingError : when the percent lies outside (0, 100] or does not apply, or the thread is not tapped or not formed

    >>> hole_for(thread("M8x1")).magnitude, hole_for(thread("G 1/2")).magnitude
    (7.0, 19.0)

    Source: [iso-2306]; [handbook-tap-percent]; [handbook-form-tap (m)]; [pipe-drills]
    """
    if thread.pipe:
        return _pipe_hole(thread, percent, formed)
    if percent is None and not thread.inch and not formed:
        return _standard_hole(thread)
    taken = (FORMED_PERCENT if formed else CUT_PERCENT) if percent is None else percent
    return hole_for_percent(thread.diameter, thread.pitch, ureg.Quantity(taken, "percent"), formed=formed)


def _standard_hole(thread: Thread) -> Quantity:
    """The standard's drill for a coarse thread; D - P for the rest, as it says of them."""
    coarse = COARSE.get(float(thread.diameter.m_as("mm")))
    if coarse is not None and coarse[0] == thread.pitch.m_as("mm"):
        return ureg.Quantity(coarse[1], "mm")
    return in_unit(thread.diameter - thread.pitch, "mm")


def _pipe_hole(thread: Thread, percent: Any, formed: bool) -> Quantity:
    if thread.family == "R":
        raise WorkingError(
            "thread", f"{thread.name} is an outside thread and is not tapped: write Rc {thread.size} or "
            f"Rp {thread.size} for the hole.",
        )  # fmt: skip
    if formed:
        raise WorkingError("form", f"No rule for forming {thread.name} is at hand: pipe threads are cut.")
    if percent is not None and thread.taper:
        raise WorkingError(
            "percent", f"Percent of thread does not apply to {thread.name}, whose diameter changes along the hole: "
            "leave it out.",
        )  # fmt: skip
    if percent is not None:
        share = ureg.Quantity(percent, "percent")
        return hole_for_percent(thread.diameter, thread.pitch, share, convention=WHITWORTH)
    if not thread.drill:
        raise WorkingError(
            "thread", f"No table at hand has a drill for {thread.name}: take it from the maker of the tap."
        )
    return read_drill(thread.drill).diameter


def standard_drills(thread: Thread) -> tuple[Drill, ...]:
    """The standard drills a thread's is chosen from: metric ones, or the numbers, letters and fractions of an inch.

    Parameters
    ----------
    thread : the thread

    Returns
    -------
    drills, smallest first

    >>> standard_drills(thread("M10"))[0].name, standard_drills(thread("1/4-20"))[0].name
    ('0.2', '#80')

    Source: [iso-235 (m)], [drill-gauges]
    """
    return inch_drills() if thread.inch else metric_drills()


def drill_for(
    thread: Thread, percent: float | None = None, formed: bool = False, stock: tuple[Drill, ...] = ()
) -> Drill:
    """The drill for a thread, from the standard sizes or from what is in stock.

    Parameters
    ----------
    thread : the thread
    percent : of thread; None as in `hole_for`
    formed : whether the tap forms instead of cutting
    stock : drills at hand, smallest first; empty for the standard sizes, metric or inch as the thread

    Returns
    -------
    the drill; where no standard drill is within a quarter of the pitch, the hole to bore

    Raises
    ------
    WorkingError : as `hole_for` does; (argument "stock") when none of the stock suits

    >>> drill_for(thread("5/16-18 UNC"), percent=75).name
    'F'
    >>> drill_for(thread("M12")).name, drill_for(thread("1/4-18 NPT")).name
    ('10.2', '7/16')

    Source: [iso-2306]; [handbook-tap-percent]; [pipe-drills]
    """
    hole = hole_for(thread, percent, formed)
    if stock:
        return nearest_drill(hole, _suited(thread, hole, formed, stock))
    if thread.pipe and percent is None:
        return read_drill(thread.drill)
    drills = standard_drills(thread)
    if hole > drills[-1].diameter:
        return bored(hole)
    nearest = nearest_drill(hole, drills)
    return nearest if abs(nearest.diameter - hole) <= NEAR * thread.pitch else bored(hole)


def sizes_for(thread: Thread, percent: Any, formed: bool = False, stock: tuple[Drill, ...] = ()) -> Quantity:
    """Sizes of the drills for several percents of thread at once, each as `drill_for` chooses it.

    Parameters
    ----------
    thread : the thread
    percent : array of percents of thread
    formed : as for `drill_for`
    stock : as for `drill_for`

    Returns
    -------
    sizes in mm

    Raises
    ------
    WorkingError : as `drill_for` does

    >>> sizes_for(thread("M10"), np.array([60.0, 77.0])).magnitude.tolist()
    [8.8, 8.5]

    Source: [handbook-tap-percent]
    """
    hole = hole_for(thread, percent, formed)
    if stock:
        return nearest_sizes(hole, _suited(thread, hole, formed, stock))
    drills = standard_drills(thread)
    nearest = nearest_sizes(hole, drills)
    far = (abs(nearest - hole) > NEAR * thread.pitch) | (hole > drills[-1].diameter)
    return choose(far, hole, nearest, "mm")


def _suited(thread: Thread, hole: Quantity, formed: bool, stock: tuple[Drill, ...]) -> tuple[Drill, ...]:
    """The stocked drills that leave 30 to 100 percent of thread."""
    if thread.taper:
        low, high = hole - 0.25 * thread.pitch, hole + 0.1 * thread.pitch
    else:
        whole = (WHITWORTH if thread.pipe else FORMED if formed else HANDBOOK) * thread.pitch
        low, high = thread.diameter - whole, thread.diameter - 0.3 * whole
    least, most = low.m_as("mm"), high.m_as("mm")
    suited = tuple(drill for drill in stock if least <= drill.size <= most)
    if not suited:
        unit = "in" if thread.inch else "mm"
        sizes = [f"{np.ravel(in_unit(size, unit).magnitude)[0]:.4g}" for size in (hole, low, high)]
        raise WorkingError(
            "stock", f"No drill in stock suits {thread.name}: it wants {sizes[0]} {unit}, and from {sizes[1]} to "
            f"{sizes[2]} {unit} would do.",
        )  # fmt: skip
    return suited


def clearance_hole(thread: Thread, fit: str = "medium") -> Quantity | None:
    """Through hole for a bolt.

    Parameters
    ----------
    thread : the thread
    fit : "fine", "medium" or "coarse", which in inch are close, normal and loose

    Returns
    -------
    hole in mm; None for a size the tables leave out, and for pipe threads

    Raises
    ------
    WorkingError : when there is no such fit

    >>> clearance_hole(thread("M12")).magnitude
    13.5

    Source: [iso-273], [asme-b18.2.8]
    """
    if fit not in FITS:
        raise WorkingError("fit", f"Fit must be one of: {', '.join(FITS)}.")
    which = FITS.index(fit)
    if thread.family == "unified" and thread.size in CLEARANCE_INCH:
        return read_drill(CLEARANCE_INCH[thread.size][which]).diameter
    holes = CLEARANCE_METRIC.get(thread.diameter.m_as("mm")) if thread.family == "metric" else None
    return None if holes is None else ureg.Quantity(holes[which], "mm")
