"""The API's addresses. Each slice's module has `register(router)`, and `paths` for what is no list of things."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec

from django.urls import URLPattern, URLResolver, path, re_path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.decorators import api_view
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from crib.api.docs import docs

SLICES = (
    "catalogue",
    "stock",
    "kits",
    "held",
    "search",
    "floor",
    "changing",
    "inspections",
    "life",
    "planning",
    "orders",
    "workings",
    "regrinding",
    "counts",
)


@api_view(["GET", "POST", "PUT", "PATCH", "DELETE"])
def unknown_address(request: Request, rest: str) -> Response:
    """Whatever lies under the API and leads nowhere is told so as a problem document."""
    raise NotFound()


router = SimpleRouter()
urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", docs, name="api_docs"),
]
for name in SLICES:
    if find_spec(f"crib.api.{name}") is not None:
        module = import_module(f"crib.api.{name}")
        if hasattr(module, "register"):
            module.register(router)
        urlpatterns += getattr(module, "paths", [])
urlpatterns += router.urls
urlpatterns += [re_path(r"^(?P<rest>.*)$", unknown_address)]
