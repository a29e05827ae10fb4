"""What a thread is, spoken step by step: its profile, its taper, its stress area, and the holes that clear its bolt."""

from calc.cutting.thread_profile import TAPER
from calc.cutting.thread_tables import CLEARANCE_INCH, PIPE_NPT
from calc.cutting.threads import FITS, Thread, clearance_hole
from calc.units import in_unit, ureg
from calc.workings.declaration import Found, Given, Step

PROFILE_SOURCE = "iso-68-1 (m)"
CLEARANCES = ("clearance_close", "clearance_medium", "clearance_free")


def tell_profile(given: Given, found: Found, named: Thread) -> None:
    """Diameter, pitch, angle and the basic profile, at the gauge plane where the thread tapers."""
    show, pitch, major = given.show, in_unit(named.pitch, "mm"), in_unit(named.diameter, "mm")
    found.results |= {
        "designation": named.name, "pitch": pitch, "threads_per_inch": named.threads_per_inch, "major_diameter": major,
        "minor_diameter": named.minor_diameter, "pitch_diameter": named.pitch_diameter, "thread_height": named.height,
        "thread_angle": named.angle,
    }  # fmt: skip
    sizes = f"D {show(major)}, P {show(pitch)}, {show(named.angle)} between the flanks"
    found.working += [
        Step("Thread", "by its name", named.name, sizes, named.source),
        Step("Threads per inch", "1 in / P", f"1 in / {show(pitch)}", f"{named.threads_per_inch:.6g}",
             "plane-geometry"),
    ]  # fmt: skip
    if named.pipe:
        _tell_pipe_profile(given, found, named)
    else:
        found.working += [
            Step("Basic minor diameter of the nut thread", "D1 = D − 5/8 · √3 · P",
                 f"{show(major)} − 1.0825 · {show(pitch)}", show(named.minor_diameter), PROFILE_SOURCE),
            Step("Basic pitch diameter", "D2 = D − 3/8 · √3 · P", f"{show(major)} − 0.6495 · {show(pitch)}",
                 show(named.pitch_diameter), PROFILE_SOURCE),
            Step("Depth of the basic profile", "5/8 · H, H = √3/2 · P", f"0.5413 · {show(pitch)}", show(named.height),
                 PROFILE_SOURCE),
        ]  # fmt: skip
    if named.left:
        found.assumed.append(f"{named.name} is left-handed: its sizes are those of the right-hand thread.")
    if not named.listed:
        found.assumed.append(f"{named.name} is in no table: a special, worked out from its diameter and pitch.")


def _tell_pipe_profile(given: Given, found: Found, named: Thread) -> None:
    """Depth, pitch and minor diameter of a pipe thread; of a taper one also where the gauge plane is."""
    show, pitch, major = given.show, in_unit(named.pitch, "mm"), in_unit(named.diameter, "mm")
    height, source = show(named.height), named.source
    where = " at the gauge plane" if named.taper else ""
    if named.family == "NPT":
        _tell_npt_plane(given, found, named)
    found.working += [
        Step("Depth of the profile", f"h = {named.depth_factor:.4g} · P", f"{named.depth_factor:.4g} · {show(pitch)}",
             height, source),
        Step(f"Pitch diameter{where}", "D2 = D − h", f"{show(major)} − {height}", show(named.pitch_diameter), source),
        Step(f"Minor diameter{where}", "D1 = D − 2 · h", f"{show(major)} − 2 · {height}", show(named.minor_diameter),
             source),
    ]  # fmt: skip
    if named.gauge_length is None or named.useful_length is None:
        return
    found.results |= {"gauge_length": named.gauge_length, "useful_length": named.useful_length}
    length, useful = show(named.gauge_length), show(named.useful_length)
    found.working += [
        Step("Taper", f"1 in {TAPER} on the diameter", f"{TAPER} further in, the diameter is 1 smaller",
             "1:16, 1.79° a side", source),
        Step("Screwed together by hand", "length from the small end to the gauge plane, from the table", named.size,
             length, source),
    ]  # fmt: skip
    if named.family == "NPT":
        pipe = show(in_unit(ureg.Quantity(PIPE_NPT[named.size][1], "in"), "mm"))
        numbers = f"(0.8 · {pipe} + 6.8 in) · {show(pitch)} / 1 in"
        found.working.append(Step("Effective thread", "L2 = (0.8 · D + 6.8 in) · P / 1 in", numbers, useful, source))
    else:
        says = "Useful thread, at least (from memory)"
        found.working.append(Step(says, "from the table", named.size, useful, source))
    found.assumed.append(
        f"{named.name} tapers by 1:16: its diameters hold at the gauge plane, and a percent of thread does not apply."
    )


def _tell_npt_plane(given: Given, found: Found, named: Thread) -> None:
    """Where the major diameter at the hand-tight plane comes from; D is the outside of the pipe in that formula."""
    _, pipe, hand_tight, _ = PIPE_NPT[named.size]
    pitch = in_unit(named.pitch, "in").magnitude
    numbers = f"{pipe:g} − (0.05 · {pipe:g} + 1.1) · {pitch:.5f} + {hand_tight:g} / {TAPER} + 0.8 · {pitch:.5f}"
    found.working.append(
        Step("Major diameter at the hand-tight plane, pipe and lengths in inches",
             "D − (0.05 · D + 1.1) · P + L1 / 16 + 0.8 · P", numbers, given.show(in_unit(named.diameter, "mm")),
             named.source)
    )  # fmt: skip


def tell_stress_area(given: Given, found: Found, named: Thread) -> None:
    """The area that the load of a bolt is reckoned on."""
    area = named.stress_area
    if area is None:
        return
    factor, source = ("0.9743", "asme-b1.1 (m)") if named.inch else ("0.9382", "iso-898-1 (m)")
    pitch, major = given.show(in_unit(named.pitch, "mm")), given.show(in_unit(named.diameter, "mm"))
    found.results["stress_area"] = area
    found.working.append(
        Step("Stress area of the bolt", f"As = π/4 · (D − {factor} · P)²", f"π/4 · ({major} − {factor} · {pitch})²",
             given.show(area, "mm²"), source)
    )  # fmt: skip


def tell_clearance(given: Given, found: Found, named: Thread) -> None:
    """Through holes for the bolt, close, medium and free."""
    holes = [clearance_hole(named, fit) for fit in FITS]
    texts = []
    for number, (result, hole) in enumerate(zip(CLEARANCES, holes, strict=True)):
        if hole is None:
            return
        text = given.show(hole)
        if named.inch:
            text = f"{CLEARANCE_INCH[named.size][number]} ({text})"
            found.texts[result] = text
        found.results[result] = hole
        texts.append(text)
    words = "close, normal and loose" if named.inch else "close, medium and free (fine, medium and coarse series)"
    source = "asme-b18.2.8" if named.inch else "iso-273"
    found.working.append(
        Step("Clearance holes for the bolt", f"{words}, from the table", named.size, ", ".join(texts), source)
    )
