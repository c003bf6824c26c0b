"""The twelve days with the real firmware: on its simulated chip in real time, over the chip's own pty.

The terminal's commands open that pty as any serial port; at the desk the app's driver does.  A lost pop is the chip's reset
while its block is on the line, as by a dip of the supply: the frame is cut in two, and range and interval are forgotten.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterator
from pathlib import Path

from benchmarks.onset_days import Day
from benchmarks.onset_desk import Touching, lived
from benchmarks.onset_terminal import BAUD, Counts, Photographer
from hardware_notes.firmware.bench.simulated_chip import SimulatedChip
from meterlink.simulation.studio import Pulse

RECORD_S = (512 * 1 + 256 * 2 + 128 * 4) * 13e-6
"""From the trigger on, at the shortest interval."""
BLOCK_BYTES = 1100
LINE_BITS = 11
"""A word of the simulated line (the chip's own has 10)."""
IN_MID_BLOCK_S = 0.04
ROOM_LX, NOISE = 60.0, 0.001


class FirmwareSensor:
    """A chip that runs in real time, and what fires at it."""

    need_s = RECORD_S + LINE_BITS * BLOCK_BYTES / BAUD
    """What record and wire take."""

    def __init__(self, seed: int) -> None:
        self.chip = SimulatedChip(paused=False)
        self._seed = seed

    async def open(self) -> str:
        """Switch it on; return its URL."""
        self.chip.start()
        self.chip.amplifier(noise=NOISE, seed=self._seed)
        self.chip.ambient(ROOM_LX)
        return f"serial:{self.chip.pty_path}?baud={BAUD}"

    async def close(self) -> None:
        """Switch it off."""
        self.chip.stop()

    async def flash(self, pulse: Pulse, *, damaged: bool = False) -> None:
        """A flash."""
        self.fire(pulse, damaged=damaged)

    def fire(self, pulse: Pulse, *, damaged: bool) -> None:
        """A flash now."""
        self.chip.pop(pulse.peak_lx, decay_us=pulse.fall_s * 1e6, rise_us=pulse.rise_s * 1e6)
        if damaged:
            asyncio.get_running_loop().call_later(RECORD_S + IN_MID_BLOCK_S / 2, self.chip.reset)

    # -- as the desk's link is fired at -----------------------------------------------------------------------

    def pop(self, pulse: Pulse) -> None:
        """A flash."""
        self.fire(pulse, damaged=False)

    def pop_damaged(self, pulse: Pulse) -> None:
        """A flash whose block does not arrive whole."""
        self.fire(pulse, damaged=True)


async def day_at_the_terminal(day: Day, root: Path, folder: Path) -> Counts:
    """Return what a day costs at a terminal."""
    return await Photographer(day, root, folder, before=False, sensor=FirmwareSensor(len(day.name))).live()


class AtTheChip(Touching):
    """A day at the desk with the chip's pty as its sensor."""

    def __init__(self, day: Day, folder: Path, sensor: FirmwareSensor, url: str) -> None:
        from meterlink.sensor.link.registry import link_for

        super().__init__(day, folder, make_link=link_for)
        self.link, self.url = sensor, url


@contextlib.contextmanager
def _switched_on(seed: int) -> Iterator[tuple[FirmwareSensor, str]]:
    sensor = FirmwareSensor(seed)
    try:
        yield sensor, asyncio.run(sensor.open())
    finally:
        sensor.chip.stop()


def day_at_the_desk(day: Day, folder: Path) -> Counts:
    """Return what a day costs by touch, in real time."""
    with _switched_on(len(day.name)) as (sensor, url):
        return lived(lambda: AtTheChip(day, folder, sensor, url), asyncio.SelectorEventLoop)
