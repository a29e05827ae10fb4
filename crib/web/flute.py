"""The bands of a chamfer mill's flute on a page: how worn each is, and the way to the least worn one."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.safestring import SafeString

from crib.floor.flute import band_of, cone_of, is_chamfer_mill
from crib.floor.models import KindOfCut, Operation
from crib.life.selectors import WornBand, worn_bands
from crib.stock.models import Item
from crib.web import charts, formats

NEAR = 0.8


@dataclass(frozen=True, slots=True)
class ShownBand:
    """A worn band with its gauge drawn."""

    band: WornBand
    gauge: SafeString | None


@dataclass(frozen=True, slots=True)
class FluteShown:
    """The worn bands of an item's flute, and the address of the working that finds the least worn one."""

    rows: list[ShownBand]
    find: str


def flute_of(item: Item, operation: Operation | None = None) -> FluteShown | None:
    """For a chamfer mill; None for anything that has no conical flute."""
    if not is_chamfer_mill(item.design):
        return None
    asked = {"item": item.label}
    if width := _width(operation):
        asked["chamfer_width"] = f"{width:.6g} mm"
    rows = [ShownBand(band, _gauge(band.share)) for band in worn_bands(item)]
    return FluteShown(rows, f"{reverse('crib:working', args=['chamfer-edge'])}?{urlencode(asked)}")


def _width(operation: Operation | None) -> float | None:
    """Of the operation's chamfer along the face, in mm: from its band and the cone, else as it was said."""
    if operation is None or operation.kind_of_cut != KindOfCut.CHAMFERING:
        return None
    band, cone = band_of(operation), cone_of(operation.tip)
    return (band[1] - band[0]) * float(cone.slope) if band and cone else operation.width


def _gauge(share: float | None) -> SafeString | None:
    if share is None:
        return None
    tone = "bad" if share >= 1 else "caution" if share >= NEAR else "good"
    return charts.gauge(share, tone=tone, says=f"{formats.share(share)} of the life of this band is used")
