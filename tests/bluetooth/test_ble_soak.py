"""A day on set over Bluetooth in short: numbered readings and seeded faults.  Every reading once at most, none invented.

``METERLINK_SOAK_S=600 python -m pytest tests/bluetooth/test_ble_soak.py --timeout 900`` is the long run.
"""

from __future__ import annotations

import asyncio
import gc
import os
import random
import resource
from pathlib import Path

import pytest
from bluez_sensors import speaking_sensor
from bluez_standin import Standin

from meterlink.records import Measurement
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.link import ble, ble_air
from meterlink.sensor.link import ble_uuids as uuids
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import LOST, READY, SensorState
from meterlink.sensor.urls import decoder_for

SECONDS = float(os.environ.get("METERLINK_SOAK_S", "0"))
FAULTS = ("drop", "drop", "vanish", "refuse", "abort", "garbage", "gap", "off", "stall", "silent")
ROUNDS = len(FAULTS) + 2
"""At the least: every fault once, in an order of chance, and a round that shows that the last was got over."""
UP = uuids.NATIVE_FROM_SENSOR
FULL_SCALE_LX = 2e6
COUNT = 1000
DARK = 30 * COUNT
"""Sum of the codes before the first number: above the zero that is assumed of a sensor of ours."""


def resident_kb() -> int:
    """Memory of this process now."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * resource.getpagesize() // 1024


class Air:
    """The sensor's side: sends numbered readings and gets into trouble."""

    def __init__(self, standin: Standin, seed: int) -> None:
        self.standin = standin
        self.encoder = SensorEncoder()
        self.sensor = standin.add(speaking_sensor(self.encoder, piece=60))
        self.rng = random.Random(seed)
        self.sent = 0
        self.faults: dict[str, int] = {}
        self._to_come: list[str] = []

    def readings(self, count: int) -> list[bytes]:
        """Frames of the next numbers, in pieces as the air cuts them."""
        frames = b""
        for _ in range(count):
            self.sent += 1
            frames += self.encoder.steady(self.sent / 10, 0, DARK + self.sent, COUNT, 0, 1023)
        return [frames[i : i + 40] for i in range(0, len(frames), 40)]

    def fault(self) -> None:
        """One mishap of those that happen."""
        if not self._to_come:
            self._to_come = self.rng.sample(FAULTS, len(FAULTS))
        name = self._to_come.pop()
        self.faults[name] = self.faults.get(name, 0) + 1
        sensor, standin = self.sensor, self.standin
        if name == "garbage":
            standin.notify(sensor, UP, self.rng.randbytes(self.rng.randint(1, 60)))
        elif name == "gap":
            for piece in self.readings(8)[::2]:
                standin.notify(sensor, UP, piece)
        elif name == "off":
            standin.power(False)
            standin.power(True)
        elif name == "silent":
            sensor.advertising = False
            standin.drop(sensor)
            sensor.advertising = True
        else:
            modes = {"refuse": "fail", "abort": "abort", "stall": "stall"}
            sensor.connect, sensor.fail_times = modes.get(name, "ok"), self.rng.randint(1, 2)
            standin.drop(sensor)
            if name == "vanish":
                standin.vanish(sensor)


@pytest.mark.timeout(SECONDS * 5 + 120)
def test_soak(bluetooth_air: Standin, monkeypatch: pytest.MonkeyPatch) -> None:
    """Faults of every kind, one after another: the sensor is ready again each time, and memory stays flat."""
    monkeypatch.setattr(ble_air, "FIND_S", 1.0)
    monkeypatch.setattr(ble_air, "CONNECT_S", 0.3)
    monkeypatch.setattr(ble, "READ_S", 1.0)
    air = Air(bluetooth_air, seed=5)
    levels: list[float] = []
    states: list[SensorState] = []

    def on_level(level: Measurement) -> None:
        assert level.illuminance_lx is not None
        levels.append(level.illuminance_lx)

    async def until(condition: object, seconds: float = 20.0) -> None:
        async with asyncio.timeout(seconds):
            while not condition():  # type: ignore[operator]
                await asyncio.sleep(0.005)

    async def soon(seconds: float) -> None:
        # A tenth of the waiting between attempts: the same states in a tenth of the time.
        await asyncio.sleep(seconds / 10)

    async def work() -> tuple[int, int]:
        url = "ble:C0:FF:EE:00:00:01"
        link = ReconnectingLink(url, link_for, sleep=soon)
        sensor = Sensor(link, None, None, states.append, decoder=decoder_for(url), on_level=on_level)
        await sensor.start()
        await sensor.identified()
        loop = asyncio.get_running_loop()
        end_s, early_kb, rounds = loop.time() + SECONDS, 0, 0
        while loop.time() < end_s or rounds < ROUNDS:
            rounds += 1
            await until(lambda: sensor.state.name == READY and bluetooth_air.subscribers(air.sensor, UP) > 0)
            before = len(levels)
            bluetooth_air.start_stream(air.sensor, UP, [b"\0", *air.readings(10)], 500)
            await until(lambda had=before: len(levels) >= had + 9)
            await asyncio.to_thread(air.fault)
            if rounds == ROUNDS // 2:
                gc.collect()
                early_kb = resident_kb()
            # What is lost is told: wait for it, so that the next readings are not sent into the loss.
            await asyncio.sleep(0.05)
        await sensor.stop()
        gc.collect()
        return rounds, resident_kb() - early_kb

    rounds, grown_kb = asyncio.run(work())
    numbers = [_number(level) for level in levels]
    assert numbers == sorted(set(numbers)), "a reading came twice or out of order"
    assert set(numbers) <= set(range(1, air.sent + 1)), "a reading was invented"
    assert len(numbers) >= 9 * (rounds - 1)
    assert set(air.faults) == set(FAULTS)
    assert sum(state.name == LOST for state in states) >= rounds * 0.3
    assert bluetooth_air.subscribers(air.sensor, UP) <= 1
    assert grown_kb < 20_000
    print(f"{rounds} rounds, {air.sent} readings sent, {len(numbers)} heard, faults {air.faults}, {grown_kb} KB grown")


def _number(level_lx: float) -> int:
    """Undo the assumed calibration: which number this reading carried (sum of the codes)."""
    raw = level_lx / FULL_SCALE_LX + PEDESTAL_RAW
    return round((raw * 1024 - 0.5) * COUNT) - DARK
