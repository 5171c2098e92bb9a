"""The queue in a folder."""

import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from kombu import Connection

from rentals.lib import folder

MESSAGES, READERS, PATIENCE_S = 300, 3, 30


@pytest.fixture
def options(tmp_path: Path) -> dict[str, Any]:
    folder.register()
    for name in ("messages", "control"):
        (tmp_path / name).mkdir()
    messages, control = str(tmp_path / "messages"), str(tmp_path / "control")
    return {"data_folder_in": messages, "data_folder_out": messages, "control_folder": control}


def test_each_message_is_taken_once_while_it_is_being_written(options: dict[str, Any]) -> None:
    """The writer and the readers run at once: none may meet half a message, none may get another's."""
    taken: list[int] = []
    until = time.monotonic() + PATIENCE_S

    def read() -> None:
        with Connection("folder://", transport_options=options) as connection:
            queue = connection.SimpleQueue("news")
            while len(taken) < MESSAGES and time.monotonic() < until:
                try:
                    message = queue.get(block=False)
                except queue.Empty:
                    continue
                taken.append(message.payload["number"])
                message.ack()
            queue.close()

    readers = [threading.Thread(target=read) for _ in range(READERS)]
    with Connection("folder://", transport_options=options) as connection:
        # Declared before anybody reads: what is sent to a queue that nobody declared is dropped.
        queue = connection.SimpleQueue("news")
        for reader in readers:
            reader.start()
        for number in range(MESSAGES):
            queue.put({"number": number, "filling": "x" * 5_000})
        for reader in readers:
            reader.join()
        queue.close()

    assert Counter(taken) == Counter(range(MESSAGES))


def test_a_torn_message_is_left_out_and_the_next_one_read(options: dict[str, Any]) -> None:
    with Connection("folder://", transport_options=options) as connection:
        queue = connection.SimpleQueue("torn")
        queue.put({"number": 1})
        (Path(options["data_folder_in"]) / "0_half.torn.msg").write_text('{"body": ')

        assert queue.get(timeout=5).payload == {"number": 1}

        queue.close()
