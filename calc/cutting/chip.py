"""How thick the chip really is, and the diameter that really cuts."""

from typing import Any

import numpy as np

from calc.units import Quantity, choose, in_unit, plain, require, require_positive, takes, ureg


def require_lead_angle(lead_angle: Quantity) -> None:
    """Refuse a lead angle κr outside (0, 180) degrees.

    Parameters
    ----------
    lead_angle : κr between the edge and the feed, angle

    Returns
    -------
    nothing

    Raises
    ------
    WorkingError : when it lies outside

    >>> require_lead_angle(ureg.Quantity(95, "deg"))

    Source: [iso-3002-1 (m)]
    """
    degrees = lead_angle.m_as("deg")
    inside = (degrees > 0) & (degrees < 180)
    require("lead_angle", inside, "Lead angle must lie between 0 and 180 degrees; a square shoulder is 90.")


def _require_radial_depth(radial_depth: Quantity, diameter: Quantity) -> Any:
    """The radial depth as a share of the diameter."""
    require_positive("diameter", diameter)
    require_positive("radial_depth", radial_depth)
    share = (radial_depth / diameter).m_as("")
    require(
        "radial_depth",
        share <= 1 + 1e-12,
        "Radial depth cannot be more than the diameter; a full slot is the diameter.",
    )
    return np.minimum(share, 1.0)


@takes(radial_depth="mm", diameter="mm")
def engagement_angle(radial_depth: Quantity, diameter: Quantity) -> Quantity:
    """Angle over which each tooth is in the work, θe = arccos(1 - 2 · ae / DC).

    Parameters
    ----------
    radial_depth : ae, length
    diameter : DC, length

    Returns
    -------
    θe in deg, 180 for a full slot

    Raises
    ------
    WorkingError : when a length is not above zero, or ae is more than DC

    >>> round(engagement_angle(ureg.Quantity(15.75, "mm"), ureg.Quantity(63, "mm")).magnitude, 9)
    60.0

    Source: [plane-geometry]
    """
    share = _require_radial_depth(radial_depth, diameter)
    return in_unit(ureg.Quantity(np.degrees(np.arccos(1 - 2 * share)), "deg"), "deg")


@takes(feed_per_tooth="mm", radial_depth="mm", diameter="mm", lead_angle="deg")
def max_chip_thickness(
    feed_per_tooth: Quantity, radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity
) -> Quantity:
    """Thickest chip of a milling cut: fz · sin κr · sin θe below half the diameter, fz · sin κr from there on.

    Parameters
    ----------
    feed_per_tooth : fz, length
    radial_depth : ae, length
    diameter : DC, length
    lead_angle : κr, angle

    Returns
    -------
    hmax in mm

    Raises
    ------
    WorkingError : when a length is not above zero, ae is more than DC, or κr lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> round(max_chip_thickness(q(0.15, "mm"), q(15.75, "mm"), q(63, "mm"), q(90, "deg")).magnitude, 6)
    0.129904

    Source: [plane-geometry], the tooth's path taken as a circle
    """
    require_positive("feed_per_tooth", feed_per_tooth)
    return in_unit(feed_per_tooth * _max_share(radial_depth, diameter, lead_angle), "mm")


@takes(feed_per_tooth="mm", radial_depth="mm", diameter="mm", lead_angle="deg")
def mean_chip_thickness(
    feed_per_tooth: Quantity, radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity
) -> Quantity:
    """Chip thickness averaged over the engagement, hm = fz · sin κr · (2 · ae / DC) / θe with θe in radians.

    Parameters
    ----------
    feed_per_tooth : fz, length
    radial_depth : ae, length
    diameter : DC, length
    lead_angle : κr, angle

    Returns
    -------
    hm in mm

    Raises
    ------
    WorkingError : when a length is not above zero, ae is more than DC, or κr lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> round(mean_chip_thickness(q(0.15, "mm"), q(15.75, "mm"), q(63, "mm"), q(90, "deg")).magnitude, 7)
    0.0716197

    Source: [plane-geometry]; the rougher fz · √(ae/DC) of some shop texts is another quantity.
    """
    require_positive("feed_per_tooth", feed_per_tooth)
    return in_unit(feed_per_tooth * _mean_share(radial_depth, diameter, lead_angle), "mm")


def _max_share(radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity) -> Any:
    """The largest chip thickness as a share of the feed per tooth."""
    share = _require_radial_depth(radial_depth, diameter)
    require_lead_angle(lead_angle)
    bow = np.sin(np.arccos(1 - 2 * np.minimum(share, 0.5)))
    return np.sin(lead_angle.m_as("rad")) * bow


def _mean_share(radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity) -> Any:
    """The mean chip thickness as a share of the feed per tooth."""
    share = _require_radial_depth(radial_depth, diameter)
    require_lead_angle(lead_angle)
    return np.sin(lead_angle.m_as("rad")) * 2 * share / np.arccos(1 - 2 * share)


@takes(chip_thickness="mm", radial_depth="mm", diameter="mm", lead_angle="deg")
def feed_for_max_chip(
    chip_thickness: Quantity, radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity
) -> Quantity:
    """Feed per tooth that makes the thickest chip as thick as wanted, though a light radial cut thins it.

    Parameters
    ----------
    chip_thickness : hmax wanted, length
    radial_depth : ae, length
    diameter : DC, length
    lead_angle : κr, angle

    Returns
    -------
    fz in mm

    Raises
    ------
    WorkingError : when a length is not above zero, ae is more than DC, or κr lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> fz = feed_for_max_chip(q(0.002, "in"), q(0.05, "in"), q(0.5, "in"), q(90, "deg"))
    >>> round(fz.m_as("in"), 8)
    0.00333333

    Source: [plane-geometry], the inverse of max_chip_thickness
    """
    require_positive("chip_thickness", chip_thickness)
    return in_unit(chip_thickness / _max_share(radial_depth, diameter, lead_angle), "mm")


