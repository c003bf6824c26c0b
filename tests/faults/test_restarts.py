"""A day of loose contacts: nothing grows with the number of restarts."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import pytest
from tallies import Tally

from meterlink.library.store import Library
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import SensorState, State
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.testing import FakeClock, VirtualLoop, settle

RESTARTS = 1_000


def open_files() -> int:
    """Descriptors of this process."""
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the system does not list open descriptors")
def test_a_thousand_restarts_leave_no_task_descriptor_or_thread_behind(tally: Tally) -> None:
    """After 1,000 restarts of the sensor as many tasks, descriptors and threads are there as after one."""
    states: list[SensorState] = []

    async def work() -> tuple[tuple[int, ...], tuple[int, ...]]:
        clock = FakeClock()
        link = SimulatedLink(ChipModel(), clock=clock, sleep=clock.sleep)
        sensor = Sensor(link, None, None, states.append, clock, sleep=clock.sleep)
        await sensor.start()
        counts = []
        for number in range(RESTARTS):
            link.reset()
            await settle(10)
            if number in (3, RESTARTS - 1):
                counts.append((len(asyncio.all_tasks()), open_files(), threading.active_count()))
        await clock.advance(30.0)
        await sensor.stop()
        return counts[0], counts[1]

    few, many = asyncio.run(work())
    tally.count = RESTARTS

    assert few == many
    assert [s.words for s in states if s.name == State.SILENT] == []


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the system does not list open descriptors")
def test_a_thousand_losses_and_returns_leave_nothing_behind(tmp_path: Path, tally: Tally) -> None:
    """A cable pulled and put back 1,000 times: the same tasks, descriptors and threads, and pops still come."""
    plugged: list[SimulatedLink] = []

    def make(url: str) -> SimulatedLink:
        plugged.append(SimulatedLink(url=url, clock=asyncio.get_running_loop().time))
        return plugged[-1]

    async def work() -> tuple[tuple[int, ...], tuple[int, ...], int]:
        pops: list[object] = []
        with Library.open(tmp_path / "library.sqlite") as library:
            using = SensorInUse(library, "socket://nowhere:1", make_link=make, patient=True, on_measurement=pops.append)
            await using.open()
            counts = []
            for number in range(RESTARTS):
                await asyncio.sleep(0.3)
                if number in (3, RESTARTS - 1):
                    counts.append((len(asyncio.all_tasks()), open_files(), threading.active_count()))
                old = plugged[-1]
                old.unplug()
                while plugged[-1] is old:
                    await asyncio.sleep(0.2)
            await asyncio.sleep(1.0)
            plugged[-1].pop("KEY")
            await asyncio.sleep(1.0)
            await using.close()
            return counts[0], counts[1], len(pops)

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        few, many, pops = runner.run(work())
    tally.count, tally.lost = RESTARTS, 1 - pops

    assert few == many
    assert pops == 1
