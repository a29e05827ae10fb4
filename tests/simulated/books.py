"""A simulated shop in the rows of the product, so that its services refit and forecast it."""

from __future__ import annotations

import numpy as np
from django.db import transaction

from crib.catalogue.services import create_job, create_material
from crib.core import clock
from crib.floor.models import Edge, EdgeMinutes, Operation
from crib.floor.services import create_operation
from crib.life.models import Forecast, LifePrior
from crib.stock.models import Condition
from crib.stock.services import make_item
from tests.shop import Shop
from tests.simulated.spindles import BROKE, OFF, WORN, Ended, Spindles
from tests.simulated.truth import DUTIES, Floats, Told, Whole

KINDS, ISO = ("milling", "turning"), ("P", "M", "S")
VC, FEED, DEPTH = 100.0, 0.1, 2.0
OUTCOMES = {WORN: Edge.Outcome.WORN, BROKE: Edge.Outcome.BROKEN, OFF: Edge.Outcome.TAKEN_OFF_EARLY}


class Books:
    """Designs, starting values and operations once; edges as they come and go."""

    def __init__(self, told: Told) -> None:
        self.told, self.shop = told, Shop()
        self.operations = [self._group(group) for group in range(told.groups)]
        self.in_use: dict[int, Edge] = {}
        self.written = 0

    def _group(self, group: int) -> list[Operation]:
        told, family = self.told, int(self.told.family[group])
        tree = int(told.iso[family])
        material = create_material(
            name=f"Metal {group}", iso_group=ISO[tree // 2 % 3], kc11=2000.0, mc=0.25, who=self.shop.lead
        )
        design = self.shop.design(f"SIM-{group}", family=f"family {family}")
        life, speed, feed, depth, shape = (float(figure) for figure in told.mean[group])
        LifePrior.objects.create(
            design=design, material=material, kind_of_cut=KINDS[tree % 2], life_minutes=np.exp(life),
            surface_speed=VC, feed=FEED, depth=DEPTH, speed_exponent=-speed, feed_exponent=-feed,
            depth_exponent=-depth, life_spread=told.spread[group, 0], exponent_spread=told.spread[group, 1],
            shape=np.exp(shape), shape_spread=told.spread[group, 4], breakage_per_minute=0.001,
            breakage_weight_minutes=500.0, source="simulated",
        )  # fmt: skip
        job = create_job(code=f"SIM-{group}", part=f"Part {group}", quantity=10_000, who=self.shop.lead)
        conditions = np.array([VC, FEED, DEPTH]) * np.exp(told.duty[group, :, 1:])
        return [
            create_operation(
                job=job, number=10 * (duty + 1), name=f"Duty {duty}", machine=self.shop.machine, tip=design,
                material=material, kind_of_cut=KINDS[tree % 2], surface_speed=float(conditions[duty, 0]),
                feed=float(conditions[duty, 1]), depth=float(conditions[duty, 2]),
                minutes_per_part=float(told.minutes_per_part[group, duty]), who=self.shop.engineer,
            )
            for duty in range(DUTIES)
        ]  # fmt: skip

    @transaction.atomic
    def write(self, spindles: Spindles) -> int:
        """Edges that ended since the last time, then those in use; answers how many there are by now."""
        for ended in spindles.ended[self.written :]:
            self._edges(ended, in_use=False)
        self.written = len(spindles.ended)
        rows = np.flatnonzero(spindles.age > 0)
        self._edges(Ended(rows, np.full(rows.size, OFF), spindles.cut[rows], spindles.duty[rows]), in_use=True)
        return Edge.objects.filter(minutes__gt=0).count()

    def _edges(self, edges: Ended, *, in_use: bool) -> None:
        for group, end, cut, last in zip(edges.group, edges.end, edges.cut, edges.last, strict=True):
            edge = self.in_use.pop(int(group), None) or self._fresh(int(group))
            edge.operation, edge.minutes = self.operations[group][last], float(cut.sum())
            edge.last_run_ended_at, edge.revision = clock.now(), edge.revision + 1
            self._totals(edge, int(group), cut, int(last))
            if in_use:
                self.in_use[int(group)] = edge
            else:
                edge.state, edge.outcome = Edge.State.ENDED, OUTCOMES[int(end)]
                edge.ended_at, edge.ended_by = clock.now(), self.shop.setter
            edge.save()

    def _fresh(self, group: int) -> Edge:
        operation = self.operations[group][0]
        self.shop.stock(operation.tip, 1)
        item = make_item(design=operation.tip, condition=Condition.NEW, place=self.shop.bin, who=self.shop.attendant)
        values = {"state": Edge.State.IN_USE, "operation": operation, "put_in_at": clock.now()}
        return Edge.objects.update_or_create(item=item, number=1, defaults=values)[0]

    def _totals(self, edge: Edge, group: int, cut: Floats, last: int) -> None:
        # The duty worked at last is written last: rows of an edge are read in the order of their ends.
        for duty in sorted(np.flatnonzero((cut > 0) | (np.arange(DUTIES) == last)), key=lambda one: one == last):
            values = {"minutes": float(cut[duty]), "last_ended_at": clock.now(), "first_started_at": edge.put_in_at}
            EdgeMinutes.objects.update_or_create(edge=edge, operation=self.operations[group][duty], defaults=values)

    def said(self) -> tuple[Whole, Floats, Floats]:
        """Groups of the edges in use, and the range of minutes left that the board shows of each."""
        by_edge = {edge.pk: group for group, edge in self.in_use.items()}
        rows = Forecast.objects.filter(edge__in=by_edge, trouble="").values_list(
            "edge", "minutes_left_10", "minutes_left_90"
        )
        found = sorted((by_edge[edge], low, high) for edge, low, high in rows)
        return (
            np.array([row[0] for row in found], dtype=np.int64),
            np.array([row[1] for row in found]),
            np.array([row[2] for row in found]),
        )
