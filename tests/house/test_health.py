from pathlib import Path
from unittest import mock

import pytest
from django.db import OperationalError
from django.test import Client
from pytest_django import DjangoAssertNumQueries, Settings

from config import health


@pytest.fixture(autouse=True)
def _forget_that_tables_were_current(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "_seen_current", False)


def test_the_process_says_it_is_alive_without_sign_in_or_database(client: Client) -> None:
    answer = client.get("/healthz")
    assert answer.status_code == 200
    assert answer.json() == {"status": "alive"}


@pytest.mark.django_db
def test_ready_when_the_tables_are_up_to_date(client: Client) -> None:
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["status"]) == (200, "ready")


@pytest.mark.django_db
def test_not_ready_while_a_migration_waits(client: Client) -> None:
    with mock.patch.object(health, "tables_are_current", return_value=False):
        answer = client.get("/readyz")
    assert answer.status_code == 503
    assert "python3 manage.py migrate" in answer.json()["database"]


def test_not_ready_without_a_database_and_says_nothing_of_its_address(client: Client) -> None:
    with mock.patch.object(health, "tables_are_current", side_effect=OperationalError("no route to db.secret.example")):
        answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json() == {"status": "not ready", "database": "cannot be reached"}


@pytest.mark.parametrize("address", ["/healthz", "/readyz", "/metrics"])
@pytest.mark.django_db
def test_nothing_can_be_sent_to_them(client: Client, address: str) -> None:
    assert client.post(address).status_code == 405


@pytest.mark.django_db
def test_metrics_are_open_and_tell_how_much_work_is_due(client: Client, settings: Settings, tmp_path: Path) -> None:
    settings.REDIS_URL = ""
    settings.QUEUE_DIR = tmp_path
    (tmp_path / "messages").mkdir()
    (tmp_path / "messages" / "1.celery.msg").write_text("{}")
    text = client.get("/metrics").content.decode()
    figures = dict(line.rsplit(" ", 1) for line in text.splitlines() if not line.startswith("#"))
    assert figures["edgetally_forecasts_due"] == "0.0"
    assert figures["edgetally_flags_open"] == "0.0"
    assert figures["edgetally_queue_messages"] == "1.0"
    assert 0 <= float(figures["edgetally_queue_oldest_seconds"]) < 60
    assert figures["edgetally_database_reachable"] == "1.0"


@pytest.mark.django_db
def test_metrics_answer_while_the_queue_is_away(client: Client, settings: Settings) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    text = client.get("/metrics").content.decode()
    assert "edgetally_queue_reachable 0.0" in text
    assert "edgetally_queue_messages" not in text


@pytest.mark.django_db
def test_metrics_ask_the_database_a_fixed_few_questions(
    client: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(6):
        client.get("/metrics")
