"""Life models, forecasts and their scores."""

from __future__ import annotations

from typing import ClassVar

from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.viewsets import ReadOnlyModelViewSet

from crib.api.base import ShopView, needs
from crib.api.idempotency import signed_in
from crib.floor.models import Edge
from crib.life import services
from crib.life.models import Forecast, ForecastScore, LifeModel


class LifeModelSerializer(serializers.ModelSerializer[LifeModel]):
    design = serializers.CharField(source="design.code")
    material = serializers.CharField(source="material.name")
    reference = serializers.SerializerMethodField(help_text="the duty at which ln_scale is meant: m/min, mm, mm")
    parameters = serializers.SerializerMethodField(help_text="ln minutes, exponents of the duty, ln shape")

    class Meta:
        model = LifeModel
        fields = [
            "id", "design", "material", "kind_of_cut", "standing", "reason", "prior_source", "parameters", "reference",
            "covariance", "ended", "broken", "censored", "version", "fitted_at",
        ]  # fmt: skip

    def get_reference(self, model: LifeModel) -> dict[str, float]:
        return dict(model.parameters.get("reference", {}))

    def get_parameters(self, model: LifeModel) -> dict[str, float]:
        kept = model.parameters
        return {name: value for name, value in kept.items() if isinstance(value, float)} | {
            "breaks_per_minute": kept["breakage"]["breaks"] / max(kept["breakage"]["minutes"], 1.0)
        }


class ForecastSerializer(serializers.ModelSerializer[Forecast]):
    """What is expected of one edge in use; also the forecast part of `edges`."""

    edge = serializers.IntegerField(source="edge_id")
    model = serializers.IntegerField(source="model_id", allow_null=True)
    behind = serializers.SerializerMethodField(help_text="a newer run waits for its forecast")
    minutes_left = serializers.SerializerMethodField(help_text="10 is the value nine in ten edges outlast")
    parts_left = serializers.SerializerMethodField(help_text="whole parts; 10 is what nine in ten edges reach")

    class Meta:
        model = Forecast
        fields = [
            "edge", "model", "model_version", "minutes_used", "life_used", "minutes_left", "parts_left",
            "change_by_minutes", "change_by_parts", "change_by_at", "batch_parts_left", "chance_of_batch", "advice",
            "evidence", "trouble", "stale", "behind", "edge_revision", "computed_at",
        ]  # fmt: skip

    def get_behind(self, forecast: Forecast) -> bool:
        return forecast.stale or forecast.edge_revision != forecast.edge.revision

    def get_minutes_left(self, forecast: Forecast) -> dict[str, float] | None:
        return _by_percent(forecast.minutes_left_10, forecast.minutes_left_50, forecast.minutes_left_90)

    def get_parts_left(self, forecast: Forecast) -> dict[str, float] | None:
        return _by_percent(forecast.parts_left_10, forecast.parts_left_50, forecast.parts_left_90)


def _by_percent(low: float | None, middle: float | None, high: float | None) -> dict[str, float] | None:
    if low is None or middle is None or high is None:
        return None
    return {"10": low, "50": middle, "90": high}


class ScoreSerializer(serializers.ModelSerializer[ForecastScore]):
    edge = serializers.IntegerField(source="edge_id")
    model = serializers.IntegerField(source="model_id", allow_null=True)

    class Meta:
        model = ForecastScore
        fields = [
            "id", "edge", "model", "model_version", "point", "kept_at", "minutes_then", "minutes_left_10",
            "minutes_left_50", "minutes_left_90", "scored_at", "minutes_really_left", "censored", "pinball_10",
            "pinball_50", "pinball_90", "covered",
        ]  # fmt: skip


class LifeModelView(ShopView, ReadOnlyModelViewSet[LifeModel]):
    """What the shop has learnt of each design in each material at each kind of cut."""

    serializer_class = LifeModelSerializer
    queryset = LifeModel.objects.select_related("design", "material").order_by("pk")
    filter_fields: ClassVar[dict[str, str]] = {
        "design": "design__code", "material": "material__name", "kind_of_cut": "kind_of_cut", "standing": "standing",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"design": "design__code", "fitted_at": "fitted_at", "ended": "ended"}

    @extend_schema(
        request=None,
        responses={202: inline_serializer("RefitAsked", {"detail": serializers.CharField()})},
    )
    @action(detail=False, methods=["post"], permission_classes=[IsAuthenticated, needs("keep_life")])
    def refit(self, request: Request) -> Response:
        """Have the worker learn from the edges that ended since the last refit."""
        services.ask_for_refit(who=signed_in(request))
        return Response({"detail": "The worker refits the life models now."}, status=status.HTTP_202_ACCEPTED)


class ForecastView(ShopView, ReadOnlyModelViewSet[Forecast]):
    """What is expected of each edge in use."""

    serializer_class = ForecastSerializer
    queryset = Forecast.objects.filter(edge__state=Edge.State.IN_USE).select_related("edge").order_by("pk")
    filter_fields: ClassVar[dict[str, str]] = {
        "edge": "edge", "model": "model", "machine": "operation__machine__code", "stale": "stale",
        "design": "edge__item__design__code",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {
        "life_used": "life_used", "change_by_at": "change_by_at", "change_by_parts": "change_by_parts",
    }  # fmt: skip


class ScoreView(ShopView, ReadOnlyModelViewSet[ForecastScore]):
    """Forecasts kept at fixed points of a life, and how they held when the edge had ended."""

    serializer_class = ScoreSerializer
    queryset = ForecastScore.objects.order_by("pk")
    filter_fields: ClassVar[dict[str, str]] = {
        "edge": "edge", "model": "model", "point": "point", "covered": "covered", "censored": "censored",
        "waiting": "scored_at__isnull",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"kept_at": "kept_at", "scored_at": "scored_at"}


def register(router: SimpleRouter) -> None:
    router.register("life-models", LifeModelView, basename="life-model")
    router.register("forecasts", ForecastView, basename="forecast")
    router.register("scores", ScoreView, basename="score")
