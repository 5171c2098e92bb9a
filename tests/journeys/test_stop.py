"""The demo stopped while it starts: whatever was started by then ends with it."""

import signal
from pathlib import Path

import pytest

from tests.journeys.house import children_of, demo, words_of

pytestmark = pytest.mark.journey


def test_stopped_at_its_first_page_it_leaves_nothing_running(tmp_path: Path) -> None:
    for stop in (signal.SIGINT, signal.SIGTERM):
        with demo(tmp_path, stop=stop) as house:
            assert children_of(tmp_path)

        assert children_of(tmp_path) == []
        assert "Stopped. What you entered is kept" in words_of(house)
        assert "Traceback" not in words_of(house)
