from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from crib.catalogue.models import Design, Offer, Supplier
from crib.floor.models import Operation
from crib.stock.models import Move, Place

MONTH = RegexValidator(r"\A\d{4}-(0[1-9]|1[0-2])\Z", "A month is written as 2026-12.")


class ProductionPlan(models.Model):
    """What the shop means to make in one month. `revision` counts its changes; `computed_revision` lags behind it."""

    month = models.CharField(max_length=7, unique=True, validators=[MONTH])
    revision = models.PositiveIntegerField(default=1)
    computed_revision = models.PositiveIntegerField(default=0)
    computed_at = models.DateTimeField(null=True)
    trouble = models.JSONField(default=list, help_text="what could not be worked out, in sentences")
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-month"]

    def __str__(self) -> str:
        return self.month


class PlanLine(models.Model):
    """Parts of one operation to be made between two days, both included."""

    plan = models.ForeignKey(ProductionPlan, on_delete=models.CASCADE, related_name="lines")
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="plan_lines")
    parts = models.PositiveIntegerField()
    starts_on = models.DateField()
    ends_on = models.DateField()

    class Meta:
        ordering = ["plan", "starts_on", "operation"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="plan_line_ends_after_it_starts"),
        ]

    def __str__(self) -> str:
        return f"{self.parts} of {self.operation}"


class DesignDemand(models.Model):
    """Tips of one design that a plan needs, day by day: the mean of each day and the quantiles of the running sum."""

    plan = models.ForeignKey(ProductionPlan, on_delete=models.CASCADE, related_name="demands")
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="demands")
    first_day = models.DateField()
    daily_mean = models.JSONField(default=list)
    running_quantiles = models.JSONField(default=dict, help_text='lists by day under "10", "50", "90" and "95"')
    mean = models.FloatField()
    quantile_10 = models.FloatField()
    quantile_50 = models.FloatField()
    quantile_90 = models.FloatField()
    quantile_95 = models.FloatField()
    evidence = models.JSONField(default=dict, help_text="the operations, parts, minutes and lives behind the number")
    shortage_day_50 = models.DateField(null=True)
    shortage_day_95 = models.DateField(null=True)
    projection = models.JSONField(default=dict, help_text="stock by day: mean, low and high, with arrivals")
    stock_revision = models.PositiveBigIntegerField(default=0, help_text="of the design's pulse when it was projected")

    class Meta:
        ordering = ["plan", "design"]
        constraints = [models.UniqueConstraint(fields=["plan", "design"], name="one_demand_per_design_and_plan")]

    def __str__(self) -> str:
        return f"{self.design} in {self.plan}: {self.mean:.1f}"


class Flag(models.Model):
    """A warning that the worker raises and clears: at most one open for each design and kind."""

    class Kind(models.TextChoices):
        WILL_RUN_SHORT = "will_run_short", "Will run short"
        BELOW_REORDER_POINT = "below_reorder_point", "Below the reorder point"
        LIVES_FALL = "lives_fall", "Lives are falling"

    # What an order mends, or makes quiet.
    OF_STOCK = (Kind.WILL_RUN_SHORT, Kind.BELOW_REORDER_POINT)

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="flags")
    kind = models.CharField(max_length=24, choices=Kind.choices)
    raised_at = models.DateTimeField(default=timezone.now)
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_because = models.CharField(max_length=200, blank=True)
    short_on = models.DateField(null=True, blank=True)
    says = models.CharField(max_length=300)
    evidence = models.JSONField(default=dict)
    covered = models.BooleanField(default=False, help_text="an order on its way covers it, so it keeps quiet")

    class Meta:
        ordering = ["cleared_at", "short_on", "design"]
        constraints = [
            models.UniqueConstraint(
                fields=["design", "kind"],
                condition=Q(cleared_at__isnull=True),
                name="one_open_flag_per_design_and_kind",
            )
        ]

    def __str__(self) -> str:
        return f"{self.design}: {self.get_kind_display().lower()}"


class FlagCheck(models.Model):
    """The revision of a design's stock at which its flags were last checked; a lower one is due again."""

    design = models.OneToOneField(Design, primary_key=True, on_delete=models.CASCADE, related_name="flag_check")
    revision = models.PositiveBigIntegerField(default=0)
    checked_on = models.DateField(null=True)

    def __str__(self) -> str:
        return f"{self.design} {self.revision}"


class Budget(models.Model):
    month = models.CharField(max_length=7, unique=True, validators=[MONTH])
    amount = models.DecimalField(max_digits=14, decimal_places=2)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(amount__gte=0), name="budget_not_negative")]

    def __str__(self) -> str:
        return f"{self.month}: {self.amount}"


class Suggestion(models.Model):
    """What to buy for a design, with the reasons; it becomes a line of an order or lapses."""

    class State(models.TextChoices):
        OPEN = "open", "Open"
        ORDERED = "ordered", "Ordered"
        LAPSED = "lapsed", "No longer needed"

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="suggestions")
    flag = models.ForeignKey(Flag, null=True, on_delete=models.SET_NULL, related_name="suggestions")
    offer = models.ForeignKey(Offer, null=True, on_delete=models.PROTECT, related_name="suggestions")
    quantity = models.PositiveIntegerField()
    unit_price = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    order_by = models.DateField(null=True)
    for_month = models.CharField(max_length=7, blank=True, help_text="the month whose need it serves")
    says = models.CharField(max_length=300)
    reasons = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    made_at = models.DateTimeField(default=timezone.now)
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["state", "order_by", "design"]
        constraints = [
            models.UniqueConstraint(fields=["design"], condition=Q(state="open"), name="one_open_suggestion_per_design")
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.design}"


class PurchaseOrder(models.Model):
    class State(models.TextChoices):
        OPEN = "open", "Ordered"
        PART_RECEIVED = "part_received", "Part received"
        RECEIVED = "received", "Received"
        CANCELLED = "cancelled", "Cancelled"

    number = models.CharField(max_length=20, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=14, choices=State.choices, default=State.OPEN)
    ordered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, help_text="lines join an order until it is sent or goods come")
    expected_on = models.DateField(null=True, help_text="when the last of its lines should be here")

    class Meta:
        ordering = ["-ordered_at", "-id"]

    def __str__(self) -> str:
        return self.number


class OrderLine(models.Model):
    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="order_lines")
    suggestion = models.OneToOneField(Suggestion, null=True, on_delete=models.PROTECT, related_name="order_line")
    quantity = models.PositiveIntegerField()
    received = models.PositiveIntegerField(default=0)
    unit_price = models.DecimalField(max_digits=12, decimal_places=2)
    expected_on = models.DateField(null=True)
    for_month = models.CharField(max_length=7, blank=True, help_text="the month whose need and budget it serves")

    class Meta:
        ordering = ["order", "design"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="order_line_quantity_positive"),
            models.CheckConstraint(condition=Q(received__lte=F("quantity")), name="order_line_not_over_received"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.design}"

    @property
    def still_to_come(self) -> int:
        return self.quantity - self.received


class Receipt(models.Model):
    """Goods that came for an order line: it posts the moves that put them on the shelf."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="receipts")
    quantity = models.PositiveIntegerField()
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    move = models.OneToOneField(Move, on_delete=models.PROTECT, related_name="receipt")
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField(default=timezone.now)
    lot = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["-received_at"]
        constraints = [models.CheckConstraint(condition=Q(quantity__gt=0), name="receipt_quantity_positive")]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.line}"

    @property
    def taken_back(self) -> bool:
        """Whether the ledger holds a line that reverses its own."""
        return hasattr(self.move, "reversed_by")
