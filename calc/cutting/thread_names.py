"""Reading the name of a screw thread, in the many ways in which a shop writes it."""

import difflib
import re
from collections.abc import Iterable
from fractions import Fraction
from functools import cache, lru_cache

from calc.cutting.pipe_names import handed, pipe_thread, pipe_thread_names
from calc.cutting.thread_profile import PROFILE, Thread
from calc.cutting.thread_tables import COARSE, CONSTANT, FINE_PITCHES, LARGEST_CONSTANT, METRIC, SERIES, UNIFIED
from calc.errors import WorkingError
from calc.units import ureg

EXAMPLES = "M10, M10x1.25, 5/16-18 UNC, #10-32, G 1/2 or 1/2-14 NPT"
LONGEST = 60
_ROUNDED = 0.0006  # inches by which a size written in three decimals may be off
_FINER_THAN_INCHES = 20  # whole inches of four and more have fewer threads per inch than any number screw
_GLYPHS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_DASHES = str.maketrans({"–": "-", "—": "-", "−": "-", "×": "X", "*": "X", "″": '"', "”": '"', ",": ".", "Ø": None})
_HAND = r"(?:[ -]*(?P<hand>[LR])\.?H\.?)?"
_METRIC = re.compile(
    r"M ?(?P<d>\d{1,3}(?:\.\d+)?)(?:(?: ?[X-] ?| )(?P<p>\d{0,2}\.\d+|\d{1,2}))?(?:[ -]+\d[A-H](?:\d[A-H])?)?" + _HAND
)
_SIZE = (
    r"(?P<size>(?:#|NO\.? ?|NR\.? ?|NUMBER )\d{1,2}|(?:\d[ -])?\d{1,2}/\d{1,2}|\d?\.\d+|\d{1,2})(?: ?(?:\"|IN\b\.?))?"
)
_SERIES = r"(?P<series>UNC|UNF|UNEF|UNS|UN|NC|NF|NEF|NS)"
_CONST = r"(?:(?P<const>\d{1,2})-?)?"
_CLASS = r"(?:CLASS )?[123][AB]"
_TPI = r"(?:[ X-]+(?P<tpi>\d{1,2}(?:\.\d+)?|4 1/2)(?: ?TPI)?)?"
_UNIFIED = re.compile(rf"{_SIZE}{_TPI}(?:(?:[ -]+{_CONST}|[ -]*){_SERIES}(?:[ -]*{_CLASS})?|[ -]+{_CLASS})?{_HAND}")
_UNIFIED_FIRST = re.compile(rf"{_CONST}{_SERIES}[ -]*{_SIZE}{_TPI}(?:[ -]+{_CLASS})?{_HAND}")


@lru_cache(maxsize=1024)
def thread(text: str) -> Thread:
    """Read a thread: "M10", "m10 x 1,25", "1/4-20", "0.250-20 UNC-2B", "No. 8-32", "G 1/2", "1/2-14 NPT".

    Parameters
    ----------
    text : metric with or without its pitch, unified by size with threads per inch or series, or a pipe thread

    Returns
    -------
    the thread

    Raises
    ------
    WorkingError : (argument "thread") when it is none of these, says two things at once, or lies in no table; the
        sentence names what was probably meant

    >>> thread("M10x1.5").minor_diameter.magnitude.__round__(3)
    8.376
    >>> round(thread("1/4-20 UNC").pitch_diameter.m_as("in"), 4)
    0.2175

    Source: [iso-68-1 (m)], [iso-261], [asme-b1.1 (m)], [iso-228-1], [iso-7-1], [asme-b1.20.1]
    """
    plain = _plain(text)
    if len(plain) <= LONGEST:
        if match := _METRIC.fullmatch(plain):
            return handed(_metric(float(match["d"]), float(match["p"]) if match["p"] else None), match["hand"])
        if (pipe := pipe_thread(plain)) is not None:
            return pipe
        if match := _UNIFIED.fullmatch(plain) or _UNIFIED_FIRST.fullmatch(plain):
            named = _unified(match["size"], match["tpi"], match["const"], match["series"] or "")
            return handed(named, match["hand"])
    raise WorkingError("thread", f'Thread "{text.strip()[:30]}" is not known; {_near_name(plain)}')


