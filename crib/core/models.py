from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone


class KeptAnswer(models.Model):
    """The first answer to a request that carried a key, so that the same request sent again is answered the same."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=120)
    route = models.CharField(max_length=200)
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of the body that came with the key")
    status = models.PositiveSmallIntegerField(default=0, help_text="0 while the first request is still being worked on")
    body = models.JSONField(default=dict)
    kept_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "key"], name="one_answer_per_key")]
        indexes = [models.Index(fields=["kept_at"])]

    def __str__(self) -> str:
        return f"{self.route} {self.key}"
