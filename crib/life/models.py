from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from crib.catalogue.models import Design, WorkMaterial
from crib.floor.models import Edge, KindOfCut, Operation


class LifePrior(models.Model):
    """A starting life, by the extended Taylor law, before the shop has ended edges of its own.

    The narrowest one that fits is used: the design's own, then its family's, then the material group's. Spreads
    are standard deviations on the logarithm, so 0.5 says "within a factor of about 1.6, two times out of three".
    """

    design = models.ForeignKey(Design, null=True, blank=True, on_delete=models.PROTECT, related_name="life_priors")
    family = models.CharField(max_length=60, blank=True)
    material = models.ForeignKey(
        WorkMaterial, null=True, blank=True, on_delete=models.PROTECT, related_name="life_priors"
    )
    iso_group = models.CharField(max_length=1, blank=True, choices=WorkMaterial.Group.choices)
    kind_of_cut = models.CharField(max_length=12, choices=KindOfCut.choices)

    life_minutes = models.FloatField(help_text="characteristic life in minutes in cut at the reference duty")
    surface_speed = models.FloatField(help_text="reference vc, m/min")
    feed = models.FloatField(help_text="reference fz or f, mm")
    depth = models.FloatField(help_text="reference ap, mm")
    speed_exponent = models.FloatField(default=4.0, help_text="a in ln T = c0 - a ln vc - b ln f - g ln ap")
    feed_exponent = models.FloatField(default=1.0)
    depth_exponent = models.FloatField(default=0.3)
    life_spread = models.FloatField(default=0.5)
    exponent_spread = models.FloatField(default=0.4)
    shape = models.FloatField(default=2.5, help_text="Weibull shape")
    shape_spread = models.FloatField(default=0.3)
    breakage_per_minute = models.FloatField(default=0.0)
    breakage_weight_minutes = models.FloatField(default=0.0, help_text="minutes of experience that figure stands for")
    source = models.CharField(max_length=160, default="assumed")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(life_minutes__gt=0)
                & Q(shape__gt=0)
                & Q(surface_speed__gt=0)
                & Q(feed__gt=0)
                & Q(depth__gt=0),
                name="life_prior_positive",
            ),
        ]

    def __str__(self) -> str:
        return (
            f"{self.design or self.family or self.iso_group or 'any'} {self.kind_of_cut}: {self.life_minutes:.0f} min"
        )


class LifeModel(models.Model):
    """What the shop has learnt of one design in one material at one kind of cut: the newest fit."""

    class Standing(models.TextChoices):
        FITTED = "fitted", "Fitted"
        PRIOR = "prior", "Starting value only"
        FALLBACK = "fallback", "Could not be fitted"

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="life_models")
    material = models.ForeignKey(WorkMaterial, on_delete=models.PROTECT, related_name="life_models")
    kind_of_cut = models.CharField(max_length=12, choices=KindOfCut.choices)
    reground = models.BooleanField(
        default=False, db_default=False, help_text="of edges after a regrind, which live otherwise than new ones"
    )
    standing = models.CharField(max_length=8, choices=Standing.choices, default=Standing.PRIOR)
    reason = models.CharField(max_length=200, blank=True, help_text="why it could not be fitted, in words")
    prior = models.ForeignKey(LifePrior, null=True, on_delete=models.SET_NULL, related_name="+")
    prior_source = models.CharField(max_length=160, default="assumed")
    parameters = models.JSONField(default=dict, help_text="names to values, with the reference duty")
    covariance = models.JSONField(default=list, help_text="rows, in the order of the parameters' names")
    drift = models.JSONField(
        default=dict, blank=True, help_text="evidence that lives fall or rise, as the last refit found it; empty: none"
    )
    wear = models.JSONField(
        default=dict, blank=True, help_text="how the wear land grows here, learnt from inspections; empty: as assumed"
    )
    ended = models.PositiveIntegerField(default=0)
    broken = models.PositiveIntegerField(default=0)
    censored = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)
    fitted_at = models.DateTimeField(default=timezone.now)
    data_mark = models.CharField(max_length=64, blank=True, help_text="fingerprint of the edges behind the fit")

    class Meta:
        ordering = ["design", "material", "kind_of_cut", "reground"]
        constraints = [
            models.UniqueConstraint(
                fields=["design", "material", "kind_of_cut", "reground"], name="one_life_model_per_group_and_grind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.design} in {self.material}, {self.cut_words.lower()}"

    @property
    def cut_words(self) -> str:
        """The kind of cut, and whether it is of edges after a regrind."""
        return f"{self.get_kind_of_cut_display()}{', reground' if self.reground else ''}"


class Forecast(models.Model):
    """What is expected of one edge in use. Due again when its revision differs from the edge's, or it is stale."""

    edge = models.OneToOneField(Edge, primary_key=True, on_delete=models.CASCADE, related_name="forecast")
    model = models.ForeignKey(LifeModel, null=True, on_delete=models.SET_NULL, related_name="forecasts")
    model_version = models.PositiveIntegerField(default=0)
    operation = models.ForeignKey(Operation, null=True, on_delete=models.SET_NULL, related_name="+")
    edge_revision = models.PositiveBigIntegerField(default=0)
    stale = models.BooleanField(default=False)
    minutes_used = models.FloatField(default=0.0)
    life_used = models.FloatField(null=True, help_text="cumulative exposure as a share of change-by")
    minutes_left_10 = models.FloatField(null=True)
    minutes_left_50 = models.FloatField(null=True)
    minutes_left_90 = models.FloatField(null=True)
    parts_left_10 = models.PositiveIntegerField(null=True)
    parts_left_50 = models.PositiveIntegerField(null=True)
    parts_left_90 = models.PositiveIntegerField(null=True)
    change_by_minutes = models.FloatField(null=True, help_text="minutes from now until it should come off")
    change_by_parts = models.PositiveIntegerField(null=True, help_text="whole parts from now until it should come off")
    change_by_at = models.DateTimeField(null=True)
    advice = models.CharField(max_length=200, blank=True)
    batch_parts_left = models.PositiveIntegerField(null=True)
    chance_of_batch = models.FloatField(null=True)
    wear_readings = models.PositiveSmallIntegerField(
        default=0, db_default=0, help_text="wear land readings that the forecast takes into account"
    )
    evidence = models.CharField(max_length=200, blank=True)
    trouble = models.CharField(max_length=200, blank=True, help_text="why there is no forecast, in words")
    computed_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["stale"]), models.Index(fields=["change_by_at"])]

    def __str__(self) -> str:
        return f"Forecast of {self.edge}"


