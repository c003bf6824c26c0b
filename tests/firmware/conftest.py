"""Fixtures: a chip that stands still until it is told to go on, and the host's end of its line."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from meterlink.simulation.chip import SimulatedChip, why_not


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
