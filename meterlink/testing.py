"""Test doubles that users of the package and its own tests share: a scripted link, a clock, a port made of a pty.

Nothing here sleeps or opens hardware.
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
import os
import pty
import selectors
from collections.abc import Iterable
from types import TracebackType

from meterlink.errors import LinkError, LinkLost
from meterlink.sensor.link.base import OnBytes, OnLost

__all__ = ["FakeClock", "PtyPort", "ScriptedLink", "VirtualLoop", "settle"]


async def settle(rounds: int = 20) -> None:
    """Let everything that is ready on the event loop run, without any time passing."""
    for _ in range(rounds):
        await asyncio.sleep(0)


class FakeClock:
    """A monotonic clock that moves only when told; call it for the time, ``await clock.sleep(s)`` to wait on it."""

    def __init__(self, now_s: float = 1000.0) -> None:
        self.now_s = now_s
        self._sleepers: list[tuple[float, int, asyncio.Future[None]]] = []
        self._order = itertools.count()

    def __call__(self) -> float:
        """Return the time in seconds."""
        return self.now_s

    async def sleep(self, duration_s: float) -> None:
        """Wait until the clock has been moved on by ``duration_s``."""
        waiter: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        heapq.heappush(self._sleepers, (self.now_s + max(0.0, duration_s), next(self._order), waiter))
        await waiter

    async def advance(self, duration_s: float) -> None:
        """Move the clock on and wake, in their order, those who have waited long enough."""
        end_s = self.now_s + duration_s
        await settle()
        while self._sleepers and self._sleepers[0][0] <= end_s:
            self.now_s, _, waiter = heapq.heappop(self._sleepers)
            if not waiter.done():
                waiter.set_result(None)
                await settle()
        self.now_s = end_s
        await settle()

    @property
    def sleeper_count(self) -> int:
        """How many are waiting."""
        return sum(not waiter.done() for _, _, waiter in self._sleepers)


class _JumpingSelector(selectors.DefaultSelector):
    """Instead of waiting for a timer it moves the loop's clock to it."""

    skipped_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None:
            return super().select(None)
        ready = super().select(0)
        if not ready and timeout > 0.0:
            self.skipped_s += timeout
        return ready


class VirtualLoop(asyncio.SelectorEventLoop):
    """An event loop whose time jumps from timer to timer: hours of waiting pass in the time that the work takes.

    ``asyncio.Runner(loop_factory=VirtualLoop)``; use ``loop.time`` as the clock of what runs on it.
    """

    def __init__(self) -> None:
        self._jumping = _JumpingSelector()
        super().__init__(self._jumping)

    def time(self) -> float:
        """Return the virtual time in seconds."""
        return 1000.0 + self._jumping.skipped_s


class ScriptedLink:
    """A link that expects to be told certain bytes and answers each with others.

    ``exchanges`` are pairs (what must be written, what comes back); other bytes than the next pair expects raise
    ``AssertionError`` in the writer.  As a context manager, or by ``assert_done``, it fails on left-over pairs.
    """

    def __init__(
        self, exchanges: Iterable[tuple[bytes, bytes]] = (), *, url: str = "scripted:", clock: FakeClock | None = None
    ) -> None:
        self.url = url
        self.clock = clock or FakeClock()
        self.written: list[bytes] = []
        self.refusal: LinkError | None = None
        """Raised by the next ``open``."""
        self._left = list(exchanges)
        self._on_bytes: OnBytes | None = None
        self._on_lost: OnLost | None = None

    @property
    def is_open(self) -> bool:
        """Whether somebody listens."""
        return self._on_bytes is not None

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Open, or refuse once when a refusal was set."""
        refusal, self.refusal = self.refusal, None
        if refusal is not None:
            raise refusal
        self._on_bytes, self._on_lost = on_bytes, on_lost

    async def write(self, data: bytes) -> None:
        """Check ``data`` against the script and answer."""
        if self._on_bytes is None:
            raise LinkLost("the scripted link is not open: open it first", self.url)
        self.written.append(data)
        if not self._left:
            raise AssertionError(f"written beyond the script: {data.hex(' ')}")
        expected, answer = self._left.pop(0)
        if data != expected:
            raise AssertionError(f"expected {expected.hex(' ')}, was written {data.hex(' ')}")
        if answer:
            self.say(answer)

    async def close(self) -> None:
        """Close."""
        self._on_bytes = self._on_lost = None

    def say(self, data: bytes, channel: str = "") -> None:
        """Deliver bytes that nobody asked for."""
        if self._on_bytes is None:
            raise AssertionError("nobody listens on the scripted link")
        self._on_bytes(data, self.clock(), channel)

    def lose(self, words: str = "unplugged: plug it in again") -> None:
        """Break the link."""
        on_lost, self._on_bytes, self._on_lost = self._on_lost, None, None
        if on_lost is not None:
            on_lost(LinkLost(words, self.url))

    def assert_done(self) -> None:
        """Fail when the script was not played to its end."""
        if self._left:
            raise AssertionError(f"{len(self._left)} exchanges of the script were left, first {self._left[0][0].hex(' ')}")

    def __enter__(self) -> ScriptedLink:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        if kind is None:
            self.assert_done()


class PtyPort:
    """A real pty in raw mode as a serial port (POSIX): ``name`` is what a link opens, the test is the sensor."""

    def __init__(self) -> None:
        import tty

        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.name = os.ttyname(self.slave)

    def say(self, data: bytes) -> None:
        """Send as the sensor.  Fails when the line's buffer (some 4 KB) is full because the host does not read."""
        try:
            sent = os.write(self.master, data)
        except BlockingIOError:
            sent = 0
        if sent < len(data):
            raise AssertionError(f"only {sent} of {len(data)} bytes fit into the line: let the host read in between")

    def heard(self) -> bytes:
        """Return what the host has sent so far."""
        try:
            return os.read(self.master, 65536)
        except BlockingIOError:
            return b""

    def unplug(self) -> None:
        """Pull the cable: the host's reads fail from now on."""
        for fd in (self.slave, self.master):
            if fd >= 0:
                os.close(fd)
        self.slave = self.master = -1

    def __enter__(self) -> PtyPort:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.unplug()
