"""Serial links over real ptys and pyserial's own URLs: bytes, errors with advice, unplugging."""

from __future__ import annotations

import asyncio
import errno
import os
import socket
import stat
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
import serial

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound, UsageError
from meterlink.sensor.link import serial_port
from meterlink.sensor.link.registry import link_for, parse
from meterlink.sensor.link.serial_port import SerialLink
from meterlink.testing import PtyPort


class Ear:
    """Collects what a link delivers and lets a test wait for it."""

    def __init__(self) -> None:
        self.data = b""
        self.times: list[float] = []
        self.lost: list[LinkError] = []
        self._changed = asyncio.Event()

    def on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        """Take bytes."""
        assert channel == ""
        self.data += data
        self.times.append(at_s)
        self._changed.set()

    def on_lost(self, error: LinkError) -> None:
        """Take the loss."""
        self.lost.append(error)
        self._changed.set()

    async def until(self, done: Callable[[], bool]) -> None:
        """Wait until ``done()`` holds; a hanging link fails by time-out."""

        async def wait() -> None:
            while not done():
                self._changed.clear()
                await self._changed.wait()

        await asyncio.wait_for(wait(), 10)


def test_bytes_go_both_ways_whole() -> None:
    """Every byte arrives in order, zeros and all, and a write larger than the line's buffer is sent in whole."""

    async def run() -> None:
        with PtyPort() as port:
            link, ear = SerialLink(port.name), Ear()
            await link.open(ear.on_bytes, ear.on_lost)
            block = bytes(range(256)) * 8
            for count in range(1, 17):
                port.say(block)
                await ear.until(partial(lambda count: len(ear.data) == count * len(block), count))
            assert ear.data == block * 16
            assert ear.times == sorted(ear.times)
            got = b""
            writing = asyncio.ensure_future(link.write(block * 20))
            while len(got) < 20 * len(block):
                got += port.heard()
                await asyncio.sleep(0)
            await writing
            assert got == block * 20
            await link.close()

    asyncio.run(run())


def test_loop_url_is_read_by_a_thread() -> None:
    """A port without a file descriptor works as well, and its thread ends with it."""

    async def run() -> None:
        link, ear = link_for("loop://"), Ear()
        await link.open(ear.on_bytes, ear.on_lost)
        await link.write(b"hello\0")
        await ear.until(lambda: ear.data == b"hello\0")
        await link.close()
        assert ear.lost == []

    asyncio.run(run())


def test_socket_url_carries_bytes_and_says_when_the_other_side_goes() -> None:
    """A sensor behind TCP is a link like any other; its end is a loss."""

    async def run() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write((await reader.readexactly(3)) * 1000)
            await writer.drain()
            writer.close()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        host, number = server.sockets[0].getsockname()
        link, ear = link_for(f"socket://{host}:{number}"), Ear()
        await link.open(ear.on_bytes, ear.on_lost)
        await link.write(b"abc")
        await ear.until(lambda: bool(ear.lost))
        assert ear.data == b"abc" * 1000
        assert isinstance(ear.lost[0], LinkLost)
        server.close()
        await server.wait_closed()

    asyncio.run(run())


