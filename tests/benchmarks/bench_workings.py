"""Every working over the API against an empty view behind the same sign-in, and sweeps against one answer.

Run by hand from the project's folder: python -m tests.benchmarks.bench_workings
It makes a database of its own in a temporary folder; both sides run in the same process; figures are milliseconds.
"""

import os
import statistics
import sys
import tempfile
from collections.abc import Mapping
from functools import partial
from typing import Any

from tests.benchmarks.bench_board import measured, percentile

SWEPT = {"milling": ("axial_depth", 1, 15), "chamfer-edge": ("contact_low", 0.2, 3), "economics": ("edge_cost", 2, 40)}
LOAD = {"axial_depth": 8, "radial_depth": 2, "kc11": 2800, "mc": 0.25, "length_of_cut": 300}


def main() -> None:
    """Print one line per working, then the sweeps."""
    os.environ["EDGETALLY_DATA"] = tempfile.mkdtemp(prefix="edgetally-bench-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    import django

    django.setup()
    from django.core.management import call_command
    from django.http import HttpRequest, HttpResponse
    from django.urls import path
    from rest_framework.response import Response
    from rest_framework.test import APIClient
    from rest_framework.views import APIView

    import config.urls
    from calc.workings import all_workings, get
    from tests.shop import Shop

    class Empty(APIView):
        def post(self, request: HttpRequest) -> HttpResponse:
            return Response({})

    config.urls.urlpatterns.insert(0, path("empty/", Empty.as_view()))
    call_command("migrate", verbosity=0)
    client = APIClient()
    client.force_authenticate(Shop().setter)

    def asking(at: str, body: Mapping[str, Any]) -> list[float]:
        return measured(partial(client.post, at, body, format="json"))

    empty = asking("/empty/", {})
    base = percentile(empty, 0.95)
    sys.stdout.write(f"an empty view: median {statistics.median(empty):.2f}, p95 {base:.2f}\n")
    sys.stdout.write("working                   median      p95   p95 beyond the empty view\n")
    for working in all_workings():
        asked = working.example | (LOAD if working.name == "milling" else {})
        took = asking(f"/api/v1/workings/{working.name}/", asked)
        p95 = percentile(took, 0.95)
        sys.stdout.write(f"{working.name:22s} {statistics.median(took):9.2f} {p95:8.2f} {p95 - base:8.2f}\n")
    sys.stdout.write("sweep of 100 points       median      p95   median against one answer\n")
    for name, (over, start, stop) in SWEPT.items():
        inputs = get(name).example | (LOAD if name == "milling" else {})
        at, body = f"/api/v1/workings/{name}/", {"inputs": inputs, "over": over, "from": start, "to": stop}
        one, took = statistics.median(asking(at, inputs)), asking(f"{at}sweep/", body)
        median = statistics.median(took)
        sys.stdout.write(f"{name:22s} {median:9.2f} {percentile(took, 0.95):8.2f} {median / one:8.1f}\n")


if __name__ == "__main__":
    main()
