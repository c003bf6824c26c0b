"""Fixtures of the touch tests: one X server a run, phones that are closed at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.touch.hands import Phone, why_not, x_server

SIM = "sim:?every=0"


@pytest.fixture(scope="session")
def display() -> Iterator[str]:
    """The name of an X server's display."""
    # Only the app's process imports kivy: looked for here, never loaded.
    reason = why_not() if find_spec("kivy") else "kivy is not installed (pip install '.[app]')"
    if reason:
        pytest.skip(reason)
    with x_server() as name:
        yield name


@pytest.fixture
def phone(display: str, tmp_path: Path) -> Iterator[Callable[..., Phone]]:
    """Start the app in a window; ``phone(prepare=...)`` fills its library first."""
    made: list[Phone] = []

    def start(
        *, size: tuple[int, int] = (360, 640), url: str = SIM, prepare: Callable[[Path], None] | None = None
    ) -> Phone:
        folder = tmp_path / f"phone{len(made)}"
        folder.mkdir()
        library = folder / "library.db"
        if prepare is not None:
            prepare(library)
        made.append(Phone(display, folder, library, size, url))
        if url.startswith("sim:"):
            made[-1].ready()
        return made[-1]

    yield start
    for one in made:
        one.close()
