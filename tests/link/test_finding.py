"""Finding sensors: nobody types a port, and no port is touched that is not ours to touch."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from typing import Any

import pytest
from pty_sensor import PtySensor

from meterlink.errors import LinkNotFound
from meterlink.sensor import find as finding
from meterlink.sensor.find import BUSY, NO_SENSOR, REFUSED, REMEMBERED, SENSOR, Found, find, find_again, find_first
from meterlink.sensor.link import ports
from meterlink.sensor.link.ports import Port, excluded_by
from meterlink.sensor.link.serial_port import SerialLink
from meterlink.simulation.chip_model import ChipModel
from meterlink.testing import PtyPort


class Memory:
    """A memory that lives as long as the test."""

    def __init__(self, **kept: Any) -> None:
        self.kept = kept

    def recall(self, key: str) -> Any:
        """Return what was kept."""
        return self.kept.get(key)

    def remember(self, key: str, value: Any) -> None:
        """Keep."""
        self.kept[key] = value


@pytest.fixture(autouse=True)
def no_real_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine's own ports are none of a test's business."""
    monkeypatch.setattr(ports, "_listed", list)
    monkeypatch.delenv(ports.EXTRA_ENV, raising=False)
    monkeypatch.delenv(ports.EXCLUDE_ENV, raising=False)


async def all_found(memory: Memory | None = None, **options: Any) -> list[Found]:
    """Return everything that is found."""
    return [found async for found in find(memory, patience_s=0.6, **options)]


