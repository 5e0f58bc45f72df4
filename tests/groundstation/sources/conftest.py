"""Every test here must give back each thread and descriptor that it took."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator

import pytest

from tests.groundstation.sources.links import SteppingClock


def open_descriptors() -> list[str]:
    """Return this process's descriptors, where the system tells."""
    return sorted(os.listdir("/proc/self/fd"), key=int) if sys.platform == "linux" else []


@pytest.fixture(autouse=True)
def nothing_left_behind() -> Iterator[None]:
    threads, descriptors = threading.enumerate(), open_descriptors()
    yield
    assert threading.enumerate() == threads
    assert open_descriptors() == descriptors


@pytest.fixture
def clock() -> SteppingClock:
    return SteppingClock()
