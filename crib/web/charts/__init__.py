"""Charts drawn on the server as SVG: escaped, coloured by CSS classes alone, each saying in words what it shows."""

from crib.web.charts.bars import share_bars
from crib.web.charts.log import log_scatter
from crib.web.charts.model import Mark, Point, Range, Series, Shade
from crib.web.charts.plots import bands, day_bars, lines, steps
from crib.web.charts.small import gauge, interval
from crib.web.charts.table import data_table
from crib.web.charts.wear import wear_plot

__all__ = [
    "Mark",
    "Point",
    "Range",
    "Series",
    "Shade",
    "bands",
    "data_table",
    "day_bars",
    "gauge",
    "interval",
    "lines",
    "log_scatter",
    "share_bars",
    "steps",
    "wear_plot",
]
