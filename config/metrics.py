"""Figures for a monitor: how much work is due, how old the oldest message is, what needs a person."""

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError
from django.db.models import F
from django.utils import timezone
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from crib.floor.models import Edge
from crib.life.selectors.due import due_edges
from crib.planning.models import Flag, ProductionPlan

CONTENT_TYPE = CONTENT_TYPE_LATEST
QUEUE = "celery"


def prometheus_text() -> bytes:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(ShopFigures())
    return generate_latest(registry) + generate_latest(REGISTRY)


class ShopFigures(Collector):
    """Read anew for each question; a source that is away is shown as not reachable instead of failing the page."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        yield from self._part("database", _from_database)
        yield from self._part("queue", _from_queue)

    def _part(self, name: str, read: Callable[[], list[GaugeMetricFamily]]) -> Iterator[GaugeMetricFamily]:
        try:
            figures = read()
        except (DatabaseError, OSError):
            figures = []
        yield _gauge(f"edgetally_{name}_reachable", f"1 when the {name} answers", float(bool(figures)))
        yield from figures


def _from_database() -> list[GaugeMetricFamily]:
    in_use = Edge.objects.filter(state=Edge.State.IN_USE)
    return [
        _gauge("edgetally_edges_in_use", "Edges in use", in_use.count()),
        _gauge("edgetally_forecasts_due", "Edges in use whose forecast is missing or behind", due_edges().count()),
        _gauge(
            "edgetally_edges_past_change_by",
            "Edges in use whose change-by time has passed",
            in_use.filter(forecast__change_by_at__lt=timezone.now()).count(),
        ),
        _gauge(
            "edgetally_plans_due",
            "Production plans whose demand is behind",
            ProductionPlan.objects.exclude(computed_revision=F("revision")).count(),
        ),
        _gauge("edgetally_flags_open", "Flags raised and not cleared", Flag.objects.filter(cleared_at=None).count()),
    ]


def _from_queue() -> list[GaugeMetricFamily]:
    messages, asked_at = _redis_queue() if settings.REDIS_URL else _embedded_queue()
    figures = [_gauge("edgetally_queue_messages", "Wake-ups waiting for the worker", messages)]
    if asked_at is not None:
        age = max(0.0, time.time() - asked_at)
        figures.append(_gauge("edgetally_queue_oldest_seconds", "Age of the oldest waiting wake-up", age))
    return figures


def _embedded_queue() -> tuple[int, float | None]:
    times = []
    for message in Path(settings.QUEUE_DIR, "messages").glob("*.msg"):
        try:
            times.append(message.stat().st_mtime)
        except FileNotFoundError:
            continue  # taken by the worker in this moment
    return len(times), min(times, default=None)


def _redis_queue() -> tuple[int, float | None]:
    import redis

    with redis.Redis.from_url(settings.REDIS_URL, socket_timeout=0.5, socket_connect_timeout=0.5) as server:
        try:
            waiting = server.llen(QUEUE)
            oldest = server.lindex(QUEUE, -1)
        except redis.RedisError as away:
            raise ConnectionError from away
    if not isinstance(oldest, bytes):
        return int(str(waiting)), None
    asked_at = json.loads(oldest).get("headers", {}).get("asked_at")
    return int(str(waiting)), asked_at


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, says, value=value)
