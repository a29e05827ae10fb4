"""Life models, forecasts and their scores."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.viewsets import ReadOnlyModelViewSet

from crib.api.accuracy import AccuracySerializer
from crib.api.base import ShopView, needs
from crib.api.idempotency import signed_in
from crib.api.part_used import PartUsed
from crib.floor.models import Edge
from crib.life import selectors, services
from crib.life.laws import law_of
from crib.life.models import Forecast, ForecastScore, LifeModel
from crib.life.selectors import accuracy


class LifeModelSerializer(serializers.ModelSerializer[LifeModel]):
    design = serializers.CharField(source="design.code")
    material = serializers.CharField(source="material.name")
    reference = serializers.SerializerMethodField(help_text="the duty at which ln_scale is meant: m/min, mm, mm")
    parameters = serializers.SerializerMethodField(help_text="ln minutes, exponents of the duty, ln shape")
    pooled = serializers.SerializerMethodField(
        help_text="shares of weight of own edges, relatives and starting value, and the worn edges of the relatives"
    )
    drift = serializers.SerializerMethodField(help_text="evidence that lives fall or rise; null: none")
    learns_since = serializers.SerializerMethodField(help_text="edges put in before are left out; null: none")

    class Meta:
        model = LifeModel
        fields = [
            "id", "design", "material", "kind_of_cut", "reground", "standing", "reason", "prior_source", "parameters",
            "reference", "covariance", "pooled", "ended", "broken", "censored", "drift", "learns_since", "version",
            "fitted_at",
        ]  # fmt: skip

    def get_reference(self, model: LifeModel) -> dict[str, float]:
        return dict(model.parameters.get("reference", {}))

    def get_drift(self, model: LifeModel) -> dict[str, Any] | None:
        found = selectors.drift_of(model)
        return None if found is None else asdict(found)

    def get_learns_since(self, model: LifeModel) -> str | None:
        since: str | None = model.drift.get("learn_since")
        return since

    def get_parameters(self, model: LifeModel) -> dict[str, float]:
        kept, law = model.parameters, law_of(model)
        said = {name: value for name, value in kept.items() if isinstance(value, float)}
        said["breaks_per_minute"] = law.breaks / max(law.break_minutes, 1.0)
        return said | ({"breaks_per_entry": law.breaks / law.break_entries} if law.breaks_by_entry else {})

    def get_pooled(self, model: LifeModel) -> dict[str, Any]:
        """Empty while nothing was fitted; what stood before the own edges is for pages alone."""
        return {name: value for name, value in model.parameters.get("pooled", {}).items() if name != "before"}


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
            "wear_readings", "evidence", "trouble", "stale", "behind", "edge_revision", "computed_at",
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
            "pinball_50", "pinball_90", "covered", "quantiles", "fixed_count_left", "mean_life_left", "last_life_left",
            "crps", "fixed_count_crps", "mean_life_crps", "last_life_crps",
        ]  # fmt: skip


class LotSerializer(serializers.Serializer[Any]):
    """How one lot lived beside the others, at the model's reference duty; each range holds eight times in ten."""

    lot = serializers.CharField(help_text="empty: nobody wrote it down")
    first_put_in_at = serializers.DateTimeField()
    edges = serializers.IntegerField()
    ended = serializers.IntegerField()
    factor = serializers.FloatField(help_text="on life; 1 is as all lots together")
    factor_low = serializers.FloatField()
    factor_high = serializers.FloatField()
    life = serializers.FloatField(help_text="minutes that half its edges outlast")
    low = serializers.FloatField()
    high = serializers.FloatField()
    worse = serializers.FloatField(allow_null=True, help_text="chance that it lasts less than the other lots")
    stands_out = serializers.BooleanField(help_text="worse beyond doubt, allowing for how many lots there are")


class LifeModelView(ShopView, ReadOnlyModelViewSet[LifeModel]):
    """What the shop has learnt of each design in each material at each kind of cut."""

    serializer_class = LifeModelSerializer
    queryset = LifeModel.objects.select_related("design", "material").order_by("pk")
    filter_fields: ClassVar[dict[str, str]] = {
        "design": "design__code", "material": "material__name", "kind_of_cut": "kind_of_cut", "reground": "reground",
        "standing": "standing",
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

    @extend_schema(responses=LotSerializer(many=True), filters=False)
    @action(detail=True, pagination_class=None, filter_backends=[])
    def lots(self, request: Request, pk: str) -> Response:
        """The lots behind a model, in the order they came in use."""
        return Response(LotSerializer(selectors.lots_of(model=self.get_object()), many=True).data)


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

    @extend_schema(responses=AccuracySerializer, filters=False)
    @action(detail=False, methods=["get"], pagination_class=None, filter_backends=[])
    def summary(self, request: Request) -> Response:
        """How right the forecasts were, beside naive rivals: overall, by group, by point of life and by month."""
        return Response(AccuracySerializer(accuracy()).data)


def register(router: SimpleRouter) -> None:
    router.register("life-models", LifeModelView, basename="life-model")
    router.register("forecasts", ForecastView, basename="forecast")
    router.register("scores", ScoreView, basename="score")
    router.register("part-used", PartUsed, basename="part-used")
