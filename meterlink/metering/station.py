"""A connected sensor as the place where a walk's measurements come from: its range, its next pop, its steady light."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from meterlink.calibration.procedure import Task
from meterlink.errors import SensorError
from meterlink.records import Calibration, Kind, Measurement
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
        sensor.on_measurement = self._pops.put_nowait
        sensor.on_level = lambda level: self.on_live(level) if self.on_live is not None else None

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
        while not self._pops.empty():
            self._pops.get_nowait()

    async def measure(self, task: Task) -> Measurement:
        """Wait for the next pop, or average the steady light from now on.

        Raises SensorError: nothing comes in its time, or the sensor does not take the range.
        """
        if task.kind != Kind.FLASH:
            try:
                return await self.sensor.take_steady(STEADY_S, STEADY_PATIENCE_S, stay=True)
            except SensorError:
                raise SensorError("no steady light comes on this range: check the sensor, then take this step again") from None
        try:
            return await asyncio.wait_for(self._pops.get(), task.patience_s)
        except TimeoutError:
            raise SensorError("no pop was seen in {seconds:.0f} s", seconds=task.patience_s) from None
