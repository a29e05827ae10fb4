from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils import timezone

from crib.people.roles import RIGHTS


class Person(AbstractUser):
    """Somebody of the shop, or the shared sign-in of a counter tablet."""

    class Units(models.TextChoices):
        METRIC = "metric", "Metric"
        INCH = "inch", "Inch"

    class Scheme(models.TextChoices):
        SYSTEM = "system", "As the device"
        LIGHT = "light", "Light"
        DARK = "dark", "Dark"

    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    scheme = models.CharField(max_length=8, choices=Scheme.choices, default=Scheme.SYSTEM)
    is_counter = models.BooleanField(
        default=False, help_text="A shared tablet: every action there names its person by a badge scan"
    )

    class Meta:
        verbose_name = "person"
        verbose_name_plural = "people"
        ordering = ["username"]
        permissions = [(right.codename, right.says) for right in RIGHTS]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class ChangeRecord(models.Model):
    """Who changed what, kept for every write that no move, run or outcome already records."""

    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="changes")
    at = models.DateTimeField(default=timezone.now)
    what = models.CharField(max_length=60, help_text="kind of thing, such as design or operation")
    which = models.CharField(max_length=80, help_text="its code or number")
    act = models.CharField(max_length=40)
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["what", "which"])]

    def __str__(self) -> str:
        return f"{self.act} {self.what} {self.which}"
