"""The app over the real links: the real firmware on a simulated chip by serial port, and Bluetooth by bleak itself."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")

from bluez_fixtures import bluetooth_air, make_air
from bluez_sensors import NATIVE_ADDRESS, speaking_sensor
from bluez_standin import Standin

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.records import Segment, WaveBlock
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.link import ble_uuids as uuids
from meterlink.sensor.link.registry import link_for
from mobile.sensor_desk import find_bluetooth
from tests.mobile.driving import Driver, drive

__all__ = ["bluetooth_air", "make_air"]

PATIENCE_S = 60.0


async def wait_for(d: Driver, condition, what: str) -> None:
    """Wait for something that comes in its own time, from another process."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            while not condition():
                await d.frames(1)
                d._fail_early()
    except TimeoutError:
        raise AssertionError(f"never came: {what}; the sensor says {d.app.sensors.status}") from None


def test_the_real_firmware_is_metered_through_the_app(tmp_path: Path) -> None:
    """Two pops of known exposure on the chip's light bench: the table's stops are log2 of their ratio, within 0.1 stop."""
    if reason := why_not():
        pytest.skip(reason)

    with SimulatedChip(paused=False) as chip:
        chip.ambient(200.0)

        async def scenario(d: Driver) -> tuple[list[float], list[float | None], int]:
            d.app.connect(f"serial:{chip.pty_path}")
            await wait_for(d, lambda: d.app.sensors.status.ready, "the firmware's name")
            await d.settled()
            await d.tap("count:2")
            truth = []
            for peak_lx in (900_000.0, 500_000.0):
                for _ in range(3):
                    await asyncio.sleep(1.0)  # as long as a head takes to recycle: sooner is a stray, and not logged
                    before, readings = d.app.desk._outcome, len(d.app.desk.shot.view.readings)
                    exposure = await asyncio.to_thread(chip.pop, peak_lx, decay_us=700, rise_us=30)
                    await wait_for(d, lambda before=before: d.app.desk._outcome is not before, "the pop")
                    await d.settled()
                    if len(d.app.desk.shot.view.readings) > readings:
                        truth.append(exposure)
                        break
                    await asyncio.to_thread(chip.ambient, 200.0)
            await wait_for(d, lambda: d.find("row:KEY") is not None, "the table on the screen")
            stops = [row.from_key_stops for row in d.app.desk.shot.table.rows]
            return truth, stops, len(d.find("row:KEY").figure_text)

        truth, stops, shown = drive(tmp_path / "library.db", scenario, make_link=link_for)

    from math import log2

    assert len(truth) == 2
    assert stops[1] == pytest.approx(log2(truth[1] / truth[0]), abs=0.1)
    assert shown > 0


def block_of(pop: int, peak: int) -> WaveBlock:
    """A flash as the sensor's ring holds it: 32 samples of dark, then an exponential of 40 samples."""
    from math import exp

    values = [6] * 32 + [6 + int(peak * exp(-i / 40)) for i in range(480)]
    return WaveBlock(0.0, pop, bytes(values), 8, 8, (Segment(0, len(values), 13e-6),), 32)


def test_a_bluetooth_sensor_is_found_connected_lost_and_back_without_a_hand(
    bluetooth_air: Standin, tmp_path: Path
) -> None:
    """Found by a real scan, connected by a tap; its pop is logged; a drop is told, and it comes back by itself."""
    encoder = SensorEncoder()
    sensor = bluetooth_air.add(speaking_sensor(encoder))

    def send(data: bytes) -> None:
        for start in range(0, len(data), 180):
            bluetooth_air.notify(sensor, uuids.NATIVE_FROM_SENSOR, data[start : start + 180])

    def fire(pop: int) -> None:
        send(encoder.pop(pop * 3.0, pop, 0))
        send(encoder.block(pop * 3.0, block_of(pop, 120)))

    async def scenario(d: Driver) -> tuple[str, str, str, int]:
        url = f"ble:{NATIVE_ADDRESS}"
        await wait_for(d, lambda: d.find(f"found:{url}"), "the sensor in the list")
        await d.tap(f"found:{url}")
        await wait_for(d, lambda: d.app.sensors.status.ready, "the sensor's name")
        await d.settled()
        await d.tap("count:3")
        await asyncio.to_thread(fire, 1)
        await wait_for(d, lambda: len(d.app.desk.shot.view.readings) == 1, "the first pop")
        await d.settled()
        after = d.text("headline")
        await asyncio.to_thread(bluetooth_air.drop, sensor)
        await wait_for(d, lambda: "lost" in d.app.strip, "the loss is told")
        lost = d.app.strip
        await wait_for(d, lambda: d.app.sensors.status.ready, "the sensor is back")
        await d.settled()
        d.app.desk.session._last_flash = None  # the stand-in's pops come faster than a hand fires
        await asyncio.to_thread(fire, 2)
        await wait_for(d, lambda: len(d.app.desk.shot.view.readings) == 2, "the second pop")
        await d.settled()
        return after, lost, d.text("headline"), d.taps

    after, lost, headline, taps = drive(
        tmp_path / "library.db", scenario, make_link=link_for, finders=(find_bluetooth,), limit_s=110
    )

    assert after == "FILL"
    assert "connection lost" in lost
    assert headline == "HAIR"
    assert taps == 2
