"""Pipe threads by name: parallel G, the jointing threads R, Rp and Rc, and NPT."""

import re
from dataclasses import replace
from fractions import Fraction

from calc.cutting.thread_profile import NPT_DEPTH, TAPER, Family, Thread
from calc.cutting.thread_tables import PIPE_NPT, PIPE_PARALLEL, PIPE_TAPER
from calc.errors import WorkingError
from calc.units import in_unit, ureg

_KINDS: dict[str, Family] = {
    "G": "G", "BSPP": "G", "BSPF": "G", "PF": "G", "RP": "Rp", "RC": "Rc", "BSPT": "Rc", "PT": "Rc", "R": "R",
    "NPT": "NPT",
}  # fmt: skip
_WORD = r"(?P<kind>G|BSPP|BSPF|BSPT|BSP|PF|PT|RP|RC|R|NPTF|NPT)"
_BODY = r"(?P<size>(?:\d[ -])?\d{1,2}/\d{1,2}|\d{1,2})(?: ?(?:\"|IN\b\.?))?(?:[ -]+(?P<tpi>11 1/2|\d{1,2}(?:\.\d)?))?"
_HAND = r"(?:[ -]*(?P<hand>[LR])\.?H\.?)?"
_FORMS = tuple(
    re.compile(form + _HAND) for form in (_WORD + r"[ -]*" + _BODY + r"(?:[ -]*[AB])?", _BODY + r"[ -]*" + _WORD)
)


def pipe_thread(plain: str) -> Thread | None:
    """Read a pipe thread: "G 1/2", "1/2 BSPP", "RC 1/2", "1/2-14 NPT".

    Parameters
    ----------
    plain : its name in upper case, with single spaces

    Returns
    -------
    the thread; None when this is no name of a pipe thread

    Raises
    ------
    WorkingError : (argument "thread") when the size is in no table, the threads per inch are another's, or the name
        leaves open which thread it is

    >>> pipe_thread("1/2 BSPP").name, pipe_thread("M10")
    ('G 1/2', None)

    Source: [iso-228-1], [iso-7-1], [asme-b1.20.1]
    """
    match = next(filter(None, (form.fullmatch(plain) for form in _FORMS)), None)
    if match is None:
        return None
    size, word = match["size"].replace("-", " "), match["kind"]
    if word == "BSP":
        raise WorkingError(
            "thread", f"BSP alone leaves it open: write G {size} for a parallel thread or Rc {size} for a taper one."
        )
    if word == "NPTF":
        raise WorkingError(
            "thread", f"NPTF has crests and roots of its own, which are not at hand; its pitch, taper and length are "
            f"those of {size} NPT.",
        )  # fmt: skip
    found = _named(size, _KINDS[word])
    if match["tpi"] and _inches(match["tpi"]) != found.threads_per_inch:
        raise WorkingError(
            "thread", f"{found.name} has {found.threads_per_inch:g} threads per inch, not {match['tpi']}."
        )
    return handed(found, match["hand"])


def handed(thread: Thread, hand: str | None) -> Thread:
    """The thread with its hand: "L" makes it left-handed, "R" or None leaves it right-handed.

    Parameters
    ----------
    thread : as named without its hand
    hand : the letter before the H

    Returns
    -------
    the thread

    >>> handed(_named("1/2", "G"), "L").name
    'G 1/2 LH'

    Source: [iso-5408 (m)]
    """
    return replace(thread, name=f"{thread.name} LH", left=True) if hand == "L" else thread


def pipe_thread_names() -> tuple[str, ...]:
    """Name of every pipe thread in the tables.

    Returns
    -------
    names, each of which `pipe_thread` reads in upper case

    >>> pipe_thread_names()[0], pipe_thread_names()[-1]
    ('G 1/16', '8-8 NPT')

    Source: [iso-228-1], [iso-7-1], [asme-b1.20.1]
    """
    taper = [f"{family} {size}" for family in ("Rp", "Rc", "R") for size in PIPE_TAPER]
    npt = [f"{size}-{tpi:g} NPT" for size, (tpi, *_) in PIPE_NPT.items()]
    return (*(f"G {size}" for size in PIPE_PARALLEL), *taper, *npt)


def _named(size: str, family: Family) -> Thread:
    sizes = PIPE_NPT if family == "NPT" else PIPE_PARALLEL if family == "G" else PIPE_TAPER
    if size not in sizes:
        raise WorkingError("thread", f"There is no {family} {size}; near it are {_near(size, tuple(sizes), family)}.")
    if family == "NPT":
        return _npt(size)
    tpi, major, drill = PIPE_PARALLEL[size]
    gauge = useful = None
    hole: float | None = drill
    if family != "G":
        length, least, parallel, taper = PIPE_TAPER[size]
        hole = {"Rp": parallel, "Rc": taper}.get(family)
        if family != "Rp":
            gauge, useful = ureg.Quantity(length, "mm"), ureg.Quantity(least, "mm")
    return Thread(
        f"{family} {size}", ureg.Quantity(major, "mm"), in_unit(ureg.Quantity(1 / tpi, "in"), "mm"), inch=False,
        size=size, family=family, gauge_length=gauge, useful_length=useful, drill="" if hole is None else f"{hole:g}",
    )  # fmt: skip


def _npt(size: str) -> Thread:
    """NPT at its hand-tight plane: E0 = D - (0.05 · D + 1.1) · P, E1 = E0 + L1 / 16, L2 = (0.8 · D + 6.8) · P."""
    tpi, pipe, hand_tight, drill = PIPE_NPT[size]
    pitch = 1 / tpi
    at_plane = pipe - (0.05 * pipe + 1.1) * pitch + hand_tight / TAPER
    return Thread(
        f"{size}-{tpi:g} NPT", ureg.Quantity(at_plane + NPT_DEPTH * pitch, "in"), ureg.Quantity(pitch, "in"), inch=True,
        size=size, family="NPT", gauge_length=in_unit(ureg.Quantity(hand_tight, "in"), "mm"),
        useful_length=in_unit(ureg.Quantity((0.8 * pipe + 6.8) * pitch, "in"), "mm"), drill=drill or "",
    )  # fmt: skip


def _near(size: str, sizes: tuple[str, ...], family: Family) -> str:
    try:
        wanted = _inches(size)
    except ZeroDivisionError:
        wanted = 0.0
    nearest = sorted(sizes, key=lambda name: abs(_inches(name) - wanted))[:2]
    ordered = sorted(nearest, key=_inches)
    return " and ".join(f"{name} NPT" if family == "NPT" else f"{family} {name}" for name in ordered)


def _inches(text: str) -> float:
    return float(sum(map(Fraction, text.split())))
