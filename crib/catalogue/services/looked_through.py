"""Keeps what the search box looks through in step with the design and with what suppliers call it."""

from __future__ import annotations

from collections.abc import Iterable

from crib.catalogue.models import Design
from crib.catalogue.words import search_text


def text_to_search(*, design: Design, suppliers_numbers: Iterable[str]) -> str:
    """A design's code, numbers and words as they are compared."""
    return search_text(
        code=design.code,
        numbers=[design.makers_number, *suppliers_numbers],
        said=[design.description, design.family, design.get_kind_display()],
    )


def keep_search_text(*, design: Design) -> Design:
    """Write the text anew when it is no longer what the design and its offers say; the caller holds the transaction."""
    numbers = design.offers.exclude(suppliers_number="").order_by("pk").values_list("suppliers_number", flat=True)
    text = text_to_search(design=design, suppliers_numbers=numbers)
    if text != design.search_text:
        design.search_text = text
        Design.objects.filter(pk=design.pk).update(search_text=text)
    return design
