"""The diameter that cuts, the chip that thins, the corner that changes the feed."""

from calc.cutting import chip, milling
from calc.errors import WorkingError
from calc.units import Quantity, in_unit, plain, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import GEOMETRY, LEAD_ANGLE, TOOL, length

SHAPE_NEEDS = {"ball": (), "bull": ("corner_radius",), "cone": ("included_angle", "tip_diameter")}
NAMES = {"corner_radius": "Corner radius", "included_angle": "Included angle", "tip_diameter": "Tip diameter"}


def _effective_diameter(given: Given) -> Found:
    show, shape = given.show, given.text("shape")
    diameter, depth = given.quantity("diameter"), given.quantity("axial_depth")
    assumed = ["The axis stands square to the face."]
    for name, label in NAMES.items():
        if name in SHAPE_NEEDS[shape] and name != "tip_diameter" and name not in given:
            raise WorkingError(name, f"{label} is missing: a {shape} needs it.")
        if name in given and name not in given.brought and name not in SHAPE_NEEDS[shape]:
            raise WorkingError(name, f"{label} does not belong to a {shape}; leave it away or choose another shape.")
    if shape == "ball":
        found = chip.ball_contact_diameter(diameter, depth)
        formula, numbers = "2 · √(ap · (DC − ap))", f"2 · √({show(depth)} · ({show(diameter)} − {show(depth)}))"
    elif shape == "bull":
        corner = given.quantity("corner_radius")
        found = chip.bull_contact_diameter(diameter, corner, depth)
        formula = "DC − 2 · r + 2 · √(r² − (r − ap)²)"
        numbers = (
            f"{show(diameter)} − 2 · {show(corner)} + 2 · √(({show(corner)})² − ({show(corner)} − {show(depth)})²)"
        )
    else:
        angle = given.quantity("included_angle")
        tip = given.quantity_or_none("tip_diameter")
        if tip is None:
            tip = ureg.Quantity(0.0, "mm")
            assumed.append("The cone is sharp: it has no flat at its tip.")
        found = chip.cone_contact_diameter(diameter, tip, angle, depth)
        formula, numbers = "d0 + 2 · ap · tan(σ / 2)", f"{show(tip)} + 2 · {show(depth)} · tan({show(angle)} / 2)"
    if not given.many and found >= diameter:
        formula, numbers = "DC, as the whole shape is in the work", show(diameter)
    step = Step("Largest diameter in contact", formula, numbers, show(found), GEOMETRY)
    return Found({"effective_diameter": found}, [step], assumed)


EFFECTIVE_DIAMETER = Working(
    name="effective-diameter", title="Diameter that cuts",
    says="The largest diameter of a ball, a cornered mill or a cone that is really in contact.",
    inputs=(
        TOOL,
        Input(name="shape", label="Shape", kind=Kind.CHOICE, choices=tuple(SHAPE_NEEDS), required=True, example="ball"),
        length("diameter", "Diameter", "DC", required=True, example=10),
        length("corner_radius", "Corner radius, of a bull", "RE"),
        Input(name="included_angle", label="Included angle, of a cone", symbol="σ", unit="deg", above=0, highest=179),
        length("tip_diameter", "Tip flat, of a cone", "d0", above=None, lowest=0),
        length("axial_depth", "Axial depth", "ap", required=True, example=0.5),
    ),
    results=(Result(name="effective_diameter", label="Diameter that cuts", unit="mm"),),
    compute=_effective_diameter,
    takes_arrays=True,
    sources=("plane-geometry",),
)  # fmt: skip