def _plain(text: str) -> str:
    """One spelling for what is written in many: upper case, plain dashes and fractions, single spaces."""
    for glyph, fraction in _GLYPHS.items():
        text = text.replace(glyph, f" {fraction}")
    return re.sub(r" ?([X/-]) ?", r"\1", re.sub(r"\s+", " ", text.translate(_DASHES).upper())).strip()


@cache
def thread_names() -> tuple[str, ...]:
    """Name of every thread in the tables, metric first, then unified, then pipe threads.

    Returns
    -------
    names, each of which `thread` reads

    >>> len(thread_names()) > 300, thread_names()[0], "1/4-20 UNC" in thread_names()
    (True, 'M1x0.25', True)

    Source: [iso-261], [asme-b1.1 (m)], [iso-228-1], [iso-7-1], [asme-b1.20.1]
    """
    metric = [name for diameter in METRIC for name in _metric_names(diameter)]
    unified = [name for size in UNIFIED for name in _unified_names(size)]
    return (*metric, *unified, *pipe_thread_names())


def _near_name(plain: str) -> str:
    """The nearest names, or how to write one."""
    if match := re.match(r"M ?(\d{1,3}(?:\.\d+)?)", plain):
        return _metric_way_out(float(match[1]))
    spelled = {_plain(name): name for name in thread_names()}
    shown = [spelled[near] for near in difflib.get_close_matches(plain, spelled, n=3, cutoff=0.7)]
    return f"near it are {_listed(shown)}." if shown and plain else f"write it like {EXAMPLES}."


def _listed(names: Iterable[str], last: str = "and") -> str:
    *first, final = names
    return f"{', '.join(first)} {last} {final}" if first else final


def _metric_names(diameter: float) -> list[str]:
    return [f"M{diameter:g}x{pitch:g}" for pitch in METRIC[diameter]]


def _metric(size: float, written: float | None) -> Thread:
    if written is None:
        if size not in COARSE:
            raise WorkingError("thread", f"M{size:g} has no coarse pitch; {_metric_way_out(size)}")
        written = COARSE[size][0]
    elif not 0 < written * PROFILE < size:
        raise WorkingError("thread", f"A pitch of {written:g} mm does not go with a diameter of {size:g} mm.")
    listed = written in METRIC.get(size, ())
    coarsest = next((pitch for diameter, (pitch, _) in COARSE.items() if diameter >= size), 6.0)
    if not listed and (written not in FINE_PITCHES or written > coarsest):
        raise WorkingError("thread", f"M{size:g}x{written:g} is in no table; {_metric_way_out(size)}")
    return Thread(
        f"M{size:g}x{written:g}", ureg.Quantity(size, "mm"), ureg.Quantity(written, "mm"), inch=False,
        size=f"M{size:g}", listed=listed,
    )  # fmt: skip


def _metric_way_out(size: float) -> str:
    if size in METRIC:
        return f"M{size:g} comes as {_listed(_metric_names(size))}."
    near = sorted(sorted(METRIC, key=lambda diameter: abs(diameter - size))[:2])
    names = _listed([_metric_names(diameter)[0] for diameter in near])
    return f"near it are {names}; for a special write its pitch too, like M{size:g}x1."


def _unified_names(size: str) -> list[str]:
    return [f"{size}-{tpi:g} {series}" for tpi, series in zip(UNIFIED[size], SERIES, strict=True) if tpi is not None]


def _unified(written: str, tpi_written: str | None, const: str | None, series: str) -> Thread:
    """Settle the size, then what the threads per inch and the series say of it."""
    series = series if series.startswith("UN") else f"U{series}" if series else ""
    if const is not None and tpi_written is None:
        tpi_written = const
    tpi = None if tpi_written is None else 4.5 if tpi_written == "4 1/2" else float(tpi_written)
    size = _unified_size(written, tpi)
    inches = unified_inches(size)
    if tpi is None:
        tpi = _tpi_of(size, series)
    if not 0 < PROFILE / max(tpi, 1e-9) < inches:
        raise WorkingError("thread", f"{tpi:g} threads per inch do not go with a diameter of {inches:g} in.")
    if const is not None and float(const) != tpi:
        raise WorkingError("thread", f"{size}-{tpi:g} has {tpi:g} threads per inch and cannot be {const}-UN.")
    known = _series_of(size, inches, tpi, series)
    return Thread(
        f"{size}-{tpi:g} {known}", ureg.Quantity(inches, "in"), ureg.Quantity(1 / tpi, "in"), inch=True, size=size,
        family="unified", listed=known != "UNS",
    )  # fmt: skip


