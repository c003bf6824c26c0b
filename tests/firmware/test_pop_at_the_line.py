"""Pops fired the moment that a line asks for them: the real firmware on its simulated chip, the real command line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hand import DECAY_US, RISE_US, Hand

import meterlink
from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.library.store import Library

pytestmark = [
    pytest.mark.skipif(why_not() is not None, reason=str(why_not())),
    pytest.mark.timeout(120),
]

AT_ONCE_MS = (3.0, 190.0)
"""Right after the line; and when the sensor used to be switched, or asked for its state, a fifth of a second after the last pop."""
PEAKS_LX = {"KEY": 600e3, "FILL": 80e3, "SIDE": 250e3, "HAIR": 60e3}
"""On either side of what the bright range can read: two are asked for once more, on the dim range."""


@pytest.fixture
def chip() -> Iterator[SimulatedChip]:
    """A chip in real time."""
    with SimulatedChip(paused=False) as started:
        started.amplifier(noise=0.001, seed=5)
        started.ambient(40.0)
        yield started


@pytest.mark.parametrize("after_ms", AT_ONCE_MS)
def test_no_pop_is_lost_that_a_line_asked_for(chip: SimulatedChip, tmp_path: Path, after_ms: float) -> None:
    """Every line that asks for a pop is answered by one at once, and each pop by a line: nothing is fired into the void."""
    file = tmp_path / "l.sqlite"
    with Library.open(file) as library:
        library.set_setting("min_gap_s", 0.02)
    with meterlink.open(file) as library:
        setup = library.new_setup("Set", iso=100, shutter_s=1 / 160)
        for name in PEAKS_LX:
            setup.add_light(name, role="other", distance_m=1.5)
    hand = Hand(chip, file, "meter", *PEAKS_LX)
    hand.patience_s = 6.0
    waiting = ""
    try:
        for line in hand.lines():
            if line.startswith("waiting for "):
                waiting = line.split()[2].rstrip(":")
            if waiting and (line.startswith("waiting for ") or "one more pop" in line):
                chip.pop(peak_lx=PEAKS_LX[waiting], decay_us=DECAY_US, rise_us=RISE_US, at_ms=after_ms)
        assert hand.process.wait(10) == 0, hand.text()
    finally:
        hand.close()
    assert len([line for line in hand.said if line.startswith("waiting for ")]) == len(PEAKS_LX)