def _chip_thinning(given: Given) -> Found:
    show, diameter, radial = given.show, given.quantity("diameter"), given.quantity("radial_depth")
    angle = given.quantity("lead_angle")
    if "max_chip_thickness" in given:
        wanted = given.quantity("max_chip_thickness")
        tooth = chip.feed_for_max_chip(wanted, radial, diameter, angle)
        formula = "fz = hmax / (sin κr · sin θe)"
        below = not given.many and bool(radial < diameter / 2)
        bow = f" · sin {show(chip.engagement_angle(radial, diameter))}" if below else ""
        formula = formula if below else "fz = hmax / sin κr, as ae ≥ DC/2"
        numbers = f"{show(wanted)} / (sin {show(angle)}{bow})"
    else:
        wanted = given.quantity("mean_chip_thickness")
        tooth = chip.feed_for_mean_chip(wanted, radial, diameter, angle)
        formula = "fz = hm · θe / (sin κr · 2 · ae / DC), θe in radians"
        engaged = show(chip.engagement_angle(radial, diameter).m_as("rad"))
        numbers = f"{show(wanted)} · {engaged} / (sin {show(angle)} · 2 · {show(radial)} / {show(diameter)})"
    factor = plain((tooth / wanted).m_as(""))
    steps = [
        Step("Feed per tooth for that chip", formula, numbers, show(tooth), GEOMETRY),
        Step("Factor", "fz / h", f"{show(tooth)} / {show(wanted)}", show(factor), GEOMETRY),
    ]
    return Found({"feed_per_tooth": tooth, "factor": factor}, steps)


CHIP_THINNING = Working(
    name="chip-thinning", title="Chip thinning",
    says="The feed per tooth that gives the wanted chip though a light radial cut thins it.",
    inputs=(
        TOOL,
        length("diameter", "Diameter", "DC", required=True, example=16),
        length("radial_depth", "Radial depth", "ae", required=True, example=2),
        LEAD_ANGLE,
        length("max_chip_thickness", "Thickest chip wanted", "hmax", group="chip", example=0.05),
        length("mean_chip_thickness", "Mean chip wanted", "hm", group="chip"),
    ),
    groups=(Group(name="chip", label="the wanted chip"),),
    results=(
        Result(name="feed_per_tooth", label="Feed per tooth", symbol="fz", unit="mm"),
        Result(name="factor", label="Times the chip", kind=Kind.NUMBER),
    ),
    compute=_chip_thinning,
    takes_arrays=True,
    sources=("plane-geometry",),
)  # fmt: skip


def _corner_feed(given: Given) -> Found:
    show, diameter, corner = given.show, given.quantity("diameter"), given.quantity("corner_radius")
    inside, straight = given.yes("inside"), given.quantity("feed_rate")
    ratio = milling.corner_feed_ratio(diameter, corner, inside)
    rate: Quantity = in_unit(straight * ratio, "mm/min")
    sign = "−" if inside else "+"
    steps = [
        Step("Share of the feed at the tool's centre", f"(R {sign} DC / 2) / R",
             f"({show(corner)} {sign} {show(diameter)} / 2) / {show(corner)}", show(ratio), GEOMETRY),
        Step("Feed rate at the tool's centre", "vf · share", f"{show(straight)} · {show(ratio)}", show(rate), GEOMETRY),
    ]  # fmt: skip
    assumed = ["The feed rate asked for is that of the edge along the wall, as on a straight."]
    return Found({"feed_rate": rate, "ratio": ratio}, steps, assumed)


CORNER_FEED = Working(
    name="corner-feed", title="Feed in a corner",
    says="The feed rate to program at the tool's centre on an arc, so that the edge keeps its feed.",
    inputs=(
        TOOL,
        length("diameter", "Diameter", "DC", required=True, example=10),
        length("corner_radius", "Radius of the wall", "R", required=True, example=20, from_lookup=False),
        Input(name="feed_rate", label="Feed rate on a straight", symbol="vf", unit="mm/min", required=True, above=0,
              example=500),
        Input(name="inside", label="Inside corner", kind=Kind.BOOL, default=True,
              assumed="The corner is an inside one."),
    ),
    results=(
        Result(name="feed_rate", label="Feed rate at the centre", symbol="vf", unit="mm/min"),
        Result(name="ratio", label="Share of the feed", kind=Kind.NUMBER),
    ),
    compute=_corner_feed,
    takes_arrays=True,
    sources=("plane-geometry",),
)  # fmt: skip
