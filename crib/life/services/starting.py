"""Starting values: what is expected of a design, a family or a material group before the shop has learnt its own."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

from django.db import transaction

from crib.catalogue.models import Design, WorkMaterial
from crib.core.errors import BadInput
from crib.core.wake import wake
from crib.floor.models import KindOfCut
from crib.life.models import LifePrior
from crib.people.models import Person
from crib.people.services import record_change

LONGEST_SOURCE = 160


@transaction.atomic
def write_starting_life(
    *,
    kind_of_cut: str,
    life_minutes: float,
    surface_speed: float,
    feed: float,
    depth: float,
    who: Person,
    design: Design | None = None,
    family: str = "",
    material: WorkMaterial | None = None,
    iso_group: str = "",
    speed_exponent: float = 4.0,
    feed_exponent: float = 1.0,
    depth_exponent: float = 0.3,
    life_spread: float = 0.5,
    exponent_spread: float = 0.4,
    shape: float = 2.5,
    shape_spread: float = 0.3,
    breakage_per_minute: float = 0.0,
    breakage_weight_minutes: float = 0.0,
    source: str = "assumed",
) -> LifePrior:
    """Write down a starting life at a reference duty, or write it anew for the same thing, metal and kind of cut.

    It is about one design, a family of designs, or whatever cuts; in one material, an ISO 513 group, or any.
    """
    about: dict[str, Any] = {
        "design": design,
        "family": family.strip(),
        "material": material,
        "iso_group": iso_group.strip(),
        "kind_of_cut": kind_of_cut,
    }
    values = {
        "life_minutes": life_minutes,
        "surface_speed": surface_speed,
        "feed": feed,
        "depth": depth,
        "speed_exponent": speed_exponent,
        "feed_exponent": feed_exponent,
        "depth_exponent": depth_exponent,
        "life_spread": life_spread,
        "exponent_spread": exponent_spread,
        "shape": shape,
        "shape_spread": shape_spread,
        "breakage_per_minute": breakage_per_minute,
        "breakage_weight_minutes": breakage_weight_minutes,
    }
    _check_about(design, about["family"], material, about["iso_group"], kind_of_cut)
    _check_values(values)
    if not source.strip() or len(source) > LONGEST_SOURCE:
        raise BadInput(
            "source", f"Say where the figures come from, in at most {LONGEST_SOURCE} characters, or “assumed”."
        )
    prior, _ = LifePrior.objects.update_or_create(**about, defaults={**values, "source": source.strip()})
    record_change(who=who, what="starting life", which=str(prior), act="wrote", details={**values, "source": source})
    transaction.on_commit(partial(wake, "refit"))
    return prior


def _check_about(
    design: Design | None, family: str, material: WorkMaterial | None, iso_group: str, kind_of_cut: str
) -> None:
    if kind_of_cut not in KindOfCut.values:
        raise BadInput("kind_of_cut", f"The kind of cut is one of: {', '.join(KindOfCut.values)}.")
    if design is not None and family:
        raise BadInput("family", "Say either the design or its family, not both.")
    if material is not None and iso_group:
        raise BadInput("iso_group", "Say either the material or its group, not both.")
    if iso_group and iso_group not in WorkMaterial.Group.values:
        raise BadInput("iso_group", f"The ISO 513 group is one of: {', '.join(WorkMaterial.Group.values)}.")
    if design is not None and not design.cuts:
        raise BadInput("design", f"{design.code} has no cutting edge.")


def _check_values(values: dict[str, float]) -> None:
    for name in (
        "life_minutes",
        "surface_speed",
        "feed",
        "depth",
        "shape",
        "life_spread",
        "exponent_spread",
        "shape_spread",
    ):
        if not (math.isfinite(values[name]) and values[name] > 0):
            raise BadInput(name, "This must be a number above zero.")
    for name in ("speed_exponent", "feed_exponent", "depth_exponent", "breakage_per_minute", "breakage_weight_minutes"):
        if not (math.isfinite(values[name]) and values[name] >= 0):
            raise BadInput(name, "This must be a number, zero or more.")
