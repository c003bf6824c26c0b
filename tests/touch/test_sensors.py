"""Real sensors in the hand: the firmware on a simulated chip over a pty, and two Bluetooth sensors that come and go."""

from __future__ import annotations

import time
from collections.abc import Callable
from math import exp, log2

import pytest
from bluez_fixtures import bluetooth_air, make_air
from bluez_sensors import NATIVE_ADDRESS, speaking_sensor
from bluez_standin import Standin

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.records import Segment, WaveBlock
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.link import ble_uuids as uuids
from tests.touch.hands import Phone

__all__ = ["bluetooth_air", "make_air"]
Start = Callable[..., Phone]
OTHER_ADDRESS = "C8:7B:11:00:00:02"


def test_the_real_firmware_is_metered_by_touch_over_a_serial_line(phone: Start) -> None:
    """Two known pops on the chip's bench: the row of the set says their ratio in stops; text, theme and side change in between."""
    if reason := why_not():
        pytest.skip(reason)
    with SimulatedChip(paused=False) as chip:
        chip.ambient(200.0)
        p = phone(url=f"serial:{chip.pty_path}")
        p.ready()
        p.tap("count:2")
        truth: list[float] = []
        for peak_lx in (900_000.0, 500_000.0):
            for _ in range(3):
                time.sleep(1.0)
                before = p.screen().said
                exposure_lxs = chip.pop(peak_lx, decay_us=700, rise_us=30)
                now = p.until(lambda s, n=before["outcomes"]: s.said["outcomes"] > n, "the pop is told")
                if now.said["readings"] > before["readings"]:
                    truth.append(exposure_lxs)
                    break
            p.turn(640, 360)
            p.wear("paper", 1.5)
            p.turn(360, 640)
            p.wear("amber", 1.0)
        now = p.until(lambda s: s.text("row:FILL:stops"), "the set, by itself")
        seen = float(now.text("row:FILL:stops").split("±")[0].replace("−", "-"))

    assert len(truth) == 2
    assert seen == pytest.approx(log2(truth[1] / truth[0]), abs=0.1)


def _block(pop: int) -> WaveBlock:
    """A flash as the sensor's ring holds it: 32 samples of dark, then an exponential."""
    values = [6] * 32 + [6 + int(120 * exp(-i / 40)) for i in range(480)]
    return WaveBlock(0.0, pop, bytes(values), 8, 8, (Segment(0, len(values), 13e-6),), 32)


def test_two_bluetooth_sensors_come_and_go(bluetooth_air: Standin, phone: Start, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both are found; the one in use drops and comes back by itself; the other takes over by one touch; each pop counts once."""
    monkeypatch.setenv("METERLINK_TEST_BLUETOOTH", "1")
    encoders = SensorEncoder(), SensorEncoder()
    one = bluetooth_air.add(speaking_sensor(encoders[0]))
    two = speaking_sensor(encoders[1], OTHER_ADDRESS)
    two.name = "Dome two"
    bluetooth_air.add(two)

    def fire(sensor, encoder: SensorEncoder, pop: int) -> None:
        for data in (encoder.pop(pop * 3.0, pop, 0), encoder.block(pop * 3.0, _block(pop))):
            for start in range(0, len(data), 180):
                bluetooth_air.notify(sensor, uuids.NATIVE_FROM_SENSOR, data[start : start + 180])

    p = phone(url="")
    urls = f"ble:{NATIVE_ADDRESS}", f"ble:{OTHER_ADDRESS}"
    now = p.until(lambda s: all(s.any(f"found:{url}") for url in urls), "both sensors in the list", 30)
    assert now.any(f"found:{urls[1]}").text == "Dome two"
    p.tap(f"found:{urls[0]}")
    p.ready()
    p.tap("count:3")
    fire(one, encoders[0], 1)
    p.until(lambda s: s.said["readings"] == 1, "the first pop")
    bluetooth_air.drop(one)
    p.until(lambda s: s.text("headline") == "Sensor lost", "the loss in the headline")
    p.until(lambda s: s.said["ready"] and s.text("headline") == "FILL", "it is back by itself", 40)
    p.show("sensors")
    p.tap("connect:Dome two")
    p.ready()
    p.until(lambda s: "lost" not in s.text("strip"), "the other one in use")
    p.tap("place:metering")
    time.sleep(1.0)
    fire(two, encoders[1], 1)
    p.until(lambda s: s.said["readings"] == 2, "the second pop")
    bluetooth_air.drop(two)
    p.until(lambda s: s.text("headline") == "Sensor lost", "the loss of the other one")
    p.until(lambda s: s.said["ready"] and s.text("headline") == "HAIR", "the light that waits", 40)

    assert p.settled().said["readings"] == 2
