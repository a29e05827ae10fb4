"""A machine's spindle as a picture: the power it gives at its speeds, and the torque that comes of it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from calc.cutting.force import torque
from calc.units import ureg
from crib.catalogue.models import Machine
from crib.web import charts, formats


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart with its numbers beneath, a heading and a sentence."""

    title: str
    says: str
    drawn: SafeString


def spindle_picture(machine: Machine, system: str) -> Picture | None:
    """The machine's power curve in the reader's units; None where it has none."""
    points = [(float(speed), float(power)) for speed, power in machine.power_curve]
    if not points:
        return None
    strongest_at, strongest = max(points, key=lambda point: point[1])
    most, there = formats.amount(strongest, "kW", system), formats.amount(strongest_at, "1/min", system)
    says = f"Up to {most} at {there}. Below the first point the torque stays, above the last one the power."
    title = "Spindle power at its speeds"
    unit = formats.unit_for("kW", system)
    factor = ureg.Quantity(1.0, "kW").m_as("hp") if unit == "hp" else 1.0
    last = max(points[-1][0], machine.max_spindle_speed or 0.0)
    across = [0.0, *(speed for speed, _ in points), last]
    up = [0.0, *(power * factor for _, power in points), points[-1][1] * factor]
    drawn = charts.lines(
        [charts.Series("Power", across, up)],
        title=f"{title} of {machine.code}",
        says=says,
        x_label=f"Spindle speed, {formats.unit_for('1/min', system)}",
        y_label=f"Power, {unit}",
    )
    rows = [
        (
            formats.amount(speed, "1/min", system),
            formats.amount(power, "kW", system),
            formats.amount(_torque(speed, power), "N·m", system),
        )
        for speed, power in points
    ]
    table = charts.data_table(f"{title} of {machine.code}", ["Speed", "Power", "Torque"], rows)
    return Picture(title, says, mark_safe(drawn + table))  # both escaped


def _torque(speed: float, power: float) -> float:
    """N·m of a power in kW at a speed in 1/min."""
    return float(torque(ureg.Quantity(power, "kW"), ureg.Quantity(speed, "1/min")).m_as("N*m"))
