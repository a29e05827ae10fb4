"""The starting set of work materials: common metals of every ISO 513 group, for the shop to make its own."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from crib.catalogue.models import WorkMaterial
from crib.catalogue.services.importing import CatalogueReport, read_rows
from crib.catalogue.services.things import create_material
from crib.core.errors import Refused
from crib.people.models import Person


@dataclass(frozen=True, slots=True)
class StartingSet:
    """What of the set was added, and what was here already and stays as the shop has it."""

    added: list[WorkMaterial]
    left_alone: int


def starting_file() -> Path:
    """Where the set is written; `import_catalogue` reads the file as well."""
    return Path(settings.BASE_DIR) / "fixtures" / "start" / "materials.csv"


def materials_to_start_with() -> list[str]:
    """Names of the set that are not in the catalogue, retired ones included; one query."""
    known = {name.casefold() for name in WorkMaterial.objects.values_list("name", flat=True)}
    return [name for name in _names() if name.casefold() not in known]


@transaction.atomic
def load_starting_materials(*, who: Person) -> StartingSet:
    """Add the metals of the set that are not here yet; what the shop has, edited or retired, is left alone."""
    missing = set(materials_to_start_with())
    rows = _rows()
    added = [create_material(who=who, **row) for row in rows if row["name"] in missing]
    return StartingSet(added, len(rows) - len(added))


@functools.cache
def _names() -> tuple[str, ...]:
    return tuple(str(row["name"]) for row in _rows())


def _rows() -> list[dict[str, Any]]:
    report = CatalogueReport()
    with starting_file().open("rb") as file:
        rows = read_rows(file=file, report=report, record="material")
    if report.refused:
        first = report.refused[0]
        raise Refused(f"The starting set cannot be read: line {first.line}, {first.reason}")
    return rows
