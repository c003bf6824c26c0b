"""A serial line on a pty: last byte of a frame → reading's callback, and what a sensor costs while it runs and idles.

A process of its own writes one frame every 2 ms and notes when.  The readers take turns, each with a writer of its own:
a bare ``os.read`` + ``selectors`` loop (alone, and with the least code that makes a reading), ours (to the link's callback,
and the whole way through decoder and calibration to the level's), and pyserial's ``readline()`` on lines of that length.

Goals: from the last byte to the reading p50 is at most twice that of a loop that looks at nothing, and sooner than ``readline()``;
a sensor at 200 Hz is below 10 % of one core, an idle one below 1 %.  Printed beside them, to tell where the time goes: the link's
own callback, a loop with the least code that makes a checked reading of a frame, one with our decoder.  Code that runs once in
2 ms finds the processor cold and costs ten times what it costs in a row.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import selectors
import statistics
import sys
import time
import tty
import zlib
from collections.abc import Callable
from multiprocessing import shared_memory
from multiprocessing.connection import Connection
from pathlib import Path
from struct import Struct

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from cobs import cobs

from benchmarks.side_by_side import Goal, print_goals
from meterlink.records import Calibration, Identity, Steady
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.serial_port import SerialLink
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.sensor.measuring.levels import level
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import ChipModel

FRAMES = 250
SKIP = 50
"""The first frames meet cold code on both sides."""
EVERY_S = 0.002
ROUNDS = 9
RUN_S = 3.0


def write_frames(fd: int, count: int, every_s: float, lines: bool, times: str, start: Connection) -> None:
    """Write ``count`` frames, or lines of their length, at an even pace; note the time of each in shared memory."""
    chip = ChipModel(noise_codes=0.0)
    identity = chip.restart()
    frame = [chip.steady(i / 10) for i in range(count)]
    if lines:
        frame = [b"%0*d\n" % (len(f) - 1, i) for i, f in enumerate(frame)]
    memory = shared_memory.SharedMemory(times)
    stamps = memory.buf.cast("q")
    start.send("ready")
    start.recv()
    if not lines:
        os.write(fd, identity)
        time.sleep(0.05)
    due = time.monotonic()
    for i, data in enumerate(frame):
        due += every_s
        time.sleep(max(0.0, due - time.monotonic()))
        stamps[i] = time.monotonic_ns()
        os.write(fd, data)
    stamps.release()
    memory.close()


class Line:
    """A pty with a writing process at its other end."""

    def __init__(self, *, count: int = FRAMES, every_s: float = EVERY_S, lines: bool = False) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.name = os.ttyname(self.slave)
        self.count = count
        self._memory = shared_memory.SharedMemory(create=True, size=8 * count)
        self._go, theirs = multiprocessing.Pipe()
        context = multiprocessing.get_context("fork")
        self._writer = context.Process(
            target=write_frames, args=(self.master, count, every_s, lines, self._memory.name, theirs), daemon=True
        )
        self._writer.start()
        self._go.recv()

    def go(self) -> None:
        """Let the writer begin."""
        self._go.send(None)

    def end(self, seen_ns: list[int]) -> float:
        """Close everything; return the median delay in seconds of the frames after the first."""
        self._writer.join()
        sent = list(self._memory.buf.cast("q"))
        self._memory.close()
        self._memory.unlink()
        os.close(self.master)
        os.close(self.slave)
        if len(seen_ns) < self.count:
            raise SystemExit(f"only {len(seen_ns)} of {self.count} frames came")
        pairs = zip(seen_ns[SKIP : self.count], sent[SKIP:], strict=True)
        return statistics.median(seen - was for seen, was in pairs) / 1e9


def bare_reading() -> float:
    """os.read + selectors and the least code that makes a checked reading in lux of a frame."""
    unpack = Struct("<4xIBBIHHHH").unpack_from
    tail = b""
    seen: list[int] = []

    def take(data: bytes) -> None:
        nonlocal tail
        *parts, tail = (tail + data).split(b"\0")
        for part in parts:
            frame = cobs.decode(part) if part else b""
            if len(frame) >= 26 and zlib.crc32(frame[:-4]) == int.from_bytes(frame[-4:], "little") and frame[1] == 2:
                _ms, _range, _flags, total, count, _low, _high, _mm = unpack(frame)
                show((total / count + 0.5) / 1024 * 2e6)

    def show(_level_lx: float) -> None:
        seen.append(time.monotonic_ns())

    return bare(take, seen)


def bare_same() -> float:
    """os.read + selectors feeding the very decoder and calibration that we use: what is left is our link and sensor."""
    decoder = NativeDecoder()
    calibration: Calibration | None = None
    seen: list[int] = []

    def take(data: bytes) -> None:
        nonlocal calibration
        for sample in decoder.feed(data, time.monotonic()):
            if isinstance(sample, Identity):
                calibration = default_calibration(sample)
            elif isinstance(sample, Steady) and calibration is not None and level(sample, "bench", calibration):
                seen.append(time.monotonic_ns())

    return bare(take, seen)


def bare(take: Callable[[bytes], None] | None = None, seen: list[int] | None = None) -> float:
    """os.read + selectors, and nothing done with the bytes but to count frames, unless ``take`` does."""
    seen = [] if seen is None else seen
    line = Line()
    fd = os.open(line.name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    with selectors.DefaultSelector() as selector:
        selector.register(fd, selectors.EVENT_READ)
        line.go()
        ended = 0
        while len(seen) < line.count:
            selector.select()
            data = os.read(fd, 4096)
            if take is not None:
                take(data)
                continue
            now = time.monotonic_ns()
            ended += data.count(0)
            # The identity and the 0x00 before it are no readings.
            seen += [now] * max(0, ended - 2 - len(seen))
    os.close(fd)
    return line.end(seen)


def ours() -> float:
    """From the port to the callback of a level in lux."""
    line = Line()
    seen: list[int] = []

    async def run() -> None:
        done = asyncio.Event()

        def on_level(_level: object) -> None:
            seen.append(time.monotonic_ns())
            if len(seen) == line.count:
                done.set()

        sensor = Sensor(SerialLink(line.name), on_level=on_level)
        await sensor.start()
        line.go()
        await asyncio.wait_for(done.wait(), 30)
        await sensor.stop()

    asyncio.run(run())
    return line.end(seen)


def link_only() -> float:
    """From the port to the link's own callback."""
    line = Line()
    seen: list[int] = []
    ended = 0

    async def run() -> None:
        done = asyncio.Event()

        def on_bytes(data: bytes, _at_s: float, _channel: str) -> None:
            nonlocal ended
            now = time.monotonic_ns()
            ended += data.count(0)
            seen.extend([now] * max(0, ended - 2 - len(seen)))
            if len(seen) >= line.count:
                done.set()

        link = SerialLink(line.name)
        await link.open(on_bytes, lambda _: None)
        line.go()
        await asyncio.wait_for(done.wait(), 30)
        await link.close()

    asyncio.run(run())
    return line.end(seen)


