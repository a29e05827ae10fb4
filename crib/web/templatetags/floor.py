"""What pages of the floor say of an edge; loaded with `{% load floor %}`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import template
from django.core.exceptions import ObjectDoesNotExist
from django.utils.safestring import SafeString

from crib.floor.models import Edge
from crib.life.selectors import BoardRow
from crib.web import charts, formats

register = template.Library()
# By how urgent an edge is on the board of all edges, so that no page says otherwise.
WORDS = {"bad": "Change now", "caution": "Change soon", "good": "Good", "info": "Run to the end"}


@dataclass(frozen=True, slots=True)
class EdgeOutlook:
    """What is expected of an edge, ready to be shown: nothing where there is no forecast yet."""

    known: bool
    tone: str = "plain"
    words: str = ""
    used: str = formats.NOTHING
    parts_left: str = formats.NOTHING
    parts_range: str = ""
    gauge: SafeString | str = ""
    change_by: Any = None
    advice: str = ""
    trouble: str = ""


@register.simple_tag
def outlook(edge: Edge | None) -> EdgeOutlook:
    """The forecast that the view asked for along with the edge; `{% outlook edge as life %}`."""
    forecast = _forecast_of(edge)
    if forecast is None:
        return EdgeOutlook(False, words="No forecast yet")
    if forecast.life_used is None:
        return EdgeOutlook(False, words=forecast.trouble or "No forecast yet", trouble=forecast.trouble)
    used = max(forecast.life_used, 0.0)
    row = BoardRow(forecast.edge, forecast, None, None)
    says = f"{formats.share(used)} of its life until the change is used"
    span = (forecast.parts_left_10, forecast.parts_left_90)
    return EdgeOutlook(
        known=True,
        tone=row.tone,
        words=WORDS[row.tone],
        used=formats.share(used),
        parts_left=formats.parts(forecast.parts_left_50),
        parts_range=f"{formats.parts(span[0])} to {formats.parts(span[1])}" if None not in span else "",
        gauge=charts.gauge(used, tone=row.tone, says=says),
        change_by=None if row.due_now else forecast.change_by_at,
        advice=forecast.advice,
    )


def _forecast_of(edge: Edge | None) -> Any:
    # A template hands over an empty text where the tool has no edge in it.
    if not edge:
        return None
    try:
        return edge.forecast
    except ObjectDoesNotExist:
        return None


@register.filter
def get(mapping: dict[Any, Any], key: Any) -> Any:
    """`refused|get:7`: a mapping's value under a key that the template has in hand."""
    return mapping.get(key, "")