def test_a_sensor_is_found_among_other_things(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sensor answers, a busy port is not opened, a talking stranger and a missing port are told apart."""

    async def work() -> None:
        with PtyPort() as stranger, PtyPort() as held:
            sensor = PtySensor().start()
            holding = SerialLink(held.name)
            await holding.open(lambda *_: None, lambda _: None)
            stranger.say(b"temp 21.5 C\r\n")
            names = (sensor.port.name, stranger.name, held.name, "/dev/pts/does-not-exist")
            monkeypatch.setenv(ports.EXTRA_ENV, os.pathsep.join(names))
            found = await all_found()
            assert {f.url.removeprefix("serial:"): f.state for f in found} == dict(
                zip(names, (SENSOR, NO_SENSOR, BUSY, REFUSED), strict=True)
            )
            assert all(f.words and "\n" not in f.words for f in found if f.state != SENSOR)
            who = next(f.identity for f in found if f.state == SENSOR)
            assert who == sensor.chip.identity
            await holding.close()
            sensor.stop()

    asyncio.run(work())


def test_results_come_as_they_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sensor that answers at once is not kept waiting by a port that never does."""

    async def work() -> None:
        with PtyPort() as silent:
            sensor = PtySensor().start()
            finding_ports = find(None, extra=(silent.name, sensor.port.name), patience_s=5.0)
            first = await asyncio.wait_for(anext(finding_ports), 3.0)
            assert first.state == SENSOR
            await finding_ports.aclose()
            sensor.stop()
            # The silent port was let go as well.
            again = SerialLink(silent.name)
            await again.open(lambda *_: None, lambda _: None)
            await again.close()

    asyncio.run(work())


def test_excluded_ports_are_never_written_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port that the user excluded, by argument, pattern or environment, hears nothing, even when also named."""

    async def work() -> None:
        sensor = PtySensor().start()
        name = sensor.port.name
        for exclude in ((name,), ("/dev/pts/*",), (name.rsplit("/", 1)[-1],)):
            assert await all_found(extra=(name,), exclude=exclude) == []
        monkeypatch.setenv(ports.EXCLUDE_ENV, name)
        with pytest.raises(LinkNotFound, match="no port that looks like one"):
            await find_first(extra=(name,), patience_s=0.5)
        assert sensor.heard == b""
        sensor.stop()

    asyncio.run(work())


def test_ports_that_look_like_no_board_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """An old built-in port is asked only on demand."""

    async def work() -> None:
        sensor = PtySensor().start()
        monkeypatch.setattr(ports, "_listed", lambda: [Port(sensor.port.name, "built in", likely=False)])
        assert await all_found() == []
        assert sensor.heard == b""
        assert [f.state for f in await all_found(everything=True)] == [SENSOR]
        sensor.stop()

    asyncio.run(work())


def test_a_port_that_another_program_holds_is_not_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that knows nothing of locks has the port open: it is named, and nothing is sent."""
    if not os.path.isdir("/proc/self/fd"):  # noqa: PTH112
        pytest.fail("this system has no /proc: the exclusive lock is the only fence, see ports.holder")

    async def work() -> None:
        sensor = PtySensor().start()
        code = f"f = open({sensor.port.name!r}, 'rb+', buffering=0); print('open', flush=True); input()"
        monkeypatch.setattr(ports, "_listed", lambda: [Port(sensor.port.name, "a board", likely=True)])
        with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
            assert other.stdout is not None
            assert other.stdin is not None
            assert other.stdout.readline() == "open\n"
            (found,) = await all_found()
            other.stdin.write("\n")
            other.stdin.close()
        assert found.state == BUSY
        assert "python" in found.words
        assert sensor.heard == b""
        assert [f.state for f in await all_found()] == [SENSOR]
        sensor.stop()

    asyncio.run(work())


def test_a_board_that_restarts_is_asked_again() -> None:
    """The first question falls on deaf ears, a later one is answered."""

    async def work() -> None:
        sensor = PtySensor(deaf_questions=1).start()
        url = await find_first(extra=(sensor.port.name,), patience_s=3.0)
        assert url == f"serial:{sensor.port.name}"
        sensor.stop()

    asyncio.run(work())


def test_the_last_sensor_comes_first_and_is_remembered() -> None:
    """What was used last is shown before anything is opened, and the one found now is kept."""

    async def work() -> None:
        sensor = PtySensor().start()
        memory = Memory()
        url = await find_first(memory, extra=(sensor.port.name,), patience_s=1.0)
        found = await all_found(memory, extra=(sensor.port.name,))
        assert [f.state for f in found] == [REMEMBERED, SENSOR]
        assert found[0].url == found[1].url == url
        assert found[0].name == "simulated dome"
        sensor.stop()

    asyncio.run(work())


@pytest.mark.parametrize("junk", [None, 7, "x", [], {}, {"url": 3}, {"url": None, "name": "x"}])
def test_a_damaged_memory_is_no_memory(junk: Any) -> None:
    """Whatever stands in the file of the last sensor, looking goes on."""
    assert finding.remembered(Memory(last_sensor=junk)) is None


def test_a_sensor_is_found_again_by_its_identity() -> None:
    """After replugging it is the sensor that counts, not the name of its port; another sensor is not taken for it."""

    async def work() -> None:
        mine = PtySensor(ChipModel(sensor_id="00000000000000aa")).start()
        other = PtySensor(ChipModel(sensor_id="00000000000000bb")).start()
        names = f"{other.port.name} {mine.port.name}"
        os.environ[ports.EXTRA_ENV] = names
        try:
            assert await find_again("00000000000000aa") == f"serial:{mine.port.name}"
            mine.stop()
            assert await find_again("00000000000000aa") is None
        finally:
            del os.environ[ports.EXTRA_ENV]
            other.stop()

    asyncio.run(work())


def test_port_lists_in_the_environment_may_hold_urls(monkeypatch: pytest.MonkeyPatch) -> None:
    """Names and URLs, separated by spaces, semicolons or a colon before a path."""
    monkeypatch.setenv(ports.EXTRA_ENV, "/dev/pts/1:/dev/pts/2 socket://h:7;COM3 serial:/dev/pts/4")
    assert [p.url for p in ports.ports()] == [
        "serial:/dev/pts/1", "serial:/dev/pts/2", "socket://h:7", "serial:COM3", "serial:/dev/pts/4",
    ]  # fmt: skip


def test_patterns_match_whole_names_or_the_last_part() -> None:
    """``ttyUSB0`` excludes /dev/ttyUSB0 and not /dev/ttyUSB01."""
    assert excluded_by("/dev/ttyUSB0", ["ttyUSB0"])
    assert excluded_by("/dev/ttyUSB0", ["ttyUSB?"])
    assert not excluded_by("/dev/ttyUSB01", ["ttyUSB0", "USB"])
