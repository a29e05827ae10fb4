"""The geometry of a design as its page lists it, each figure with its ISO 13399 symbol where it has one."""

from __future__ import annotations

from dataclasses import dataclass

from crib.catalogue.models import Design

_GEOMETRY = (
    ("diameter_mm", "Cutting diameter", "DC", "mm"),
    ("tip_flat_mm", "Tip flat", "", "mm"),
    ("teeth", "Teeth", "ZEFP", ""),
    ("included_angle_deg", "Included angle", "", "°"),
    ("lead_angle_deg", "Cutting edge angle", "KAPR", "°"),
    ("point_angle_deg", "Point angle", "SIG", "°"),
    ("corner_radius_mm", "Corner radius", "RE", "mm"),
    ("max_depth_mm", "Largest depth of cut", "APMX", "mm"),
    ("pitch_mm", "Thread pitch", "TP", "mm"),
    ("shank_mm", "Shank", "DMM", "mm"),
    ("length_mm", "Functional length", "LF", "mm"),
    ("max_spindle_speed", "Largest speed", "RPMX", "1/min"),
    ("clamp_torque_nm", "Tightening torque", "", "N·m"),
    ("carbide_mass_g", "Carbide", "", "g"),
)


@dataclass(frozen=True)
class Figure:
    """One line of the geometry; `unit` is the one it is kept in."""

    name: str
    symbol: str
    value: float
    unit: str

    @property
    def turned(self) -> bool:
        """Whether the unit is one that inch readers see otherwise."""
        return self.unit in ("mm", "1/min", "N·m")


def geometry_of(design: Design) -> list[Figure]:
    figures = []
    for field, name, symbol, unit in _GEOMETRY:
        value = getattr(design, field)
        if value is not None:
            figures.append(Figure(name, symbol, float(value), unit))
    return figures
