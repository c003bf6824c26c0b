"""Fixtures: a chip that stands still until it is told to go on, the host's end of its line; one whose time passes, and a hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hand import Hand

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from tests.turning import turning


@pytest.fixture
def chip() -> Iterator[SimulatedChip]:
    """A paused chip that has just been switched on, with a dark offset as a lifted amplifier has it."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    with SimulatedChip() as started:
        started.amplifier(offset=0.0123)
        yield started


@pytest.fixture
def line(chip: SimulatedChip) -> Iterator[object]:
    """The host's end of its line."""
    pytest.importorskip("cobs.cobs")
    from chip_reader import Line

    opened = Line(chip)
    yield opened
    opened.close()


@pytest.fixture
def turned() -> Iterator[SimulatedChip]:
    """A chip whose time runs three times as fast as ours, in the dark, with the noise of a good build."""
    with SimulatedChip() as started:
        started.amplifier(noise=0.001, seed=5)
        with turning(lambda: started.step(20)):
            yield started


@pytest.fixture
def hand(turned: SimulatedChip, tmp_path: Path) -> Iterator[Callable[..., Hand]]:
    """Begin a verb at this chip; it is ended with the test."""
    begun: list[Hand] = []

    def begin(*arguments: str, terminal: bool = False) -> Hand:
        begun.append(Hand(turned, tmp_path / "l.sqlite", *arguments, terminal=terminal))
        return begun[-1]

    yield begin
    for one in begun:
        one.close()
