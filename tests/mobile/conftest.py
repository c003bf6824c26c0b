"""Fixtures of the app's tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from meterlink.words import language
from mobile import texts
from tests.mobile.desks import Metered


@pytest.fixture(autouse=True)
def spoken_as_on_a_phone() -> Iterator[None]:
    """Sentences are made for the phone, in English, as the app itself asks for."""
    texts.use("en")
    yield
    language.use(None, language.Place.TERMINAL)


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
