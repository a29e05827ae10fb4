from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from crib.catalogue.models import Design, Job, Machine, WorkMaterial
from crib.stock.labels import make_label
from crib.stock.models import Item


class KindOfCut(models.TextChoices):
    MILLING = "milling", "Milling"
    CHAMFERING = "chamfering", "Chamfering"
    DRILLING = "drilling", "Drilling"
    TAPPING = "tapping", "Tapping"
    TURNING = "turning", "Turning"
    FACING = "facing", "Facing"


class Operation(models.Model):
    """One step of a job on one machine, with the duty that it asks of an edge.

    The duty is the material, the kind of cut and the conditions: speeds in m/min, feeds in mm per tooth (milling,
    chamfering) or per revolution, lengths in mm.
    """

    class MinutesSource(models.TextChoices):
        COMPUTED = "computed", "Computed"
        TYPED = "typed", "Typed"
        LEARNT = "learnt", "Learnt from runs"
        MISSING = "missing", "Not known yet"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="operations")
    number = models.PositiveSmallIntegerField(help_text="10, 20, 30 … in the order of work")
    name = models.CharField(max_length=80)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="operations")
    tip = models.ForeignKey(
        Design, on_delete=models.PROTECT, related_name="tip_operations", help_text="the design that cuts"
    )
    body = models.ForeignKey(Design, null=True, blank=True, on_delete=models.PROTECT, related_name="body_operations")
    material = models.ForeignKey(WorkMaterial, on_delete=models.PROTECT, related_name="operations")
    kind_of_cut = models.CharField(max_length=12, choices=KindOfCut.choices)

    surface_speed = models.FloatField("surface speed vc", null=True, blank=True, help_text="m/min")
    feed = models.FloatField("feed fz or f", null=True, blank=True, help_text="mm per tooth, or per revolution")
    depth = models.FloatField("depth of cut ap", null=True, blank=True, help_text="mm")
    width = models.FloatField("width of cut ae", null=True, blank=True, help_text="mm")
    length_of_cut = models.FloatField(null=True, blank=True, help_text="mm for each pass or hole")
    passes = models.PositiveSmallIntegerField(default=1, help_text="passes or holes in each part")
    work_diameter = models.FloatField(null=True, blank=True, help_text="mm, of turned work; outside when facing")
    inner_diameter = models.FloatField(null=True, blank=True, help_text="mm, where facing ends; 0 is the centre")
    entries_per_part = models.PositiveIntegerField(
        null=True, blank=True, help_text="times the edge enters the metal in each part, where breakage goes by entries"
    )
    coolant = models.CharField(max_length=40, blank=True)
    contact_low = models.FloatField(
        null=True, blank=True, help_text="mm above the tip flat: where the band of the flute that cuts begins"
    )
    contact_high = models.FloatField(null=True, blank=True, help_text="mm above the tip flat: where it ends")

    minutes_per_part = models.FloatField(null=True, blank=True, help_text="minutes in cut for each part")
    minutes_source = models.CharField(max_length=8, choices=MinutesSource.choices, default=MinutesSource.MISSING)
    minutes_working = models.JSONField(
        default=dict, blank=True, help_text="the working's name and inputs behind the minutes"
    )
    cycle_minutes = models.FloatField(null=True, blank=True, help_text="clock minutes for each part, with loading")

    accepted_risk = models.FloatField(default=0.05, help_text="chance of a failure before the change that is accepted")
    cost_of_lost_part = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    chance_part_lost = models.FloatField(default=1.0, help_text="chance that a failing edge costs the part")
    change_minutes = models.FloatField(default=3.0, help_text="minutes to change the edge")
    wear_limit_mm = models.FloatField(
        default=0.3, db_default=0.3, help_text="wear land VB at which an edge counts as worn: the criterion"
    )
    fixed_count = models.PositiveIntegerField(
        null=True, blank=True, help_text="parts per edge that the shop changes at today"
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["job", "number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="one_operation_per_number"),
            models.CheckConstraint(
                condition=Q(accepted_risk__gt=0) & Q(accepted_risk__lt=1), name="operation_risk_share"
            ),
            models.CheckConstraint(
                condition=Q(minutes_per_part__isnull=True) | Q(minutes_per_part__gt=0),
                name="operation_minutes_positive",
            ),
            models.CheckConstraint(
                condition=Q(contact_low__isnull=True, contact_high__isnull=True)
                | Q(contact_low__gte=0, contact_high__gt=F("contact_low")),
                name="operation_contact_is_a_band",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}/{self.number}"


class Assembly(models.Model):
    """Holder and body with what is fitted in them, ready for a pocket. A solid tool has a holder and no body."""

    name = models.CharField(max_length=60)
    holder = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="held_assemblies")
    body = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="body_assemblies")
    gauge_length_mm = models.FloatField(null=True, blank=True)
    stick_out_mm = models.FloatField(null=True, blank=True)
    tightened_nm = models.FloatField(null=True, blank=True, help_text="torque that was applied, N·m")
    note = models.CharField(max_length=200, blank=True, default="", db_default="", help_text="such as its balance")
    built_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    built_at = models.DateTimeField(default=timezone.now)
    taken_apart_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-built_at"]
        verbose_name_plural = "assemblies"
        constraints = [
            models.UniqueConstraint(
                fields=["holder"], condition=Q(taken_apart_at__isnull=True), name="holder_in_one_assembly"
            ),
            models.UniqueConstraint(
                fields=["body"], condition=Q(taken_apart_at__isnull=True), name="body_in_one_assembly"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def label(self) -> str:
        """The text on the tool as a whole; its parts keep their own."""
        return make_label("A", self.pk)


class Fitting(models.Model):
    """An item fitted in an assembly, from one moment to another."""

    assembly = models.ForeignKey(Assembly, on_delete=models.PROTECT, related_name="fittings")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="fittings")
    fitted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    fitted_at = models.DateTimeField(default=timezone.now)
    removed_at = models.DateTimeField(null=True, blank=True)
    key = models.CharField(  # noqa: DJ001  # unique, and several have none
        max_length=120, unique=True, null=True, help_text="of the fitting: sent twice counts once"
    )
    removal_key = models.CharField(  # noqa: DJ001  # as above
        max_length=120, unique=True, null=True, help_text="of taking it out"
    )

    class Meta:
        ordering = ["-fitted_at"]
        constraints = [
            models.UniqueConstraint(fields=["item"], condition=Q(removed_at__isnull=True), name="item_fitted_once"),
            models.UniqueConstraint(
                fields=["assembly"], condition=Q(removed_at__isnull=True), name="assembly_holds_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.assembly}"


class PocketLoad(models.Model):
    """An assembly in a pocket of a machine, from one moment to another; never two at once."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="loads")
    pocket = models.PositiveSmallIntegerField()
    assembly = models.ForeignKey(Assembly, on_delete=models.PROTECT, related_name="loads")
    loaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    loaded_at = models.DateTimeField(default=timezone.now)
    unloaded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["machine", "pocket", "-loaded_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "pocket"], condition=Q(unloaded_at__isnull=True), name="one_load_per_pocket"
            ),
            models.UniqueConstraint(
                fields=["assembly"], condition=Q(unloaded_at__isnull=True), name="assembly_in_one_pocket"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} pocket {self.pocket}"


class Edge(models.Model):
    """One working edge of an item: a corner, or a band along its flute.

    `revision` counts everything that changes what is to be expected of the edge; a forecast remembers the revision
    it was computed at, so whatever is unequal is due.
    """

    class State(models.TextChoices):
        FRESH = "fresh", "Fresh"
        IN_USE = "in_use", "In use"
        ENDED = "ended", "Ended"

    class Outcome(models.TextChoices):
        WORN = "worn", "Worn"
        CHIPPED = "chipped", "Chipped"
        BROKEN = "broken", "Broken"
        TAKEN_OFF_EARLY = "taken_off_early", "Taken off early"
        END_OF_JOB = "end_of_job", "End of job"

    class Excuse(models.TextChoices):
        """Why an end says nothing of the tip."""

        CRASH = "crash", "Crash"
        WRONG_OFFSET = "wrong_offset", "Wrong offset"
        CLAMPING = "clamping", "Work or tool came loose"
        MATERIAL = "material", "Fault in the material"
        OTHER = "other", "Something else"

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="edges")
    number = models.PositiveSmallIntegerField()
    grind = models.PositiveSmallIntegerField(
        default=0, db_default=0, help_text="regrinds that the item had when this edge came to be"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.FRESH)
    operation = models.ForeignKey(
        Operation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="edges",
        help_text="what it works at now",
    )
    minutes = models.FloatField(default=0.0)
    parts = models.IntegerField(default=0)
    revision = models.PositiveBigIntegerField(default=1)
    put_in_at = models.DateTimeField(null=True, blank=True)
    last_run_ended_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=16, choices=Outcome.choices, blank=True)
    wear_land_mm = models.FloatField("wear land VB at the end", null=True, blank=True)
    end_note = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="ended_edges"
    )
    excuse = models.CharField(
        max_length=12, choices=Excuse.choices, blank=True, default="", db_default="",
        help_text="the end was not the tip's fault: lives learn nothing from it",
    )  # fmt: skip
    excuse_note = models.CharField(max_length=200, blank=True, default="", db_default="")
    excused_at = models.DateTimeField(null=True, blank=True)
    excused_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="excused_edges"
    )

    class Meta:
        ordering = ["item", "grind", "number"]
        constraints = [
            models.UniqueConstraint(fields=["item", "grind", "number"], name="one_edge_per_number_and_grind"),
            models.UniqueConstraint(fields=["item"], condition=Q(state="in_use"), name="one_edge_in_use_per_item"),
            models.CheckConstraint(
                condition=(Q(state="ended") & ~Q(outcome="")) | (~Q(state="ended") & Q(outcome="")),
                name="edge_outcome_when_ended",
            ),
        ]
        indexes = [models.Index(fields=["state", "item"]), models.Index(fields=["ended_at"])]

    def __str__(self) -> str:
        return f"{self.item} edge {self.number}"


class Run(models.Model):
    """A stretch of production logged. Rows are only ever added; a correction reverses."""

    class Source(models.TextChoices):
        TYPED = "typed", "Typed"
        FILE = "file", "File"
        FEED = "feed", "Machine feed"

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="runs")
    pocket = models.PositiveSmallIntegerField(null=True, blank=True)
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="runs")
    edge = models.ForeignKey(Edge, on_delete=models.PROTECT, related_name="runs")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    minutes = models.FloatField("minutes in cut", help_text="negative only on a run that reverses another")
    minutes_computed = models.BooleanField(default=False, help_text="from parts × minutes per part, not measured")
    parts = models.IntegerField(default=0)
    contact_low = models.FloatField(
        default=0.0, help_text="mm above the tip flat, as the operation had it; 0 and 0: no band"
    )
    contact_high = models.FloatField(default=0.0)
    source = models.CharField(max_length=6, choices=Source.choices)
    source_key = models.CharField(max_length=120)
    logged_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="runs")
    logged_at = models.DateTimeField(default=timezone.now)
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "source_key"], name="one_run_per_source_key"),
            models.CheckConstraint(condition=Q(ended_at__gte=F("started_at")), name="run_ends_after_it_starts"),
            models.CheckConstraint(
                condition=Q(reverses__isnull=False) | (Q(minutes__gte=0) & Q(parts__gte=0)),
                name="run_negative_only_reversing",
            ),
        ]
        indexes = [
            models.Index(fields=["machine", "pocket", "started_at"]),
            models.Index(fields=["edge", "started_at"]),
        ]

    def __str__(self) -> str:
        return f"{self.operation} {self.started_at:%Y-%m-%d %H:%M}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("A logged run is never changed; log a run that reverses it.")
        super().save(*args, **kwargs)


class EdgeMinutes(models.Model):
    """Running minutes and parts of an edge at one operation and band, kept in the transaction of each run."""

    edge = models.ForeignKey(Edge, on_delete=models.PROTECT, related_name="totals")
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="totals")
    minutes = models.FloatField(default=0.0)
    parts = models.IntegerField(default=0)
    contact_low = models.FloatField(default=0.0, help_text="mm above the tip flat; 0 and 0 where no band is known")
    contact_high = models.FloatField(default=0.0)
    clock_minutes = models.FloatField(default=0.0, help_text="from start to end of its runs: the pace of the job")
    first_started_at = models.DateTimeField(null=True)
    last_ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["edge", "operation", "contact_low", "contact_high"],
                name="one_total_per_edge_operation_and_band",
            )
        ]
        verbose_name_plural = "edge minutes"

    def __str__(self) -> str:
        return f"{self.edge} at {self.operation}: {self.minutes:.1f} min"


class Inspection(models.Model):
    """A look at a working edge: its wear land at so many minutes."""

    edge = models.ForeignKey(Edge, on_delete=models.PROTECT, related_name="inspections")
    at_minutes = models.FloatField()
    wear_land_mm = models.FloatField("wear land VB")
    looked_twice = models.BooleanField(
        default=False, db_default=False, help_text="the reading was questioned, and found right on a second look"
    )
    note = models.CharField(max_length=200, blank=True)
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["edge", "at_minutes"]
        constraints = [
            models.CheckConstraint(
                condition=Q(at_minutes__gte=0) & Q(wear_land_mm__gte=0), name="inspection_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.edge}: VB {self.wear_land_mm} mm at {self.at_minutes} min"