def readline() -> float:
    """pyserial's readline(), as in most examples."""
    import serial

    line = Line(lines=True)
    port = serial.Serial(line.name, timeout=5)
    line.go()
    seen = []
    for _ in range(line.count):
        port.readline()
        seen.append(time.monotonic_ns())
    port.close()
    return line.end(seen)


def cost(every_s: float, seconds: float) -> tuple[float, float]:
    """Return (share of a core, seconds from connecting to the first level) of a sensor at this pace."""
    count = max(SKIP + 1, int(seconds / every_s))
    line = Line(count=count, every_s=every_s)
    seen: list[int] = []
    used = 0.0
    first_s = 0.0

    async def run() -> None:
        nonlocal used, first_s
        done, first = asyncio.Event(), asyncio.Event()

        def on_level(_level: object) -> None:
            seen.append(time.monotonic_ns())
            first.set()
            if len(seen) == count:
                done.set()

        sensor = Sensor(SerialLink(line.name), on_level=on_level)
        start = time.monotonic()
        await sensor.start()
        # Opening throws away what had been waiting in the port.
        line.go()
        await first.wait()
        first_s = time.monotonic() - start
        before, began = time.process_time(), time.monotonic()
        await done.wait()
        used = (time.process_time() - before) / (time.monotonic() - began)
        await sensor.stop()

    asyncio.run(run())
    line.end(seen)
    return used, first_s


def idle(seconds: float) -> float:
    """Return the share of a core of a connected sensor that says nothing."""
    master, slave = os.openpty()
    tty.setraw(slave)
    chip = ChipModel()

    async def run() -> float:
        sensor = Sensor(SerialLink(os.ttyname(slave)))
        await sensor.start()
        os.write(master, chip.restart())
        await sensor.identified()
        await asyncio.sleep(0.2)
        before = time.process_time()
        await asyncio.sleep(seconds)
        used = (time.process_time() - before) / seconds
        await sensor.stop()
        return used

    used = asyncio.run(run())
    os.close(master)
    os.close(slave)
    return used


def main() -> int:
    """Print the table; exit 1 when a goal is missed."""
    cases = {
        "bare": bare,
        "bare, least reading": bare_reading,
        "bare, our decoder": bare_same,
        "link": link_only,
        "ours": ours,
        "readline": readline,
    }
    names = list(cases)
    delays: dict[str, list[float]] = {name: [] for name in names}
    for i in range(ROUNDS):
        turn = i % len(names)
        for name in names[turn:] + names[:turn]:
            delays[name].append(cases[name]())

    def ratio(top: str, bottom: str) -> float:
        return statistics.median(a / b for a, b in zip(delays[top], delays[bottom], strict=True))

    busy, first_s = cost(1 / 200, RUN_S)
    goals = [
        Goal("last byte → reading, p50 over os.read + selectors", ratio("ours", "bare"), "<=", 2),
        Goal("the same, how much sooner than readline()", ratio("readline", "ours"), ">=", 1),
        Goal("one sensor at 200 Hz, % of a core", busy * 100, "<=", 10),
        Goal("an idle sensor, % of a core", idle(RUN_S) * 100, "<=", 1),
    ]
    held = print_goals("serial line on a pty", goals)
    link, same, least = ratio("link", "bare"), ratio("ours", "bare, our decoder"), ratio("bare, least reading", "bare")
    print(f"  for comparison, the link's callback over os.read + selectors {link:.2f}, least code {least:.2f}; "
          f"our reading over a loop with our decoder {same:.2f}")
    shown = ", ".join(f"{name} {statistics.median(times) * 1e6:.0f}" for name, times in delays.items())
    print(f"  p50 in µs: {shown}; connecting to first reading {first_s * 1e3:.0f} ms, of which 50 are the writer's")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
