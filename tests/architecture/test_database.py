"""The migrations say what the models say."""

from io import StringIO

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_migrations_are_up_to_date() -> None:
    out = StringIO()
    call_command("makemigrations", "--check", "--dry-run", stdout=out)
    assert "No changes" in out.getvalue()
