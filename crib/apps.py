"""Edgetally's one Django application."""

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CribConfig(AppConfig):
    """The crib: one label and one migration history for all slices."""

    name = "crib"
    label = "crib"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from crib.floor.hands import check_not_in_use
        from crib.stock.objections import ask_before_spent

        post_migrate.connect(_sync_roles, sender=self, dispatch_uid="crib.sync_roles")
        ask_before_spent(check_not_in_use)


def _sync_roles(**_: Any) -> None:
    """After every migration the roles are what crib/people/roles.py says, so that a new right needs no step by hand."""
    from crib.people.services import sync_roles

    sync_roles()
