from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from crib.catalogue.models import CODE, Design, Job, Machine, Supplier
from crib.core.columns import SqueezedText


class Condition(models.TextChoices):
    NEW = "new", "New"
    PART_USED = "part_used", "Part-used"
    REGROUND = "reground", "Reground"
    SPENT = "spent", "Spent"


class Place(models.Model):
    """Anywhere stock can be. Only suppliers, spent and count difference may hold less than nothing."""

    class Kind(models.TextChoices):
        SITE = "site", "Site"
        CRIB = "crib", "Crib"
        CABINET = "cabinet", "Cabinet"
        BIN = "bin", "Bin"
        PERSON = "person", "Person"
        MACHINE = "machine", "Machine"
        REGRIND = "regrind", "Regrind shop"
        SUPPLIER = "supplier", "Supplier"
        SPENT = "spent", "Spent"
        DIFFERENCE = "difference", "Count difference"

    OUTSIDE = (Kind.SUPPLIER, Kind.SPENT, Kind.DIFFERENCE)
    ON_HAND = (Kind.SITE, Kind.CRIB, Kind.CABINET, Kind.BIN)

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="children")
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="place"
    )
    machine = models.OneToOneField(Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="place")
    supplier = models.OneToOneField(Supplier, null=True, blank=True, on_delete=models.PROTECT, related_name="place")
    home_of = models.ForeignKey(
        Design,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="homes",
        help_text="the design that lives here",
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code

    @property
    def may_go_negative(self) -> bool:
        return self.kind in self.OUTSIDE


class Item(models.Model):
    """One physical thing, or one set fitted together, with a label of its own."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="items")
    condition = models.CharField(max_length=10, choices=Condition.choices, default=Condition.NEW)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="items")
    pieces = models.PositiveSmallIntegerField(default=1, help_text="more than one for a set fitted together")
    regrinds_done = models.PositiveSmallIntegerField(default=0)
    lot = models.CharField(max_length=40, blank=True, db_index=True)
    serial = models.CharField(max_length=40, blank=True, db_index=True)
    diameter_mm = models.FloatField(
        null=True, blank=True, help_text="cutting diameter DC as ground; empty: as its design says"
    )
    length_mm = models.FloatField(null=True, blank=True, help_text="functional length LF as ground")
    since = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(SqueezedText("serial"), name="item_serial_squeezed"),
            models.Index(SqueezedText("lot"), name="item_lot_squeezed"),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """The text on the thing itself; the number in it is the item's own."""
        from crib.stock.labels import make_label

        return make_label("I", self.pk)

    @property
    def is_out(self) -> bool:
        """Whether it is away at a regrind shop."""
        return self.place.kind == Place.Kind.REGRIND


class Balance(models.Model):
    """How many of a design, in one condition, are at one place: kept in the transaction of each move."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="balances")
    condition = models.CharField(max_length=10, choices=Condition.choices)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="balances")
    quantity = models.IntegerField(default=0)
    labelled = models.PositiveIntegerField(
        default=0, help_text="how many of them are items with a label of their own, so that no loose move takes those"
    )
    may_go_negative = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["design", "condition", "place"], name="one_balance_per_place"),
            models.CheckConstraint(
                condition=Q(quantity__gte=0) | Q(may_go_negative=True), name="balance_negative_only_outside"
            ),
            models.CheckConstraint(
                condition=Q(labelled__lte=F("quantity")) | Q(may_go_negative=True), name="balance_holds_its_items"
            ),
        ]
        indexes = [models.Index(fields=["place", "design"])]

    def __str__(self) -> str:
        return f"{self.quantity} {self.design} at {self.place}"


class Move(models.Model):
    """One line of the ledger. Lines are only ever added; a mistake is mended by a line that reverses it."""

    class Why(models.TextChoices):
        RECEIVE = "receive", "Received"
        CHECK_OUT = "check_out", "Handed out"
        TAKE_BACK = "take_back", "Brought back"
        FIT = "fit", "Fitted"
        TAKE_OUT = "take_out", "Taken out"
        TRANSFER = "transfer", "Moved"
        WORN_OUT = "worn_out", "Used up"
        REGRIND = "regrind", "Sent for regrind"
        REGRIND_BACK = "regrind_back", "Back from regrind"
        COUNT = "count", "Count difference"
        LOST = "lost", "Lost"
        FOUND = "found", "Found again"
        REVERSE = "reverse", "Reversed"

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="moves")
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="moves")
    condition = models.CharField(max_length=10, choices=Condition.choices, help_text="as it left")
    becomes = models.CharField(max_length=10, choices=Condition.choices, help_text="as it arrived")
    quantity = models.PositiveIntegerField()
    from_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="moves_out")
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="moves_in")
    who = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="moves")
    at = models.DateTimeField(default=timezone.now)
    why = models.CharField(max_length=14, choices=Why.choices)
    note = models.CharField(max_length=200, blank=True)
    lot = models.CharField(max_length=40, blank=True, default="", db_default="", help_text="maker's lot, as received")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.PROTECT, related_name="moves")
    allowed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who let more go out than the limit says; the note says why",
    )
    key = models.CharField(
        max_length=120, unique=True, help_text="from the client: the same scan sent twice counts once"
    )
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by")
    document = models.CharField(
        max_length=40,
        blank=True,
        default="",
        db_default="",
        help_text="what it was posted for, such as an order: it is taken back there",
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="move_quantity_positive"),
            models.CheckConstraint(
                condition=~Q(from_place=F("to_place")) | ~Q(condition=F("becomes")), name="move_changes_something"
            ),
        ]
        indexes = [models.Index(fields=["design", "-at"]), models.Index(fields=["at"])]

    def __str__(self) -> str:
        return f"{self.quantity} {self.design} {self.from_place} → {self.to_place}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("A line of the ledger is never changed; post a reversing move.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise TypeError("A line of the ledger is never deleted; post a reversing move.")


class DesignPulse(models.Model):
    """Counts the changes to a design's stock and orders, so that the worker sees which flags to check again."""

    design = models.OneToOneField(Design, primary_key=True, on_delete=models.CASCADE, related_name="pulse")
    revision = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.design} {self.revision}"