# Percentiles of the minutes left that are kept of a forecast, to judge it by.
KEPT_PERCENT = tuple(range(5, 100, 5))


class ForecastScore(models.Model):
    """What was forecast at a fixed point of an edge's life, kept until the edge ends, then scored."""

    edge = models.ForeignKey(Edge, on_delete=models.CASCADE, related_name="scores")
    model = models.ForeignKey(LifeModel, null=True, on_delete=models.SET_NULL, related_name="scores")
    model_version = models.PositiveIntegerField(default=0)
    point = models.PositiveSmallIntegerField(help_text="per cent of life used when it was kept: 0, 25, 50 or 75")
    kept_at = models.DateTimeField(default=timezone.now)
    minutes_then = models.FloatField()
    minutes_left_10 = models.FloatField()
    minutes_left_50 = models.FloatField()
    minutes_left_90 = models.FloatField()
    quantiles = models.JSONField(
        default=list, blank=True, help_text="minutes left at 5, 10 … 95 %; empty where they were not kept"
    )
    fixed_count_left = models.FloatField(null=True, help_text="what the shop's fixed count said, minutes")
    mean_life_left = models.FloatField(null=True, help_text="what the mean of the ended lives said, minutes")
    last_life_left = models.FloatField(null=True, help_text="what the last ended life said, minutes")
    scored_at = models.DateTimeField(null=True)
    minutes_really_left = models.FloatField(null=True)
    censored = models.BooleanField(null=True)
    pinball_10 = models.FloatField(null=True)
    pinball_50 = models.FloatField(null=True)
    pinball_90 = models.FloatField(null=True)
    crps = models.FloatField(null=True, help_text="minutes; of an edge taken off, over the minutes it was watched")
    fixed_count_crps = models.FloatField(null=True)
    mean_life_crps = models.FloatField(null=True)
    last_life_crps = models.FloatField(null=True)
    covered = models.BooleanField(null=True, help_text="the end fell between the 10 and the 90 % value")
    position = models.FloatField(null=True, help_text="share of the forecast that lay before what came")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["edge", "point"], name="one_score_per_point")]
        indexes = [models.Index(fields=["scored_at"])]

    def __str__(self) -> str:
        return f"{self.edge} at {self.point} %"


class RefitMark(models.Model):
    """The worker's own notes, one row: when the last refit began and ended, so that a killed one is begun again."""

    refit_started_at = models.DateTimeField(null=True)
    refit_ended_at = models.DateTimeField(null=True)
    refit_asked_at = models.DateTimeField(null=True)
    refit_asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")

    def __str__(self) -> str:
        return f"Refit {self.refit_ended_at or 'never'}"
