"""What a supervisor or a monitor asks: is the process alive, can it serve, and how far behind is the work."""

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from crib.management.starting import tables_are_current

# Tables do not go back: once they were current, asking the database for an answer is enough.
_seen_current = False


@login_not_required
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@login_not_required
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """The database answers and its tables are up to date. The queue does not count: pages work without it."""
    try:
        trouble = _trouble()
    except DatabaseError:
        trouble = "cannot be reached"
    if trouble:
        return JsonResponse({"status": "not ready", "database": trouble}, status=503)
    return JsonResponse({"status": "ready", "database": "ok"})


@login_not_required
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Prometheus text."""
    from config.metrics import CONTENT_TYPE, prometheus_text

    return HttpResponse(prometheus_text(), content_type=CONTENT_TYPE)


def _trouble() -> str:
    global _seen_current
    if not _seen_current:
        if not tables_are_current():
            return "is not up to date; run: python3 manage.py migrate"
        _seen_current = True
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return ""
