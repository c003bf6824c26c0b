"""A connected sensor as the place where a walk's measurements come from: its range, its next pop, its steady light."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from meterlink.calibration.procedure import Task
from meterlink.errors import SensorError
from meterlink.records import Calibration, Kind, Measurement
from meterlink.sensor.measuring import levels
from meterlink.sensor.measuring.sensor import Sensor

STEADY_S = 0.8
STEADY_PATIENCE_S = 8.0


class SensorStation:
    """A connected sensor; it measures with the walk's calibration while the station is in use."""

    def __init__(self, sensor: Sensor, calibration: Calibration) -> None:
        self.sensor = sensor
        sensor.calibration = calibration
        self.on_live: Callable[[Measurement], None] | None = None
        """Told of every steady sample, for a live figure."""
        self.pose: Callable[[str, str, float | None, int | None, float | None, float | None], None] | None = None
        """Told of every step, for a simulated sensor, which has no hands."""
        self._pops: asyncio.Queue[Measurement] = asyncio.Queue()
        self._levels: asyncio.Queue[Measurement] = asyncio.Queue()
        sensor.on_measurement = self._pops.put_nowait
        sensor.on_level = self._level

    def _level(self, level: Measurement) -> None:
        self._levels.put_nowait(level)
        if self.on_live is not None:
            self.on_live(level)

    async def prepare(self, task: Task) -> None:
        """Put the sensor on the task's range, or on the one that sensing chose after the last pop; wait until it is there.

        After a small pop sensing switches to a finer range by itself; a task that names its range holds it.
        """
        if self.pose is not None:
            self.pose(task.name, task.kind, task.level, task.range_index, task.value, task.light)
        await self.sensor.hold_range(task.range_index)
        await self.sensor.settled()

    def forget_pops(self) -> None:
        """What was fired until now does not count."""
        _drain(self._pops)

    async def measure(self, task: Task) -> Measurement:
        """Wait for the next pop, or average the steady light from now on.

        Raises SensorError: nothing comes in its time, or the sensor does not take the range.
        """
        if task.kind != Kind.FLASH:
            return await self._steady(task)
        try:
            return await asyncio.wait_for(self._pops.get(), task.patience_s)
        except TimeoutError:
            raise SensorError("no pop was seen in {seconds:.0f} s", seconds=task.patience_s) from None

    async def _steady(self, task: Task) -> Measurement:
        _drain(self._levels)
        taken: list[Measurement] = []
        begun = False
        loop = asyncio.get_running_loop()
        until = loop.time() + STEADY_PATIENCE_S
        while not taken or taken[-1].at_s - taken[0].at_s < STEADY_S:
            try:
                one = await asyncio.wait_for(self._levels.get(), max(0.01, until - loop.time()))
            except TimeoutError:
                raise SensorError("no steady light comes on this range: check the sensor, then take this step again") from None
            if task.range_index is not None and one.range_index != task.range_index:
                # It has been reset, or plugged in anew, and is where it starts.
                await self.sensor.hold_range(task.range_index)
                taken, begun = [], False
            else:
                # The first may have begun to collect light before the key was pressed.
                if begun:
                    taken.append(one)
                begun = True
        if any(m.clipped for m in taken):
            return taken[-1]._replace(clipped=True)
        return levels.mean_level(taken)


def _drain(queue: asyncio.Queue[Measurement]) -> None:
    while not queue.empty():
        queue.get_nowait()