class Reservation(models.Model):
    """A quantity kept for a job's start."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="reservations")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="reservations")
    quantity = models.PositiveIntegerField()
    needed_on = models.DateField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    released_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["design", "job"], condition=Q(released_at__isnull=True), name="one_open_reservation_per_job"
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.design} for {self.job}"


class Count(models.Model):
    """A look at what is really there; differences become moves after review."""

    class State(models.TextChoices):
        OPEN = "open", "Being counted"
        REVIEW = "review", "To be reviewed"
        POSTED = "posted", "Posted"
        DROPPED = "dropped", "Dropped"

    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="counts")
    design = models.ForeignKey(Design, null=True, blank=True, on_delete=models.PROTECT, related_name="counts")
    blind = models.BooleanField(default=True, db_default=False, help_text="who counts is not told what the books say")
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    counted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(default=timezone.now)
    posted_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    posted_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(place__isnull=False, design__isnull=True) | Q(place__isnull=True, design__isnull=False),
                name="count_of_a_place_or_a_design",
            ),
        ]

    def __str__(self) -> str:
        return f"Count {self.pk} of {self.place or self.design}"


class CountLine(models.Model):
    count = models.ForeignKey(Count, on_delete=models.CASCADE, related_name="lines")
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    condition = models.CharField(max_length=10, choices=Condition.choices)
    expected = models.IntegerField()
    counted = models.PositiveIntegerField()
    first_counted = models.PositiveIntegerField(null=True, blank=True, help_text="before it was counted again")
    counted_at = models.DateTimeField(null=True, blank=True, help_text="when `expected` was read from the books")
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    key = models.CharField(max_length=120, blank=True, default="", db_default="", help_text="of the last figure sent")
    move = models.OneToOneField(Move, null=True, on_delete=models.PROTECT, related_name="count_line")

    class Meta:
        ordering = ["design__code", "place__code", "condition"]
        constraints = [
            models.UniqueConstraint(
                fields=["count", "design", "place", "condition"], name="one_line_per_design_and_place_in_a_count"
            )
        ]

    def __str__(self) -> str:
        return f"{self.design}: {self.counted} counted, {self.expected} expected"


class CountPiece(models.Model):
    """A labelled piece in a count: scanned where it lies, or booked where nobody scanned it."""

    count = models.ForeignKey(Count, on_delete=models.CASCADE, related_name="pieces")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="+")
    found = models.BooleanField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", help_text="where it was looked for")
    booked = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", help_text="where the books had it")
    condition = models.CharField(max_length=10, choices=Condition.choices, help_text="as the books had it")
    at = models.DateTimeField(help_text="when the books were read")
    move = models.OneToOneField(Move, null=True, on_delete=models.PROTECT, related_name="count_piece")

    class Meta:
        ordering = ["item"]
        constraints = [models.UniqueConstraint(fields=["count", "item"], name="one_line_per_piece_in_a_count")]

    def __str__(self) -> str:
        return f"{self.item}: {'found' if self.found else 'missing'} in {self.place}"

    @property
    def differs(self) -> bool:
        return not self.found or self.place_id != self.booked_id


class TakeLimit(models.Model):
    """The most of a design that one person, or one job, may draw; a lead may let more go out and says why."""

    class Per(models.TextChoices):
        PERSON = "person", "Person"
        JOB = "job", "Job"

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="take_limits")
    per = models.CharField(max_length=6, choices=Per.choices)
    most = models.PositiveIntegerField()
    days = models.PositiveSmallIntegerField(null=True, blank=True, help_text="within so many days; empty: at all")

    class Meta:
        ordering = ["design", "per"]
        constraints = [models.UniqueConstraint(fields=["design", "per"], name="one_take_limit_per_design")]

    def __str__(self) -> str:
        return f"{self.most} {self.design} per {self.per}"
