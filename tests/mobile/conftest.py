"""Fixtures of the app's tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.mobile.desks import Metered


@pytest.fixture
def metered(tmp_path: Path) -> Iterator[Callable[..., Metered]]:
    """Make desks that are closed at the end."""
    made: list[Metered] = []

    def make(lights: int = 4) -> Metered:
        made.append(Metered(tmp_path / f"library{len(made)}.db", lights))
        return made[-1]

    yield make
    for one in made:
        one.library.close()
