"""Modbus over a real line: the library's own server on a pty, our decoder and serial link at the other end."""

from __future__ import annotations

import asyncio
import os
import pty
import tty
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

pytest.importorskip("pymodbus", reason="Modbus needs the extra: pip install '.[modbus]'")

from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from meterlink.errors import LinkError
from meterlink.records import Identity, Measurement
from meterlink.sensor import probe
from meterlink.sensor.dialects.dialect_file import find_dialect, make_decoder
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.link.serial_port import SerialLink
from meterlink.sensor.measuring.sensor import Sensor


class Line:
    """Two ptys joined at their masters: the cable between transmitter and computer."""

    def __init__(self) -> None:
        self._close = ExitStack()
        self._masters, self.ends = [], []
        for _ in range(2):
            master, slave = pty.openpty()
            tty.setraw(slave)
            os.set_blocking(master, False)
            self._close.callback(os.close, master)
            self._close.callback(os.close, slave)
            self._masters.append(master)
            self.ends.append(os.ttyname(slave))
        self.damage = lambda data: data

    def join(self) -> None:
        """Carry the bytes, in the running loop."""
        loop = asyncio.get_running_loop()
        one, two = self._masters
        loop.add_reader(one, lambda: os.write(two, self.damage(os.read(one, 4096))))
        loop.add_reader(two, lambda: os.write(one, os.read(two, 4096)))

    def close(self) -> None:
        """Cut it."""
        self._close.close()


@pytest.fixture
def line() -> Iterator[Line]:
    """A cable."""
    made = Line()
    yield made
    made.close()


def transmitter(port: str, registers: SimData) -> ModbusSerialServer:
    """A transmitter with these registers as device 1."""
    return ModbusSerialServer(SimDevice(id=1, simdata=[registers]), port=port, baudrate=9600)


async def heard(sensor: Sensor, levels: list[Measurement], count: int) -> None:
    """Wait for so many levels."""
    async with asyncio.timeout(15):
        while len(levels) < count:
            await asyncio.sleep(0.02)


@pytest.mark.parametrize(
    ("dialect", "registers", "lux"),
    [
        ("modbus-float", SimData(0, values=512.25, datatype=DataType.FLOAT32), 512.25),
        ("modbus-scaled", SimData(2, values=[5123, 0], datatype=DataType.REGISTERS), 512.3),
    ],
)
def test_transmitter_is_read_through_the_whole_chain(line: Line, dialect: str, registers: SimData, lux: float) -> None:
    """Question, answer, check sum, registers, light: as a sensor of the house, told apart as steady only."""

    async def work() -> None:
        line.join()
        server = transmitter(line.ends[0], registers)
        await server.serve_forever(background=True)
        levels: list[Measurement] = []
        link = link_for(f"serial:{line.ends[1]}?baud=9600&dialect={dialect}")
        sensor = Sensor(link, decoder=make_decoder(dialect), on_level=levels.append)
        await sensor.start()
        identity = await sensor.identified()
        await heard(sensor, levels, 3)
        await sensor.stop()
        await server.shutdown()
        assert isinstance(identity, Identity)
        assert (identity.flash, identity.steady) == (False, True)
        assert [level.illuminance_lx for level in levels[:3]] == [pytest.approx(lux)] * 3

    asyncio.run(work())


def test_damage_on_the_line_is_counted_and_survived(line: Line) -> None:
    """One answer in two damaged: the good ones are read, the others are not believed."""
    turn = 0

    def damage(data: bytes) -> bytes:
        nonlocal turn
        turn += 1
        return data if turn % 2 else b"\xff" + data[:-1] + bytes([data[-1] ^ 1])

    async def work() -> None:
        line.join()
        line.damage = damage
        server = transmitter(line.ends[0], SimData(0, values=512.25, datatype=DataType.FLOAT32))
        await server.serve_forever(background=True)
        decoder = make_decoder("modbus-float")
        found: list[object] = []
        link = SerialLink(line.ends[1], baud=9600)
        await link.open(lambda data, at_s, channel: found.extend(decoder.feed(data, at_s, channel)), _lost)
        async with asyncio.timeout(15):
            while decoder.stats.frames < 4 or decoder.stats.damaged_total < 2:
                await link.write(decoder.poll())
                await asyncio.sleep(0.05)
        await link.close()
        await server.shutdown()
        assert {sample.illuminance_lx for sample in found if not isinstance(sample, Identity)} == {512.25}

    asyncio.run(work())


def _lost(error: LinkError) -> None:
    raise AssertionError(error)


def test_unknown_transmitter_is_proposed(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    """Trying the port asks in each Modbus dialect and recognises the answers."""

    async def work() -> None:
        line.join()
        server = transmitter(line.ends[0], SimData(0, values=512.25, datatype=DataType.FLOAT32))
        await server.serve_forever(background=True)
        dialects = [find_dialect("modbus-scaled"), find_dialect("modbus-float")]
        monkeypatch.setattr(probe, "LISTEN_S", 0.2)
        monkeypatch.setattr(probe, "shipped_dialects", lambda: dialects)
        monkeypatch.setattr(probe, "_settings", lambda *_: [dialects[1].serial])
        proposal = await probe.try_port(line.ends[1])
        await server.shutdown()
        assert proposal.dialect == "modbus-float"
        assert proposal.url == f"serial:{line.ends[1]}?baud=9600&parity=even&dialect=modbus-float"

    asyncio.run(work())
