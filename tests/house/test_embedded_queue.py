"""The embedded queue never shows a worker half a message, and outlives whatever else lies in its folder."""

import threading
from pathlib import Path
from queue import Empty

import pytest
from kombu import Connection

import config.embedded_queue as embedded


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The folders of a queue named like the test's own: kombu remembers bindings for the life of a process."""
    for name in ("messages", "control", "processed"):
        (tmp_path / name).mkdir()
    return tmp_path


def connection(folder: Path) -> Connection:
    return Connection(
        f"{embedded.SCHEME}://localhost",
        transport_options={
            "data_folder_in": str(folder / "messages"),
            "data_folder_out": str(folder / "messages"),
            "control_folder": str(folder / "control"),
            "processed_folder": str(folder / "processed"),
        },
    )


def test_messages_come_out_whole_once_and_in_order(folder: Path) -> None:
    with connection(folder) as one, connection(folder) as other:
        queue, reader = one.SimpleQueue(folder.name), other.SimpleQueue(folder.name)
        for number in range(20):
            queue.put({"number": number})
        messages = [reader.get(timeout=30) for _ in range(20)]
        assert [message.payload["number"] for message in messages] == list(range(20))
        for message in messages:
            message.ack()
        with pytest.raises(Empty):
            reader.get(block=False)
    assert not list((folder / "messages").iterdir())
    assert not list((folder / "processed").iterdir())


def test_what_cannot_be_read_is_dropped_and_the_next_is_found(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    with connection(folder) as one:
        queue = one.SimpleQueue(folder.name)
        (folder / "messages" / f"0000_half.{folder.name}.msg").write_text("")
        (folder / "messages" / "0_other.elsewhere.msg").write_text("{}")
        (folder / "messages" / "0_unfinished.part").write_text('{"bo')
        queue.put("sound")
        assert queue.get(timeout=30).payload == "sound"
    assert "dropped" in caplog.text


def test_two_workers_never_take_the_same_message(folder: Path) -> None:
    taken: list[int] = []

    def work() -> None:
        with connection(folder) as mine:
            queue = mine.SimpleQueue(folder.name)
            while True:
                try:
                    message = queue.get(block=False)
                except Empty:
                    return
                taken.append(message.payload)
                message.ack()

    with connection(folder) as one:
        queue = one.SimpleQueue(folder.name)
        for number in range(200):
            queue.put(number)
    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=60)
    assert sorted(taken) == list(range(200))


def test_a_note_of_a_queue_that_is_still_being_made_is_waited_for(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(embedded, "SECONDS_BETWEEN_TRIES", 0.0)
    (folder / "control" / f"{folder.name}.exchange").write_text("")
    with connection(folder) as one:
        queue = one.SimpleQueue(folder.name)
        queue.put("sound")
        assert queue.get(timeout=30).payload == "sound"