@takes(chip_thickness="mm", radial_depth="mm", diameter="mm", lead_angle="deg")
def feed_for_mean_chip(
    chip_thickness: Quantity, radial_depth: Quantity, diameter: Quantity, lead_angle: Quantity
) -> Quantity:
    """Feed per tooth that makes the mean chip as thick as wanted.

    Parameters
    ----------
    chip_thickness : hm wanted, length
    radial_depth : ae, length
    diameter : DC, length
    lead_angle : κr, angle

    Returns
    -------
    fz in mm

    Raises
    ------
    WorkingError : when a length is not above zero, ae is more than DC, or κr lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> round(feed_for_mean_chip(q(0.05, "mm"), q(8, "mm"), q(16, "mm"), q(90, "deg")).magnitude, 6)
    0.07854

    Source: [plane-geometry], the inverse of mean_chip_thickness
    """
    require_positive("chip_thickness", chip_thickness)
    return in_unit(chip_thickness / _mean_share(radial_depth, diameter, lead_angle), "mm")


@takes(diameter="mm", axial_depth="mm")
def ball_contact_diameter(diameter: Quantity, axial_depth: Quantity) -> Quantity:
    """Largest diameter of a ball nose in contact, 2 · √(ap · (DC - ap)); DC itself from half the diameter on.

    Parameters
    ----------
    diameter : DC, length
    axial_depth : ap, length

    Returns
    -------
    diameter in mm, the axis standing square to the face

    Raises
    ------
    WorkingError : when a length is not above zero

    >>> d = ball_contact_diameter(ureg.Quantity(0.375, "in"), ureg.Quantity(0.03, "in"))
    >>> round(d.m_as("in"), 6)
    0.20347

    Source: [plane-geometry]
    """
    require_positive("diameter", diameter)
    return bull_contact_diameter(diameter, diameter / 2, axial_depth)


@takes(diameter="mm", corner_radius="mm", axial_depth="mm")
def bull_contact_diameter(diameter: Quantity, corner_radius: Quantity, axial_depth: Quantity) -> Quantity:
    """Largest diameter of a cornered mill in contact, DC - 2 · r + 2 · √(r² - (r - ap)²), up to DC.

    Parameters
    ----------
    diameter : DC, length
    corner_radius : RE, length, at most half of DC
    axial_depth : ap, length

    Returns
    -------
    diameter in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or the corner is more than half the diameter

    >>> q = ureg.Quantity
    >>> round(bull_contact_diameter(q(12, "mm"), q(2, "mm"), q(0.4, "mm")).magnitude, 6)
    10.4

    Source: [plane-geometry]
    """
    for name, value in (("diameter", diameter), ("corner_radius", corner_radius), ("axial_depth", axial_depth)):
        require_positive(name, value)
    radius, depth, width = corner_radius.m_as("mm"), axial_depth.m_as("mm"), diameter.m_as("mm")
    fits = radius <= width / 2 * (1 + 1e-12)
    require("corner_radius", fits, "Corner radius cannot be more than half the diameter.")
    inside = np.minimum(depth, radius)
    round_part = ureg.Quantity(width - 2 * radius + 2 * np.sqrt(inside * (2 * radius - inside)), "mm")
    return choose(depth >= radius, diameter, round_part, "mm")


@takes(diameter="mm", tip_diameter="mm", included_angle="deg", axial_depth="mm")
def cone_contact_diameter(
    diameter: Quantity, tip_diameter: Quantity, included_angle: Quantity, axial_depth: Quantity
) -> Quantity:
    """Largest diameter of a cone in contact, tip + 2 · ap · tan(σ/2), up to DC.

    Parameters
    ----------
    diameter : DC at the top of the cone, length
    tip_diameter : flat at its tip, length, zero for a point
    included_angle : σ, angle
    axial_depth : ap from the tip flat, length

    Returns
    -------
    diameter in mm

    Raises
    ------
    WorkingError : when a length is not above zero, the tip is not smaller than DC, or σ lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> round(cone_contact_diameter(q(10, "mm"), q(1, "mm"), q(90, "deg"), q(2, "mm")).magnitude, 6)
    5.0

    Source: [plane-geometry]
    """
    require_positive("diameter", diameter)
    require_positive("axial_depth", axial_depth)
    slope = half_angle_slope(included_angle)
    tip = tip_diameter.m_as("mm")
    smaller = (tip >= 0) & (tip < diameter.m_as("mm"))
    require("tip_diameter", smaller, "Tip diameter cannot be negative, and must be smaller than the diameter.")
    reached = in_unit(tip_diameter + 2 * axial_depth * slope, "mm")
    return choose(reached < diameter, reached, diameter, "mm")


def half_angle_slope(included_angle: Quantity) -> float:
    """Tangent of half an included angle, the radius a cone gains per height.

    Parameters
    ----------
    included_angle : σ, angle

    Returns
    -------
    tan(σ/2), dimensionless

    Raises
    ------
    WorkingError : when σ lies outside (0, 180) degrees

    >>> half_angle_slope(ureg.Quantity(90, "deg"))
    1.0

    Source: [plane-geometry]
    """
    degrees = included_angle.m_as("deg")
    inside = (degrees > 0) & (degrees < 180)
    require("included_angle", inside, "Included angle must lie between 0 and 180 degrees, such as 90.")
    # Rounded so that 90 degrees gains exactly as much radius as height.
    slope: float = plain(np.round(np.tan(np.radians(degrees / 2)), 15))
    return slope
