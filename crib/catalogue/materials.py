"""Work materials as the calculators take them."""

from __future__ import annotations

from calc.errors import WorkingError
from calc.workings import Known
from crib.catalogue.models import WorkMaterial

MOST_NAMED = 6


def find_cutting_material(what: str, text: str) -> Known:
    """The work material of that name or number, with the figures its cutting force is worked out from."""
    found = WorkMaterial.objects.filter(name__iexact=text.strip()).first()
    if found is None and text.isascii() and text.isdigit() and len(text) < 10:
        found = WorkMaterial.objects.filter(pk=int(text)).first()
    if found is None:
        raise WorkingError("material", _unknown(text))
    source = found.kc11_source if found.kc11_source == found.mc_source else f"{found.kc11_source}; mc {found.mc_source}"
    return Known(found.name, {"kc11": found.kc11, "mc": found.mc}, source)


def cutting_material_names() -> list[str]:
    """Names of the work materials in use, as a calculator offers them."""
    return list(WorkMaterial.objects.filter(retired_at__isnull=True).order_by("name").values_list("name", flat=True))


def _unknown(text: str) -> str:
    names = cutting_material_names()
    wanted = text.strip()[:40]
    if not names:
        return f"Material: the catalogue holds no work material yet, so “{wanted}” is not known. Give kc11 and mc."
    near = [name for name in names if wanted.lower() in name.lower()] or names
    more = "" if len(near) <= MOST_NAMED else " and others"
    return f"Material: “{wanted}” is not in the catalogue. There is {', '.join(near[:MOST_NAMED])}{more}."
