"""Bluetooth: notification to reading against bleak's own callback, what 200 Hz and idling cost, and how soon it begins.

The simulated Bluetooth service runs here, the reader in a process of its own; between them is a real message bus.  Each
round starts both readers anew, in turn: ``bare`` is a callback of bleak, ``ours`` the whole way through link, decoder and
calibration to the level's callback.  Run from the repository's root: ``python -m benchmarks.bench_ble``.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from benchmarks.side_by_side import Goal, print_goals

HZ = 200.0
COUNT = 400
SKIP = 40
"""The first notifications meet cold code on both sides."""
IDLE_S = 3.0
ROUNDS = 5
BLUETOOTH_TESTS = Path(__file__).parent.parent / "tests" / "bluetooth"


# --- the reader, in a process of its own ----------------------------------------------------------------------------


def read(mode: str) -> None:
    """Connect, say when the first reading came, then report whenever a line comes on standard input."""
    import asyncio

    received: list[int] = []
    first = asyncio.Event()

    def came(*_: object) -> None:
        received.append(time.monotonic_ns())
        first.set()

    async def main() -> None:
        start = time.monotonic()
        stop = await (_bare if mode == "bare" else _ours)(came)
        await asyncio.wait_for(first.wait(), 20)
        print(json.dumps({"first_s": time.monotonic() - start}), flush=True)
        lines = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(lines), sys.stdin)
        while await lines.readline():
            times, received[:] = list(received), []
            print(json.dumps({"cpu_s": time.process_time(), "at": times}), flush=True)
        await stop()

    asyncio.run(main())


async def _bare(came: Any) -> Any:
    from bleak import BleakClient, BleakScanner

    from meterlink.sensor.link import ble_uuids as uuids

    device = await BleakScanner.find_device_by_address("C0:FF:EE:00:00:01", timeout=10)
    client = BleakClient(device)
    await client.connect()
    await client.start_notify(uuids.NATIVE_FROM_SENSOR, came)
    return client.disconnect


async def _ours(came: Any) -> Any:
    from meterlink.sensor.link.reconnect import ReconnectingLink
    from meterlink.sensor.link.registry import link_for
    from meterlink.sensor.measuring.sensor import Sensor
    from meterlink.sensor.urls import decoder_for

    url = "ble:C0:FF:EE:00:00:01"
    sensor = Sensor(ReconnectingLink(url, link_for), decoder=decoder_for(url), on_level=came)
    await sensor.start()
    return sensor.stop


# --- the air, here ---------------------------------------------------------------------------------------------------


class Air:
    """The simulated service with one sensor of our own, which notes when it sent what."""

    def __init__(self) -> None:
        sys.path.insert(0, str(BLUETOOTH_TESTS))
        from bluez_sensors import speaking_sensor
        from bluez_standin import Standin

        from meterlink.sensor.dialects.sensor_side import SensorEncoder
        from meterlink.sensor.link import ble_uuids as uuids

        self.up = uuids.NATIVE_FROM_SENSOR
        self.encoder = SensorEncoder()
        self.sensor = speaking_sensor(self.encoder, piece=200)
        answer = self.sensor.on_write
        # The first reading follows the answer to "who are you", and for the bare reader the subscription.
        self.sensor.on_write = lambda uuid, data: [*answer(uuid, data), (self.up, self.steady())]
        self.sent: list[int] = []
        self.standin = Standin()
        self.standin.add(self.sensor)
        notify = self.standin._notify

        def noting(*args: Any) -> None:
            self.sent.append(time.monotonic_ns())
            notify(*args)

        self.standin._notify = noting

    def steady(self) -> bytes:
        """One frame of steady light."""
        return self.encoder.steady(1.0, 0, 5120, 10, 500, 520)

    def run(self, mode: str) -> dict[str, float]:
        """One reader: idle for a while, then 200 a second; return its figures."""
        reader = subprocess.Popen(
            [sys.executable, "-m", "benchmarks.bench_ble", "read", mode],
            env={**os.environ, **self.standin.environment}, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        try:
            first = json.loads(reader.stdout.readline())
            time.sleep(0.5)
            before = self._report(reader)
            time.sleep(IDLE_S)
            idle = self._report(reader)
            frames = [self.steady() for _ in range(COUNT)]
            self.sent.clear()
            start = time.monotonic()
            self.standin.stream(self.sensor, self.up, frames, HZ)
            time.sleep(0.2)
            spent_s = time.monotonic() - start
            sent = list(self.sent)
            busy = self._report(reader)
        finally:
            reader.stdin.close()
            reader.wait(10)
        assert len(busy["at"]) == COUNT, f"{mode}: {len(busy['at'])} of {COUNT} readings"
        late_us = [(at - was) / 1000 for at, was in zip(busy["at"], sent, strict=True)][SKIP:]
        return {
            "latency_us": statistics.median(late_us),
            "worst_us": max(late_us),
            "idle": (idle["cpu_s"] - before["cpu_s"]) / IDLE_S,
            "busy": (busy["cpu_s"] - idle["cpu_s"]) / spent_s,
            "first_s": first["first_s"],
        }

    def _report(self, reader: subprocess.Popen[str]) -> dict[str, Any]:
        reader.stdin.write("\n")
        reader.stdin.flush()
        return dict(json.loads(reader.stdout.readline()))


def main(rounds: int = ROUNDS) -> bool:
    """Print the figures; return whether the goals hold."""
    if sys.platform != "linux":
        print("Bluetooth: the simulated service needs Linux and dbus-daemon")
        return True
    air = Air()
    figures: dict[str, list[dict[str, float]]] = {"bare": [], "ours": []}
    try:
        for number in range(rounds):
            for mode in ("bare", "ours") if number % 2 else ("ours", "bare"):
                figures[mode].append(air.run(mode))
    finally:
        air.standin.stop()

    def middle(mode: str, name: str) -> float:
        return statistics.median(figure[name] for figure in figures[mode])

    pairs = list(zip(figures["ours"], figures["bare"], strict=True))
    ratio = statistics.median(ours["latency_us"] / bare["latency_us"] for ours, bare in pairs)
    goals = [
        Goal("notification to reading, ours / bleak's callback (p50)", ratio, "<=", 2.0),
        Goal("share of a core at 200 Hz", middle("ours", "busy"), "<=", 0.10),
        Goal("share of a core when idle", middle("ours", "idle"), "<=", 0.01),
    ]
    holds = print_goals(f"Bluetooth LE, {rounds} rounds of {COUNT} notifications at {HZ:g} Hz", goals)
    for mode in ("bare", "ours"):
        print(
            f"  {mode}: p50 {middle(mode, 'latency_us'):.0f} us, worst {middle(mode, 'worst_us'):.0f} us, "
            f"{middle(mode, 'busy'):.1%} of a core at {HZ:g} Hz, {middle(mode, 'idle'):.2%} idle, "
            f"connect to first reading {middle(mode, 'first_s') * 1000:.0f} ms"
        )
    return holds


if __name__ == "__main__":
    if sys.argv[1:2] == ["read"]:
        read(sys.argv[2])
    else:
        main()
