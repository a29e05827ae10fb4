"""Charts drawn on the server as SVG: escaped, coloured by CSS classes alone, each saying in words what it shows."""

from crib.web.charts.model import Mark, Point, Series, Shade
from crib.web.charts.plots import bands, day_bars, lines, steps
from crib.web.charts.small import gauge, interval
from crib.web.charts.table import data_table

__all__ = ["Mark", "Point", "Series", "Shade", "bands", "data_table", "day_bars", "gauge", "interval", "lines", "steps"]