def _unified_size(written: str, tpi: float | None) -> str:
    """The size as tables list it: 10-32 is a number ten and 1-8 an inch, 0.250 is a quarter."""
    size = re.sub(r"^(?:#|NO\.? ?|NR\.? ?|NUMBER )0*(?=\d)", "#", written).replace("-", " ")
    if size.isdigit() and f"#{size}" in UNIFIED:
        number, inch = UNIFIED[f"#{size}"], UNIFIED.get(size, ())
        if (not inch and (tpi is None or tpi >= _FINER_THAN_INCHES)) or (tpi and tpi in number and tpi not in inch):
            return f"#{size}"
    if size in UNIFIED or size.startswith("#"):
        return size
    inches = unified_inches(size)
    nearest = min(UNIFIED, key=lambda listed: abs(unified_inches(listed) - inches))
    if abs(unified_inches(nearest) - inches) < _ROUNDED:
        return nearest
    return f"{inches:g}" if "." in size else size


def unified_inches(size: str) -> float:
    """Basic major diameter of a unified size, in inches.

    Parameters
    ----------
    size : "#10", "5/16", "1 1/8", or a decimal

    Returns
    -------
    inches; of a number screw 0.060 + 0.013 · number

    Raises
    ------
    WorkingError : (argument "thread") when there is no such number screw, or it is not a fraction of an inch

    >>> unified_inches("#10"), unified_inches("1 1/8")
    (0.19, 1.125)

    Source: [asme-b1.1 (m)]
    """
    if size.startswith("#"):
        if size not in UNIFIED:
            near = [name for name in UNIFIED if name.startswith("#") and abs(int(name[1:]) - int(size[1:])) <= 1]
            hint = f"near it are {_listed(near)}" if near[1:] else "the numbers run from #0 to #12"
            raise WorkingError("thread", f"There is no screw size {size}; {hint}.")
        return round(0.060 + 0.013 * int(size[1:]), 3)
    try:
        return float(sum(map(Fraction, size.split())))
    except ZeroDivisionError:
        raise WorkingError("thread", f'Thread size "{size}" is not a fraction of an inch.') from None


def _tpi_of(size: str, series: str) -> float:
    """Threads per inch that a series has on a size; without a series, or without that size, the way out is told."""
    found = dict(zip(SERIES, UNIFIED.get(size, (None, None, None)), strict=True)).get(series)
    if found is None:
        says = f"There is no {size} {series}" if series in SERIES else f"{size} lacks its threads per inch"
        raise WorkingError("thread", f"{says}; {_unified_way_out(size)}")
    return found


def _unified_way_out(size: str) -> str:
    if size in UNIFIED:
        return f"{size} comes as {_listed(_unified_names(size))}."
    inches = unified_inches(size)
    near = sorted(sorted(UNIFIED, key=lambda name: abs(unified_inches(name) - inches))[:2], key=unified_inches)
    return f"near it are {_listed([_unified_names(name)[0] for name in near])}."


def _series_of(size: str, inches: float, tpi: float, series: str) -> str:
    """The series the size and its threads per inch make it; a series written beside them must be that one."""
    belongs = dict(zip(SERIES, UNIFIED.get(size, (None, None, None)), strict=True))
    made = next((name for name, own in belongs.items() if own == tpi), "")
    constant = not made and tpi in CONSTANT and CONSTANT[int(tpi)] <= inches <= LARGEST_CONSTANT
    constant = constant and (size in UNIFIED or inches * 16 == int(inches * 16))
    special = f"{size}-{tpi:g} UNS"
    if series in SERIES and series != made:
        also = f"{size}-{tpi:g} {made or 'UN'}" if made or constant else special
        if belongs[series] is None:
            raise WorkingError("thread", f"There is no {size} {series}; write {also}, or {_unified_way_out(size)}")
        right = f"{size}-{belongs[series]:g} {series}"
        raise WorkingError(
            "thread",
            f"{size} {series} has {belongs[series]:g} threads per inch, not {tpi:g}: write {right}, or {also}.",
        )
    if made or constant:
        return made or "UN"
    if series != "UNS":
        raise WorkingError(
            "thread", f"{size}-{tpi:g} is in no table; {_unified_way_out(size)[:-1]}; for a special write {special}."
        )
    return "UNS"
