"""A message queue in a folder, for one machine without a broker: whole messages or none, each taken once."""

import json
import logging
import uuid
from pathlib import Path
from queue import Empty
from time import time_ns
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads

logger = logging.getLogger(__name__)


class Channel(filesystem.Channel):
    """Kombu's folder channel, with messages that appear whole.

    Kombu writes a message in place, so that a reader may take it half written and lose it: the worker then
    stops. Here a message is written beside the queue and renamed into it, and taken by a rename, which the
    file system does as one step.
    """

    def _put(self, queue: str, message: Any, **_: Any) -> None:  # type: ignore[override]  # callers send more
        name = f"{time_ns()}_{uuid.uuid4().hex}.{queue}.msg"
        draft = self._beside(name)
        draft.write_text(dumps(message))
        draft.rename(Path(self.data_folder_out) / name)

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        for path in sorted(Path(self.data_folder_in).glob(f"*.{queue}.msg")):
            if path.name.partition(".")[2] != f"{queue}.msg":
                continue
            mine = self._beside(f"{path.name}.{uuid.uuid4().hex}")
            try:
                path.rename(mine)
            except FileNotFoundError:
                continue  # another worker was quicker
            text = mine.read_text()
            mine.unlink()
            try:
                return loads(text)
            except json.JSONDecodeError:
                logger.warning("Left out a message that is not whole: %s", path.name)
        raise Empty

    def _beside(self, name: str) -> Path:
        folder = Path(self.data_folder_in).with_name("under-way")
        folder.mkdir(exist_ok=True)
        return folder / name


class Transport(filesystem.Transport):
    """The folder as a Celery broker."""

    Channel = Channel


def register() -> None:
    """Make `folder://` a broker address."""
    TRANSPORT_ALIASES["folder"] = f"{__name__}:Transport"
