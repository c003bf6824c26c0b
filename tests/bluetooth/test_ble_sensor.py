"""Bluetooth sensors through the whole chain: URL, link, decoder, identity, levels; also from another process."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from pathlib import Path
from struct import pack

import pytest
from bluez_sensors import WHO, speaking_sensor, standard_sensor, text_sensor
from bluez_standin import Standin

from meterlink.records import Identity, Measurement
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.link import ble_uuids as uuids
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import LOST, READY, SensorState
from meterlink.sensor.urls import decoder_for

UP = uuids.NATIVE_FROM_SENSOR

class Heard:
    """States and levels of one sensor."""

    def __init__(self) -> None:
        self.states: list[SensorState] = []
        self.levels: list[Measurement] = []

    async def until(self, condition: object) -> None:
        """Wait for a condition."""
        async with asyncio.timeout(15):
            while not condition():  # type: ignore[operator]
                await asyncio.sleep(0.01)


def sensor_for(url: str, heard: Heard) -> Sensor:
    """A sensor as the session makes it."""
    link = ReconnectingLink(url, link_for)
    return Sensor(link, None, None, heard.states.append, decoder=decoder_for(url), on_level=heard.levels.append)


def test_our_own_sensor_introduces_itself_and_comes_back(bluetooth_air: Standin) -> None:
    """Identity over the air, steady light, a loss told once, and back without a hand."""
    encoder = SensorEncoder()
    air_sensor = bluetooth_air.add(speaking_sensor(encoder))

    async def work() -> None:
        heard = Heard()
        sensor = sensor_for("ble:C0:FF:EE:00:00:01", heard)
        await sensor.start()
        assert (await sensor.identified()).sensor_id == WHO.sensor_id
        for turn in range(2):
            bluetooth_air.notify(air_sensor, UP, encoder.steady(1.0, 0, 5120, 10, 500, 520))
            await heard.until(lambda now=turn: len(heard.levels) == now + 1)
            bluetooth_air.drop(air_sensor)
            await heard.until(lambda now=turn: sum(state.name == LOST for state in heard.states) == now + 1)
            await heard.until(lambda now=turn: sum(state.name == READY for state in heard.states) == now + 2)
        assert len(heard.levels) == 2
        await sensor.stop()

    asyncio.run(work())


def test_standard_sensor_is_ready_at_once(bluetooth_air: Standin) -> None:
    """What was read while connecting is the first level; the sensor is told apart as steady only."""
    bluetooth_air.add(standard_sensor())

    async def work() -> None:
        heard = Heard()
        sensor = sensor_for("ble:C0:FF:EE:00:00:03", heard)
        await sensor.start()
        identity = await sensor.identified()
        assert (identity.name, identity.flash) == ("Room light", False)
        await heard.until(lambda: bool(heard.levels))
        assert heard.levels[0].illuminance_lx == pytest.approx(512.3)
        assert heard.levels[0].sensor_id == "C0:FF:EE:00:00:03"
        await heard.until(lambda: sensor.intake.battery is not None)
        await sensor.stop()

    asyncio.run(work())


def test_text_sensor(bluetooth_air: Standin) -> None:
    """Lines over the air are levels, with the address as who it is."""
    air_sensor = bluetooth_air.add(text_sensor())

    async def work() -> None:
        heard = Heard()
        sensor = sensor_for("ble:C0:FF:EE:00:00:02", heard)
        await sensor.start()
        bluetooth_air.start_stream(air_sensor, uuids.TEXT_FROM_SENSOR, [b"47.6 fc\n"] * 20, 50)
        await heard.until(lambda: len(heard.levels) >= 5)
        assert heard.levels[0].illuminance_lx == pytest.approx(512.362136)
        assert heard.levels[0].sensor_id == "C0:FF:EE:00:00:02"
        await sensor.stop()

    asyncio.run(work())


def test_another_process_hears_the_same_air(bluetooth_air: Standin) -> None:
    """A real subprocess that inherits the environment finds and reads the sensors: the command line can be tested."""
    bluetooth_air.add(standard_sensor())
    program = (
        "import asyncio\n"
        "from meterlink.sensor.link.ble_air import scan\n"
        "from meterlink.sensor.link.registry import link_for\n"
        "from meterlink.sensor.urls import decoder_for\n"
        "async def main():\n"
        "    (seen,) = await scan(0.5)\n"
        "    link, decoder, found = link_for(seen.url), decoder_for(seen.url), []\n"
        "    await link.open(lambda *a: found.extend(decoder.feed(*a)), print)\n"
        "    await asyncio.sleep(0.2)\n"
        "    await link.close()\n"
        "    print(seen.what, [s.illuminance_lx for s in found if hasattr(s, 'raw')][0])\n"
        "asyncio.run(main())\n"
    )
    environment = {**os.environ, **bluetooth_air.environment, "PYTHONPATH": os.pathsep.join(sys.path)}
    result = subprocess.run(
        [sys.executable, "-c", program], env=environment, capture_output=True, text=True, timeout=60, check=False
    )
    assert result.stdout == "environmental sensor, maybe with light 512.3\n", result.stderr


def test_values_that_nobody_may_believe(bluetooth_air: Standin) -> None:
    """A standard sensor that sends other lengths and codes gives no level and no error."""
    air_sensor = standard_sensor()
    del air_sensor.services[uuids.ENVIRONMENTAL_SENSING][1:]
    bluetooth_air.add(air_sensor)

    async def work() -> None:
        heard = Heard()
        sensor = sensor_for("ble:C0:FF:EE:00:00:03", heard)
        await sensor.start()
        await heard.until(lambda: bool(heard.levels))
        for value in (b"", b"\xff\xff\xff", b"\0" * 9, pack("<I", 100)):
            bluetooth_air.notify(air_sensor, uuids.full("2AFB"), value)
        bluetooth_air.notify(air_sensor, uuids.full("2AFB"), (100).to_bytes(3, "little"))
        await heard.until(lambda: heard.levels[-1].illuminance_lx == 1.0)
        assert len(heard.levels) == 2
        assert sensor.damaged_frames == 3
        await sensor.stop()

    asyncio.run(work())


def test_a_recording_is_enough_to_hear_it_again(bluetooth_air: Standin, tmp_path: Path) -> None:
    """What came over the air, recorded, gives the same identity and levels without any Bluetooth."""
    from meterlink.sensor.link.recording import RecordingLink

    air_sensor = standard_sensor()
    del air_sensor.services[uuids.ENVIRONMENTAL_SENSING][1:]
    bluetooth_air.add(air_sensor)
    path = tmp_path / "air.jsonl"

    async def heard_through(link: Link, url: str, count: int) -> tuple[Identity, list[float | None]]:
        heard = Heard()
        sensor = Sensor(link, None, None, heard.states.append, decoder=decoder_for(url), on_level=heard.levels.append)
        await sensor.start()
        # A short recording may have ended before anybody looks: its state says who was there.
        await heard.until(lambda: any(state.name == READY for state in heard.states))
        identity = next(state.identity for state in heard.states if state.name == READY)
        assert identity is not None
        # The value read while connecting comes first; one that notifies before would make it old.
        await heard.until(lambda: bool(heard.levels))
        for number in range(count - 1 if isinstance(link, RecordingLink) else 0):
            bluetooth_air.notify(air_sensor, uuids.full("2AFB"), (100 * number).to_bytes(3, "little"))
        await heard.until(lambda: len(heard.levels) == count)
        await sensor.stop()
        return identity, [level.illuminance_lx for level in heard.levels]

    async def work() -> None:
        url = "ble:C0:FF:EE:00:00:03"
        live = await heard_through(RecordingLink(link_for(url), path), url, 4)
        again = await heard_through(link_for(f"file:{path}"), f"file:{path}", 4)
        assert live == again
        assert live[0].name == "Room light"

    asyncio.run(work())
