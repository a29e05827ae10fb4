"""What the shop knows of a word typed into a calculator: the catalogue's figures, and what its own edges have shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calc.errors import WorkingError
from calc.workings import Known
from crib.catalogue import known as catalogue
from crib.catalogue.models import Design, WorkMaterial
from crib.life.selectors.bands import worn_bands
from crib.life.selectors.taylor import fitted_taylor
from crib.stock.labels import BadLabel, looks_like_label, make_label, parse_label
from crib.stock.models import Item


def look_up(what: str, text: str, words: Mapping[str, str] | None = None) -> Known:
    """What the shop knows under that word; `words` are all that were named beside it, by what they name.

    A material's assumed Taylor exponent gives way to what ended edges have shown: those of the tool or item that is
    named too, else those of the design of which most have ended.
    """
    if what == "item":
        return _known_item(text)
    if what == "material":
        return _known_material(text, words or {})
    return catalogue.look_up(what, text)


def _known_item(text: str) -> Known:
    """The item's design as a tool, as it stands in its assembly, with the bands of its flute that have cut."""
    item = _item(text)
    found = catalogue.design_known(item.design)
    worn = [
        {"low": band.low, "high": band.high, "share": band.share, "minutes": band.minutes} for band in worn_bands(item)
    ]
    values = {**found.values, **_as_built(item), "worn": worn or None}
    return Known(f"{item.label}, {item.design.code}", {name: value for name, value in values.items() if value})


def _as_built(item: Item) -> dict[str, Any]:
    """What holder and body make of a tool that is fitted: its stick-out, and the circle on which its inserts cut."""
    fitting = item.fittings.filter(removed_at=None).select_related("assembly__body__design").first()
    if fitting is None:
        return {}
    built: dict[str, Any] = {"stick_out": fitting.assembly.stick_out_mm}
    body = fitting.assembly.body.design if fitting.assembly.body else None
    if body is not None:
        limits = [one for one in (item.design.max_spindle_speed, body.max_spindle_speed) if one]
        built["max_spindle_speed"] = min(limits, default=None)
        if item.design.kind == Design.Kind.INSERT:
            built |= {"diameter": body.diameter_mm, "teeth": body.teeth or body.seats}
    return {name: value for name, value in built.items() if value}


def _item(text: str) -> Item:
    """The item with that label, as it stands on the thing itself; its number alone will do."""
    number = _number(text)
    found = None if number is None else Item.objects.select_related("design").filter(pk=number).first()
    if found is None:
        raise WorkingError("item", f"Item: no item here has the label “{text.strip()[:40]}”. {_labels_near(text)}")
    return found


def _number(text: str) -> int | None:
    typed = text.strip()
    if typed.isascii() and typed.isdigit() and len(typed) < 10:
        return int(typed)
    if not looks_like_label(typed):
        return None
    try:
        label = parse_label(typed)
    except BadLabel as misread:
        raise WorkingError("item", f"Item: {misread.sentence}") from misread
    if label.kind != "I":
        raise WorkingError("item", "Item: this is the label of something else. Scan the one on the tool itself.")
    return label.number


def _labels_near(text: str) -> str:
    newest = Item.objects.filter(design__edges__gt=0).order_by("-pk").values_list("pk", flat=True)[:3]
    labels = [make_label("I", number) for number in newest]
    if not labels:
        return "No tool has a label yet; name the tool by its code instead."
    return f"Scan it on the thing itself, or type it in full, such as {', '.join(labels)}."


def _known_material(text: str, words: Mapping[str, str]) -> Known:
    material = catalogue.find_material(text)
    known = catalogue.material_known(material)
    fitted = fitted_taylor(material=material, tool=words.get("tool") or None, item=_named_item(words))
    if fitted is None:
        return known
    said = f"{fitted.source}{_in_place_of(material)}"
    values = {**known.values, "n": fitted.n, "c": fitted.c}
    return replace(known, values=values, sources={**known.sources, "n": said, "c": said})


def _named_item(words: Mapping[str, str]) -> int | None:
    """The number of the item that is named; one that cannot be read is told of where it is looked up itself."""
    try:
        return _number(words["item"]) if "item" in words else None
    except WorkingError:
        return None


def _in_place_of(material: WorkMaterial) -> str:
    if material.taylor_n is None:
        return ""
    word = "assumed n" if material.taylor_n_source == "assumed" else "catalogue's n"
    return f", in place of the {word} of {material.taylor_n:g}"
