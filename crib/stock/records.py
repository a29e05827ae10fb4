"""What is written down beside the ledger: kits, dispatches to the regrind shop, collected scrap, sheets taken in."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from crib.catalogue.models import Design, Job
from crib.core import clock
from crib.stock.labels import make_label
from crib.stock.models import Item, Move, Place


class Kit(models.Model):
    """What a job's start needs, staged, handed out in one act and brought back in one."""

    class State(models.TextChoices):
        STAGED = "staged", "Staged"
        ISSUED = "issued", "Handed out"
        BACK = "back", "Brought back"
        DROPPED = "dropped", "Dropped"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="kits")
    state = models.CharField(max_length=8, choices=State.choices, default=State.STAGED)
    parts = models.PositiveIntegerField(help_text="parts that it is to make")
    needed_on = models.DateField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    issued_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="kits"
    )
    issued_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["job"], condition=Q(state="staged"), name="one_staged_kit_per_job")
        ]

    def __str__(self) -> str:
        return f"Kit {self.pk} for {self.job}"

    @property
    def document(self) -> str:
        """How the lines of the ledger name it."""
        return f"Kit {self.pk}"

    @property
    def label(self) -> str:
        """The text on its pick list."""
        return make_label("K", self.pk)


class KitLine(models.Model):
    class Role(models.TextChoices):
        EDGE = "edge", "Cuts"
        BODY = "body", "Body"
        HOLDER = "holder", "Holder"
        SPARE = "spare", "Spare"

    kit = models.ForeignKey(Kit, on_delete=models.CASCADE, related_name="lines")
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=6, choices=Role.choices)
    wanted = models.PositiveIntegerField()
    issued = models.PositiveIntegerField(default=0)
    came_back = models.PositiveIntegerField(default=0)
    why = models.CharField(max_length=200, blank=True, help_text="how the number was reached, in words")

    class Meta:
        ordering = ["kit", "id"]
        constraints = [
            models.UniqueConstraint(fields=["kit", "design", "role"], name="one_kit_line_per_design_and_role")
        ]

    def __str__(self) -> str:
        return f"{self.wanted} {self.design} in {self.kit}"


class Dispatch(models.Model):
    """What was sent out together to be reground or repaired."""

    class Work(models.TextChoices):
        REGRIND = "regrind", "Regrind"
        REPAIR = "repair", "Repair"

    shop = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="dispatches")
    work = models.CharField(max_length=8, choices=Work.choices, default=Work.REGRIND)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(default=timezone.now)
    due_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "dispatches"

    def __str__(self) -> str:
        return f"Dispatch {self.pk} to {self.shop}"

    @property
    def document(self) -> str:
        """How the lines of the ledger name it."""
        return f"Dispatch {self.pk}"


class DispatchLine(models.Model):
    """One item sent out, and what came of it."""

    class State(models.TextChoices):
        OUT = "out", "Out"
        BACK = "back", "Back"
        REJECTED = "rejected", "Rejected"

    dispatch = models.ForeignKey(Dispatch, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="dispatch_lines")
    state = models.CharField(max_length=8, choices=State.choices, default=State.OUT)
    ended_at = models.DateTimeField(null=True, blank=True)
    cost = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    diameter_mm = models.FloatField(null=True, blank=True)
    length_mm = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["dispatch", "id"]
        constraints = [
            models.UniqueConstraint(fields=["item"], condition=Q(state="out"), name="item_out_once"),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.dispatch}"

    @property
    def overdue(self) -> bool:
        """Whether it should be back by now."""
        due = self.dispatch.due_on
        return self.state == self.State.OUT and due is not None and due < clock.today()


class ScrapCollection(models.Model):
    """Worn carbide handed over for recycling, by mass."""

    at = models.DateTimeField(default=timezone.now)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    weighed_g = models.FloatField()
    expected_g = models.FloatField(help_text="by the designs' carbide masses of what was used up since the last one")
    pieces = models.PositiveIntegerField()
    unknown_pieces = models.PositiveIntegerField(default=0, help_text="of designs without a carbide mass")
    taken_by = models.CharField(max_length=80, blank=True, help_text="the recycler")
    paid = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    through_move = models.ForeignKey(Move, null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [models.CheckConstraint(condition=Q(weighed_g__gt=0), name="scrap_weighs_something")]

    def __str__(self) -> str:
        return f"{self.weighed_g:g} g of worn carbide"

    @property
    def difference(self) -> float | None:
        """What was weighed over what was expected, as a share of it; None where nothing was expected."""
        return (self.weighed_g - self.expected_g) / self.expected_g if self.expected_g > 0 else None


class SheetImport(models.Model):
    """A spreadsheet of an existing crib, held while its columns are matched and its rows looked at."""

    class State(models.TextChoices):
        OPEN = "open", "Being matched"
        DONE = "done", "Taken in"
        DROPPED = "dropped", "Dropped"

    name = models.CharField(max_length=120)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    header = models.JSONField(default=list)
    rows = models.JSONField(default=list)
    matching = models.JSONField(default=dict, help_text="our field to the sheet's column")
    result = models.JSONField(default=dict)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name