def test_unreachable_socket_is_not_found() -> None:
    """Nobody listening is a port that is not there, in one line."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        url = f"socket://127.0.0.1:{unused.getsockname()[1]}"
    with pytest.raises(LinkNotFound, match="cannot be reached"):
        asyncio.run(link_for(url).open(lambda *_: None, lambda _: None))


def test_unplugging_is_told_once_and_writing_afterwards_fails() -> None:
    """When the device vanishes the owner hears it exactly once, and the link can be closed without harm."""

    async def run() -> None:
        with PtyPort() as port:
            link, ear = SerialLink(port.name), Ear()
            await link.open(ear.on_bytes, ear.on_lost)
            port.say(b"half a fra")
            await ear.until(lambda: bool(ear.data))
            port.unplug()
            await ear.until(lambda: bool(ear.lost))
            with pytest.raises(LinkLost):
                await link.write(b"x")
            await link.close()
            await link.close()
            assert len(ear.lost) == 1
            assert "plug it in again" in str(ear.lost[0])

    asyncio.run(run())


def test_no_loss_is_told_after_close() -> None:
    """A link that was closed on purpose is silent, also when its device goes away afterwards."""

    async def run() -> None:
        with PtyPort() as port:
            link, ear = SerialLink(port.name), Ear()
            await link.open(ear.on_bytes, ear.on_lost)
            await link.close()
            port.say(b"late")
            port.unplug()
            for _ in range(5):
                await asyncio.sleep(0)
            assert (ear.data, ear.lost) == (b"", [])

    asyncio.run(run())


def test_a_second_opener_is_told_that_the_port_is_busy() -> None:
    """Two programs on one port would each get half of the bytes: the second is refused."""

    async def run() -> None:
        with PtyPort() as port:
            first, second = SerialLink(port.name), SerialLink(port.name)
            await first.open(lambda *_: None, lambda _: None)
            with pytest.raises(LinkBusy, match="another program"):
                await second.open(lambda *_: None, lambda _: None)
            await first.close()
            await second.open(lambda *_: None, lambda _: None)
            await second.close()

    asyncio.run(run())


def test_missing_port_and_things_that_are_no_port(tmp_path: Path) -> None:
    """A missing port is not found; a plain file or a folder is refused, each in one line with advice."""
    plain = tmp_path / "notes.txt"
    plain.write_text("not a port")

    async def opening(name: str) -> None:
        await SerialLink(name).open(lambda *_: None, lambda _: None)

    with pytest.raises(LinkNotFound, match="plug the sensor in"):
        asyncio.run(opening(str(tmp_path / "ttyUSB9")))
    for path in (plain, tmp_path):
        with pytest.raises(LinkError, match="not a serial port"):
            asyncio.run(opening(str(path)))


def test_permission_advice_names_the_group_of_the_port() -> None:
    """Somebody outside the port's group is told the command that puts her into it."""
    error = serial.SerialException(errno.EACCES, "could not open port")
    told = serial_port._opening_error("/dev/tty", "serial:/dev/tty", error)
    assert isinstance(told, LinkError)
    owner = Path("/dev/tty").group() if Path("/dev/tty").exists() else "dialout"
    assert owner == "root" or f"usermod -aG {owner} $USER" in str(told)
    assert "\n" not in str(told)


@pytest.mark.skipif(os.geteuid() == 0, reason="the super-user may open everything")
def test_a_port_without_permission_is_refused_with_advice() -> None:
    """Opening a port that one may not open gives advice instead of a trace."""
    with PtyPort() as port:
        Path(port.name).chmod(0)
        with pytest.raises(LinkError, match="may not be opened by you"):
            asyncio.run(SerialLink(port.name).open(lambda *_: None, lambda _: None))
        Path(port.name).chmod(stat.S_IRUSR | stat.S_IWUSR)


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("serial:/dev/ttyUSB0?baud=fast", "no speed"),
        ("serial:/dev/ttyUSB0?baud=0", "no speed"),
        ("serial:/dev/ttyUSB0?colour=red", "no option"),
        ("serial:", "missing"),
        ("telnet://host", "not a sensor's URL"),
        ("", "meterlink sensors"),
        ("serial:/dev/tty\nUSB0", "meterlink sensors"),
        ("serial:" + "x" * 3000, "meterlink sensors"),
    ],
)
def test_urls_that_cannot_be_used_are_refused_in_one_line(url: str, says: str) -> None:
    """What a person types as a sensor is checked before anything is opened."""
    with pytest.raises(UsageError, match=says) as caught:
        link_for(url)
    assert "\n" not in str(caught.value)


def test_bare_port_names_and_our_options_are_understood() -> None:
    """A bare port is a serial port; our options are taken out of pyserial's URLs, theirs stay."""
    assert parse("/dev/ttyACM0").scheme == parse("com3").scheme == "serial"
    assert parse("socket://h:1?dialect=lux&logging=debug") == (
        "socket://h:1?dialect=lux&logging=debug", "serial", "socket://h:1?logging=debug", {"dialect": "lux"},
    )  # fmt: skip
