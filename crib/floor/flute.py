"""The flute of a chamfer mill: the band of it that an operation uses, and the diameter that turns there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calc.errors import WorkingError
from crib.catalogue.models import Design
from crib.core.errors import BadInput
from crib.floor.models import KindOfCut, Operation

if TYPE_CHECKING:
    from calc.cutting.chamfer import ConicalMill

# Heights are kept to a millionth of a millimetre: the same band said in inches must be the same band.
DECIMALS = 6
HAIR = 10**-DECIMALS
HIGHEST = 500.0


def cone_of(tip: Design) -> ConicalMill | None:
    """The conical flute of a chamfer mill, where the catalogue knows its angle and tip flat.

    An insert has none of its own: where its cone begins lies in the body.
    """
    if tip.kind == Design.Kind.INSERT or tip.included_angle_deg is None or tip.tip_flat_mm is None:
        return None
    from calc.cutting.chamfer import conical_mill  # as in `duty`: most pages never ask
    from calc.units import ureg

    try:
        return conical_mill(
            ureg.Quantity(tip.included_angle_deg, "deg"),
            ureg.Quantity(tip.tip_flat_mm, "mm"),
            None if tip.diameter_mm is None else ureg.Quantity(tip.diameter_mm, "mm"),
        )
    except WorkingError:
        return None  # the figures make no cone


def is_chamfer_mill(tip: Design) -> bool:
    """Whether a design has a conical flute that can be used band by band."""
    return cone_of(tip) is not None


def band_of(operation: Operation) -> tuple[float, float] | None:
    """From where to where above the tip flat the operation cuts, in mm; None where that is not known."""
    low, high = operation.contact_low, operation.contact_high
    return None if low is None or high is None else (low, high)


def diameter_in_contact(operation: Operation) -> float | None:
    """The largest diameter in contact, d0 + 2·h·tan(σ/2) at the top of the band, in mm; None without band or cone."""
    band = band_of(operation)
    cone = cone_of(operation.tip) if band and operation.kind_of_cut == KindOfCut.CHAMFERING else None
    return float(cone.diameter_at(band[1]).m_as("mm")) if band and cone else None


def check_band(operation: Operation) -> None:
    """Refuse a band that no flute can have, and keep a sound one to the millionth of a millimetre."""
    low, high = operation.contact_low, operation.contact_high
    if low is None and high is None:
        return
    for field, value, says in (("contact_low", low, "begins"), ("contact_high", high, "ends")):
        if value is None:
            raise BadInput(
                field, f"Say also where the band of the flute {says}, in mm above the tip flat, or leave both empty."
            )
        if not math.isfinite(value) or value < 0 or value > HIGHEST:
            raise BadInput(
                field,
                f"The band of the flute {says} at 0 to {HIGHEST:g} mm above the tip flat, not {value:g} mm; check the "
                "number and its unit, or leave both ends empty.",
            )
    assert low is not None  # both are there by now
    assert high is not None
    operation.contact_low, operation.contact_high = low, high = round(low, DECIMALS), round(high, DECIMALS)
    if high <= low:
        raise BadInput(
            "contact_high",
            f"The band of the flute must end above where it begins: give more than {low:g} mm, or a lower beginning.",
        )
    if operation.kind_of_cut != KindOfCut.CHAMFERING:
        raise BadInput(
            "contact_low",
            "Only chamfering has a band of the flute that cuts; leave both ends empty, or choose chamfering.",
        )
    _check_against_flute(operation.tip, high)


def _check_against_flute(tip: Design, high: float) -> None:
    cone = cone_of(tip)
    if cone is not None and high > float(cone.flute_height) + HAIR:
        raise BadInput(
            "contact_high",
            f"The flute of {tip.code} ends {float(cone.flute_height):.4g} mm above its tip flat, but the band reaches "
            f"{high:g} mm; work lower on the flute, or choose a larger mill.",
        )
