import threading
import time
from collections.abc import Callable, Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoCaptureOnCommitCallbacks, Settings

from crib.core import wake as waking
from crib.core.wake import Sender, queue_app, wake

# Seconds that a queue hangs, when it does: many more than anything that does not wait for it takes.
HANGS = 20


class Post:
    """A queue that remembers what it was given, can be held up and can be out of reach."""

    def __init__(self) -> None:
        self.got: list[str] = []
        self.tried = 0
        self.away = False
        self.open = threading.Event()
        self.open.set()

    def deliver(self, name: str) -> None:
        self.tried += 1
        self.open.wait(HANGS)
        if self.away:
            raise OSError("nobody listens there")
        self.got.append(name)


@pytest.fixture
def post() -> Post:
    return Post()


Sending = Callable[..., Sender]


@pytest.fixture
def sending(post: Post) -> Iterator[Sending]:
    """Makes senders to this post that end with the test."""
    made: list[Sender] = []

    def one(**options: float) -> Sender:
        made.append(Sender(post.deliver, **options))
        return made[-1]

    yield one
    post.open.set()
    assert all(sender.stop(60) for sender in made)


def until(claim: Callable[[], bool], seconds: float = 60) -> bool:
    give_up = time.monotonic() + seconds
    while not claim():
        if time.monotonic() > give_up:
            return False
        time.sleep(0.005)
    return True


def test_a_name_asked_for_is_sent(post: Post, sending: Sending) -> None:
    sender = sending()
    sender.ask("forecasts")
    assert sender.flush()
    assert post.got == ["forecasts"]


def test_a_thousand_runs_logged_together_wake_the_worker_a_few_times(post: Post, sending: Sending) -> None:
    sender = sending()
    post.open.clear()
    for _ in range(1000):
        sender.ask("forecasts")
        sender.ask("flags")
    post.open.set()
    assert sender.flush(60)
    assert set(post.got) == {"forecasts", "flags"}
    assert len(post.got) <= 4


def test_asking_again_while_it_is_sent_sends_again(post: Post, sending: Sending) -> None:
    # The run logged in between was not there when the first message could have been read.
    sender = sending()
    post.open.clear()
    sender.ask("forecasts")
    assert until(lambda: post.tried == 1)
    sender.ask("forecasts")
    post.open.set()
    assert sender.flush(60)
    assert post.got == ["forecasts", "forecasts"]


def test_asking_never_waits_for_a_queue_that_hangs(post: Post, sending: Sending) -> None:
    sender = sending()
    post.open.clear()
    began = time.monotonic()
    for _ in range(100):
        sender.ask("forecasts")
    assert time.monotonic() - began < HANGS / 2


def test_a_queue_out_of_reach_is_left_alone_for_a_while(
    post: Post, sending: Sending, caplog: pytest.LogCaptureFixture
) -> None:
    sender = sending(first_pause=60)
    post.away = True
    sender.ask("forecasts")
    assert until(lambda: "cannot be reached (OSError)" in caplog.text)
    for _ in range(20):
        sender.ask("forecasts")
        time.sleep(0.005)
    assert post.tried == 1


def test_what_a_queue_out_of_reach_was_not_told_is_sent_when_it_is_back(post: Post, sending: Sending) -> None:
    sender = sending(first_pause=0.05)
    post.away = True
    sender.ask("forecasts")
    assert until(lambda: post.tried == 2)
    post.away = False
    assert until(lambda: post.got == ["forecasts"])


def test_a_short_command_does_not_wait_for_a_queue_that_is_away(post: Post, sending: Sending) -> None:
    sender = sending(first_pause=30)
    post.away = True
    sender.ask("forecasts")
    assert until(lambda: post.tried == 1)
    began = time.monotonic()
    assert not sender.flush(HANGS)
    assert time.monotonic() - began < HANGS / 2


def test_a_short_command_waits_no_longer_than_it_was_told(post: Post, sending: Sending) -> None:
    sender = sending()
    post.open.clear()
    sender.ask("forecasts")
    began = time.monotonic()
    assert not sender.flush(0.2)
    assert 0.15 < time.monotonic() - began < HANGS / 2


def test_a_sender_that_is_stopped_sends_and_says_nothing_more(
    post: Post, sending: Sending, caplog: pytest.LogCaptureFixture
) -> None:
    sender = sending(first_pause=60)
    post.away = True
    sender.ask("forecasts")
    assert until(lambda: "cannot be reached" in caplog.text)
    began = time.monotonic()
    assert sender.stop(60)
    assert time.monotonic() - began < 30, "a rest is not waited out"
    caplog.clear()
    post.away = False
    time.sleep(0.1)
    assert (post.tried, post.got, caplog.text) == (1, [], "")
    assert sender.flush(0)


def test_a_message_on_its_way_is_waited_for_and_no_longer_than_told(post: Post, sending: Sending) -> None:
    sender = sending()
    post.open.clear()
    sender.ask("forecasts")
    assert until(lambda: post.tried == 1)
    sender.ask("flags")
    assert not sender.stop(0.05)
    post.open.set()
    assert sender.stop(60)
    assert post.got == ["forecasts"]


def test_asking_again_after_a_stop_starts_anew(post: Post, sending: Sending) -> None:
    sender = sending()
    assert sender.stop()
    sender.ask("forecasts")
    assert sender.flush(60)
    assert sender.stop(60)
    sender.ask("forecasts")
    assert sender.flush(60)
    assert post.got == ["forecasts", "forecasts"]


def test_a_name_nobody_knows_is_logged_and_harms_nothing(caplog: pytest.LogCaptureFixture) -> None:
    wake("lunch")  # type: ignore[arg-type]  # a mistake the type checker would refuse
    assert "“lunch”" in caplog.text


def test_every_wake_up_names_a_task_that_the_worker_knows(settings: Settings) -> None:
    app = queue_app()
    app.loader.import_default_modules()
    assert set(settings.QUEUE_WAKES.values()) <= set(app.tasks)
    scheduled = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert scheduled <= set(app.tasks)
    assert {"config.tasks.sweep", settings.QUEUE_WAKES["refit"], settings.QUEUE_WAKES["plan"]} == scheduled


@pytest.mark.django_db
def test_waking_on_commit_with_no_queue_at_all_takes_no_time(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    known_to_be_away = threading.Event()

    def nobody_there(name: str) -> None:
        known_to_be_away.wait(HANGS)
        raise OSError("nobody listens there")

    monkeypatch.setattr(waking, "_senders", {})
    monkeypatch.setattr(waking.Sender.__init__, "__defaults__", (nobody_there,))
    began = time.monotonic()
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic():
        transaction.on_commit(lambda: wake("forecasts"))
    assert time.monotonic() - began < HANGS / 2
    # The fixture that ends senders looks where the true ones are kept.
    known_to_be_away.set()
    assert waking.stop_sending(60)
