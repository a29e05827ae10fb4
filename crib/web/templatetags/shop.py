"""Tags and filters of every template, loaded without `{% load %}`; their use stands in crib/web/README.md."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import template
from django.conf import settings
from django.forms import BoundField, CheckboxInput, CheckboxSelectMultiple, RadioSelect
from django.template import Context
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from crib.web import formats
from crib.web.icons import ICONS

register = template.Library()
TONES = ("good", "caution", "bad", "info", "plain")


@register.simple_tag
def icon(name: str) -> SafeString:
    drawing = mark_safe(ICONS[name])  # our own drawing, from a constant
    return format_html('<svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{}</svg>', drawing)


@register.simple_tag
def badge(tone: str, words: str) -> SafeString:
    if tone not in TONES:
        raise template.TemplateSyntaxError(f"{tone} is no tone; the tones are {', '.join(TONES)}")
    return format_html('<span class="badge tone-{}">{}</span>', tone, words)


@register.simple_tag(takes_context=True)
def amount(context: Context, value: float | None, unit: str) -> str:
    return formats.amount(value, unit, _system(context))


@register.simple_tag(takes_context=True)
def unit(context: Context, unit: str) -> str:
    return formats.unit_for(unit, _system(context))


def _system(context: Context) -> str:
    return str(context.get("units") or settings.UNITS)


@register.filter
def number(value: float | Decimal | None) -> str:
    return formats.number(value)


@register.filter
def minutes(value: float | None) -> str:
    return formats.minutes(value)


@register.filter
def parts(value: float | None) -> str:
    return formats.parts(value)


@register.filter
def parts_said(value: int | None) -> str:
    return formats.parts_said(value)


@register.filter
def mean_parts(value: float | None) -> str:
    return formats.mean_parts(value)


@register.filter
def share(value: float | None) -> str:
    return formats.share(value)


@register.filter
def money(value: Decimal | None, currency: str | None = None) -> str:
    return formats.money(value, currency or settings.CURRENCY)


@register.filter
def signed_share(value: float | None) -> str:
    """A difference as a share, with its sign."""
    return "–" if value is None else f"{value * 100:+.1f} %".replace("-", "−")


@register.filter
def document_page(document: str) -> str:
    """Where what a line of the ledger was posted for is shown: a dispatch, kit or import, or an order by its number."""
    pages = {"Dispatch ": "crib:dispatch", "Kit ": "crib:kit", "IMPORT-": "crib:sheet_import"}
    for begin, page in pages.items():
        number = document.removeprefix(begin)
        if document.startswith(begin) and number.isdigit():
            return reverse(page, args=[int(number)])
    return reverse("crib:order", args=[document])


@register.filter
def clock(moment: datetime | None) -> str:
    return _time(moment, formats.clock_time(moment))


@register.filter
def ago(moment: datetime | None) -> str:
    return _time(moment, formats.ago(moment))


@register.filter
def day(when: date | datetime | None) -> str:
    return _time(when, formats.day(when))


def _time(when: date | datetime | None, words: str) -> str:
    if when is None:
        return words
    whole = timezone.localtime(when) if isinstance(when, datetime) else when
    return format_html('<time datetime="{}">{}</time>', whole.isoformat(), words)


@register.filter
def label_text(text: str) -> SafeString:
    """A label's text in the face in which zero and O differ."""
    return format_html('<span class="code nowrap">{}</span>', text)


@register.inclusion_tag("crib/parts/field.html")
def field(bound: BoundField, unit: str = "", wide: bool = False, label: str = "", hint: str = "") -> dict[str, Any]:
    widget = bound.field.widget
    help_text = hint or str(bound.help_text or "")
    if help_text and not bound.help_text:
        # BoundField names the hint to screen readers only when it knows of one.
        bound.help_text = help_text
    return {
        "field": bound,
        "label": label or bound.label,
        "unit": unit or getattr(bound.field, "shown_unit", ""),
        "wide": wide,
        "hint": help_text,
        "check": isinstance(widget, CheckboxInput),
        "group": isinstance(widget, (RadioSelect, CheckboxSelectMultiple)),
        "describes": getattr(bound, "aria_describedby", None),
    }


@register.inclusion_tag("crib/parts/form_errors.html")
def form_errors(form: Any) -> dict[str, Any]:
    return {"form": form}


@register.inclusion_tag("crib/parts/figure.html")
def figure(label: str, number: Any, unit: str = "", range: str = "", tone: str = "", href: str = "") -> dict[str, Any]:
    return {"label": label, "number": number, "unit": unit, "range": range, "tone": tone, "href": href}


@register.inclusion_tag("crib/parts/pager.html", takes_context=True)
def pager(context: Context, page: Any, what: str = "lines") -> dict[str, Any]:
    return {"page": page, "what": what, "request": context.get("request")}
