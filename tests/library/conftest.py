"""Fixtures of the tests of the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from library_sets import Set, block

from meterlink.library import Library, connection
from meterlink.records import WaveBlock


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests about content do not wait for the disk; what other processes do in tests stays fully synchronised."""
    monkeypatch.setattr(connection, "SYNCHRONOUS", "OFF")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a test keeps its library."""
    return tmp_path / "library.sqlite"


@pytest.fixture
def library(path: Path) -> Iterator[Library]:
    """A new library, closed after the test."""
    with Library.open(path) as opened:
        yield opened


@pytest.fixture
def filled(library: Library) -> Set:
    """A set with two lights in a new library."""
    return Set(library)


@pytest.fixture
def make_block() -> Callable[..., WaveBlock]:
    """Builder of captured flashes."""
    return block
