"""Where each address leads."""

from django.urls import include, path

from config import health

urlpatterns = [
    path("healthz", health.healthz),
    path("readyz", health.readyz),
    path("metrics", health.metrics),
    path("api/v1/", include("crib.api.urls")),
    path("", include("crib.web.urls")),
]
