"""Trying a port: real ptys with a sensor's bytes behind them."""

from __future__ import annotations

import asyncio
import os
import pty
import threading
import tty
from collections.abc import Callable, Iterator

import pytest

from meterlink.errors import LinkNotFound, UsageError
from meterlink.sensor import probe
from meterlink.sensor.dialects.dialect_file import complete_url, find_dialect
from meterlink.sensor.dialects.guess import Proposal


class FakeSensor:
    """A device on a pty: says ``line`` all the time, or answers each question."""

    def __init__(self, line: bytes = b"", answer: Callable[[bytes], bytes] | None = None) -> None:
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.path, self._slave = os.ttyname(slave), slave
        self.heard = bytearray()
        self._line, self._answer = line, answer
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        os.set_blocking(self._master, False)
        while not self._over.wait(0.02):
            try:
                data = os.read(self._master, 1000)
            except BlockingIOError:
                data = b""
            self.heard += data
            try:
                os.write(self._master, self._line + (self._answer(data) if self._answer and data else b""))
            except BlockingIOError:
                pass

    def stop(self) -> None:
        """End it."""
        self._over.set()
        self._thread.join(5)
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def sensor() -> Iterator[Callable[..., FakeSensor]]:
    """Make fake sensors."""
    made: list[FakeSensor] = []

    def make(**options: object) -> FakeSensor:
        made.append(FakeSensor(**options))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for each in made:
        each.stop()


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Listen a short while at each setting."""
    monkeypatch.setattr(probe, "LISTEN_S", 0.3)


def tried(path: str, **options: object) -> Proposal:
    """Try a port."""
    return asyncio.run(probe.try_port(path, **options))  # type: ignore[arg-type]


def test_lines_are_proposed(sensor: Callable[..., FakeSensor]) -> None:
    """Text lines on a port, found without knowing anything about it; the URL is ready to use."""
    device = sensor(line=b"512.3 lx\r\n")
    proposal = tried(device.path)
    assert proposal.dialect == "lux-lines"
    assert "lines such as `512.3 lx`" in str(proposal.evidence)
    assert complete_url(proposal.url) == proposal.url


def test_listening_only_writes_nothing(sensor: Callable[..., FakeSensor]) -> None:
    """Without asking, not one byte goes to the port."""
    device = sensor(line=b"512.3 lx\r\n")
    assert tried(device.path, ask=False).dialect == "lux-lines"
    assert device.heard == b""


def test_sensor_that_only_answers_is_asked(sensor: Callable[..., FakeSensor], monkeypatch: pytest.MonkeyPatch) -> None:
    """A question mark brings foot-candles with a decimal comma."""
    device = sensor(answer=lambda data: b"47,6 fc\r" if data == b"?\r" else b"")
    asked = find_dialect("fc-comma")
    monkeypatch.setattr(probe, "shipped_dialects", lambda: [asked])
    monkeypatch.setattr(probe, "_settings", lambda *_: [asked.serial])
    proposal = tried(device.path)
    assert proposal.dialect == "fc-comma"


def test_silent_port(sensor: Callable[..., FakeSensor], monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing heard is said in words, with every setting told as it is tried."""
    told: list[str] = []
    monkeypatch.setattr(probe, "shipped_dialects", lambda: [find_dialect("lux-lines")])
    proposal = tried(sensor().path, ask=False, on_progress=told.append)
    assert "nothing was heard" in str(proposal.evidence)
    assert len(told) == 8
    assert told[0].endswith("250000 baud (1 of 8)")


def test_what_cannot_be_tried() -> None:
    """A missing port is not found; what is no port is wrong use."""
    with pytest.raises(LinkNotFound):
        tried("/dev/ttyNOSUCH7")
    with pytest.raises(UsageError, match="only serial ports"):
        tried("ble:C0:FF:EE:00:00:01")
