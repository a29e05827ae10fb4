"""The Edges board with 500 edges in use against an empty view behind the same sign-in and middleware.

Run by hand from the project's folder: python -m tests.benchmarks.bench_board
It makes a database of its own in a temporary folder; both sides run in the same process; figures are milliseconds.
"""

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from typing import Any

EDGES, ROUNDS = 500, 200


def percentile(values: list[float], share: float) -> float:
    """Nearest-rank percentile."""
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


def measured(ask: Callable[[], Any]) -> list[float]:
    """Milliseconds of each round, after a few to warm up."""
    for _ in range(5):
        ask()
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        ask()
        took.append(1e3 * (time.perf_counter() - began))
    return took


def main() -> None:
    """Fill the shop, then print one line per page."""
    os.environ["EDGETALLY_DATA"] = tempfile.mkdtemp(prefix="edgetally-bench-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    import django

    django.setup()
    from django.core.management import call_command
    from django.http import HttpResponse
    from django.test import Client
    from django.urls import path

    import config.urls
    from crib.life import services
    from crib.web.views import life
    from tests.life.lives import WORN, Past, add_edges
    from tests.shop import Shop

    config.urls.urlpatterns.insert(0, path("empty/", lambda request: HttpResponse("")))
    call_command("migrate", verbosity=0)
    shop = Shop()
    add_edges(shop, WORN)
    services.refit_all()
    add_edges(shop, [Past(1 + number % 40) for number in range(EDGES)])
    began = time.perf_counter()
    services.refresh_all_due()
    forecasts = time.perf_counter() - began
    client = Client()
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")

    def anew() -> None:
        life._boards.clear()
        client.get("/edges/")

    empty = measured(lambda: client.get("/empty/"))
    pages = {"the board, as kept": lambda: client.get("/edges/"), "the board, drawn anew": anew}
    sys.stdout.write(f"{EDGES} edges in use; {EDGES} forecasts computed in {forecasts:.2f} s; {ROUNDS} rounds each\n")
    sys.stdout.write("page                       median      p95   p95 against the empty view\n")
    for name, took in {"an empty view": empty, **{name: measured(ask) for name, ask in pages.items()}}.items():
        ratio = percentile(took, 0.95) / percentile(empty, 0.95)
        sys.stdout.write(f"{name:24s} {statistics.median(took):8.2f} {percentile(took, 0.95):8.2f} {ratio:8.1f}\n")


if __name__ == "__main__":
    main()
