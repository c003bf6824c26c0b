"""Bluetooth sensors through bleak's own Linux backend: what they are, what they say, and what goes wrong."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable

import pytest
from bluez_sensors import native_sensor, standard_sensor, text_sensor
from bluez_standin import Standin
from listening import Listener, run

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound, UsageError
from meterlink.records import Battery, Colour, Identity
from meterlink.sensor.dialects.frames import encode
from meterlink.sensor.link import ble, ble_air
from meterlink.sensor.link import ble_uuids as uuids
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.ble_air import Seen, scan
from meterlink.sensor.link.registry import link_for

UP = uuids.NATIVE_FROM_SENSOR
TEXT_UP = uuids.TEXT_FROM_SENSOR


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not there is given up soon."""
    monkeypatch.setattr(ble_air, "FIND_S", 1.0)
    monkeypatch.setattr(ble_air, "CONNECT_S", 1.0)
    monkeypatch.setattr(ble, "WRITE_S", 0.5)
    monkeypatch.setattr(ble, "POLL_LIGHT_S", 0.02)


def frame(number: int, size: int = 12) -> bytes:
    """A frame of the wire format of an unknown type, numbered."""
    return encode(struct.pack("<BBH", 1, 0x7E, number & 0xFFFF) + bytes(number % 251 for _ in range(size)))


def test_scan_says_name_signal_and_kind(bluetooth_air: Standin) -> None:
    """The strongest first; what is no light sensor is left out."""
    for sensor, rssi in ((native_sensor(), -70), (text_sensor(), -50), (standard_sensor(), -60)):
        sensor.rssi = rssi
        bluetooth_air.add(sensor)
    stranger = native_sensor("C0:FF:EE:00:00:09", "Head\x07phones")
    stranger.advertises = [uuids.full("180D")]
    bluetooth_air.add(stranger)
    told: list[Seen] = []

    async def work() -> None:
        found = await scan(0.3, told.append)
        assert [(seen.name, seen.signal_dbm, seen.what) for seen in found] == [
            ("Text dome", -50, "light sensor sending text"),
            ("Room light", -60, "environmental sensor, maybe with light"),
            ("Dome one", -70, "meterlink sensor"),
        ]
        assert found[2].url == "ble:C0:FF:EE:00:00:01"
        assert sorted(told) == sorted(told_once(told))

    run(work())
    assert len(told) == 3


def told_once(told: list[Seen]) -> set[Seen]:
    """Those told, each once."""
    return {seen._replace(services=tuple(seen.services)) for seen in told}


def test_native_bytes_arrive_whole_and_in_order(bluetooth_air: Standin) -> None:
    """Frames cut over notifications give the same bytes as on a serial line: none lost, none twice."""
    sensor = bluetooth_air.add(native_sensor())
    sent = b"\0" + b"".join(frame(number, 200) for number in range(300))
    pieces = [sent[i : i + sensor.mtu - 3] for i in range(0, len(sent), sensor.mtu - 3)]

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.start_stream(sensor, UP, pieces, 2000)
        await ear.until(lambda: len(ear.stream) >= len(sent))
        assert ear.stream == sent
        assert ear.decoder.dialect == "meterlink-1"
        assert (ear.decoder.stats.damaged, ear.decoder.stats.lost, ear.decoder.stats.unknown_type) == ({}, 0, 300)
        await link.close()
        assert not ear.lost

    run(work())


def test_a_lost_notification_is_known(bluetooth_air: Standin) -> None:
    """A gap on the air is a damaged frame and a gap in the sequence, never a wrong reading."""
    sensor = bluetooth_air.add(native_sensor())
    sent = b"\0" + b"".join(frame(number, 300) for number in range(6))
    pieces = [sent[i : i + 200] for i in range(0, len(sent), 200)]
    del pieces[4]

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.stream(sensor, UP, pieces, 1000)
        await ear.until(lambda: len(ear.stream) >= sum(map(len, pieces)))
        assert ear.decoder.stats.damaged_total >= 1
        assert ear.decoder.stats.lost >= 1
        await link.close()

    run(work())


def test_commands_are_cut_to_what_the_connection_takes(bluetooth_air: Standin) -> None:
    """300 bytes over an ATT_MTU of 23 are fifteen writes without response, in order."""
    sensor = native_sensor()
    sensor.mtu = 23
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        data = bytes(range(150)) * 2
        await asyncio.gather(link.write(data), link.write(b"tail"))
        assert b"".join(piece for _, piece, _ in sensor.writes) == data + b"tail"
        assert {len(piece) for _, piece, _ in sensor.writes} == {20, 4}
        assert {kind for _, _, kind in sensor.writes} == {"command"}
        await link.close()

    run(work())


def test_sensor_that_confirms_every_write(bluetooth_air: Standin) -> None:
    """Where only writes with a response are offered, those are used, in pieces of the same size."""
    sensor = native_sensor()
    sensor.services[uuids.NATIVE_SERVICE][0].flags = ["write"]
    sensor.mtu = 53
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        await link.write(bytes(120))
        assert [(len(piece), kind) for _, piece, kind in sensor.writes] == [
            (50, "request"), (50, "request"), (20, "request")
        ]  # fmt: skip
        await link.close()

    run(work())


def test_answers_come_back(bluetooth_air: Standin) -> None:
    """What the sensor answers to a write arrives on the stream."""
    sensor = native_sensor()
    sensor.on_write = lambda _uuid, data: [(UP, data[::-1])]
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        await link.write(b"ping")
        await ear.until(lambda: ear.stream == b"gnip")
        await link.close()

    run(work())


def test_text_lines_with_battery(bluetooth_air: Standin) -> None:
    """Lines cut over notifications, and the battery beside them; the sensor takes no commands and says so."""
    sensor = bluetooth_air.add(text_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:02"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        for piece in (b"\n512", b".3 lx\n0.2", b"5 klx\n"):
            bluetooth_air.notify(sensor, TEXT_UP, piece)
        await ear.until(lambda: len(ear.lux) == 2)
        assert ear.lux == [512.3, 250.0]
        await ear.until(lambda: any(isinstance(s, Battery) and s.fraction == 0.61 for s in ear.samples))
        identity = next(sample for sample in ear.samples if isinstance(sample, Identity))
        assert (identity.sensor_id, identity.flash) == ("C0:FF:EE:00:00:02", False)
        with pytest.raises(LinkError, match="takes no commands"):
            await link.write(b"x")
        await link.close()

    run(work())


def test_text_dialect_by_url(bluetooth_air: Standin) -> None:
    """Another dialect of lines is named in the URL."""
    sensor = bluetooth_air.add(text_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:02?dialect=json-lines"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.notify(sensor, TEXT_UP, b'\n{"light":{"lux":5}}\n')
        await ear.until(lambda: ear.lux == [5.0])
        await link.close()

    run(work())


def test_standard_characteristics(bluetooth_air: Standin) -> None:
    """Identity from the device information, first values by reading, then notifications; what only reads is polled."""
    sensor = bluetooth_air.add(standard_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:03"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        identity = ear.samples[0]
        assert isinstance(identity, Identity)
        assert (identity.name, identity.firmware, identity.dialect) == ("Room light", "1.4.2", "gatt-light")
        assert (identity.flash, identity.colour, identity.battery) == (False, True, True)
        # Whoever opened the link begins anew now, and must not have missed who is there.
        ear.decoder.reset()
        await ear.until(lambda: ear.lux == [512.3])
        assert ear.samples.count(identity) == 2
        bluetooth_air.notify(sensor, uuids.full("2AFB"), b"\xff\xff\xff")
        bluetooth_air.notify(sensor, uuids.full("2AFB"), (100).to_bytes(3, "little"))
        bluetooth_air.notify(sensor, uuids.full("2A19"), b"\x05")
        await ear.until(lambda: 1.0 in ear.lux)
        assert ear.lux == [512.3, 1.0]
        await ear.until(lambda: any(isinstance(s, Battery) and s.fraction == 0.05 for s in ear.samples))
        await ear.until(lambda: sum(isinstance(s, Colour) and s.x is not None for s in ear.samples) >= 3)
        await link.close()
        assert ear.decoder.stats.damaged == {}

    run(work())


def test_a_value_that_may_not_be_read_does_not_hide_the_others(bluetooth_air: Standin) -> None:
    """Device information that wants pairing is passed over."""
    sensor = standard_sensor()
    sensor.refuse = {uuids.full("2A29"), uuids.full("2A24")}
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:03"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        await ear.until(lambda: ear.lux == [512.3])
        await link.close()

    run(work())


def test_device_without_light(bluetooth_air: Standin) -> None:
    """A device that offers no light is let go of, in one line."""
    sensor = standard_sensor()
    del sensor.services[uuids.ENVIRONMENTAL_SENSING]
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:03"), Listener()
        with pytest.raises(LinkError, match="offers no light"):
            await link.open(ear.on_bytes, ear.on_lost)
        assert not bluetooth_air.is_connected(sensor)

    run(work())


def test_loss_is_told_once_and_nothing_after_close(bluetooth_air: Standin) -> None:
    """Out of range: one LinkLost; writing then says so; closing is quiet, also twice."""
    sensor = bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.drop(sensor)
        await ear.until(lambda: bool(ear.lost))
        assert isinstance(ear.lost[0], LinkLost)
        with pytest.raises(LinkLost):
            await link.write(b"x")
        await link.close()
        await link.close()
        assert len(ear.lost) == 1
        again = Listener()
        await link.open(again.on_bytes, again.on_lost)
        await link.close()
        assert not again.lost
        assert not bluetooth_air.is_connected(sensor)

    run(work())


@pytest.mark.parametrize("fresh_link", [False, True])
@pytest.mark.parametrize("close_first", [False, True])
def test_nothing_arrives_twice_after_reconnecting(
    bluetooth_air: Standin, fresh_link: bool, close_first: bool
) -> None:
    """Bleak 3.x leaks the subscription of a lost client: it must be let go of before there is a new one."""
    sensor = bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        for turn in range(4):
            bluetooth_air.drop(sensor)
            await ear.until(lambda now=turn: len(ear.lost) > now)
            if close_first:
                await link.close()
            if fresh_link:
                link = link_for("ble:C0:FF:EE:00:00:01")
            await link.open(ear.on_bytes, ear.on_lost)
            assert bluetooth_air.subscribers(sensor, UP) == 1
            bluetooth_air.notify(sensor, UP, f"{turn};".encode())
            await ear.until(lambda now=turn: f"{now};".encode() in ear.stream)
        assert ear.stream == b"0;1;2;3;"
        await link.close()

    run(work())


def test_the_trap_is_real(bluetooth_air: Standin) -> None:
    """Bare bleak that reconnects without disconnecting hears everything twice: what the test above guards against."""
    from bleak import BleakClient, BleakScanner

    sensor = bluetooth_air.add(native_sensor())

    async def work() -> None:
        device = await BleakScanner.find_device_by_address(sensor.address, timeout=2)
        assert device is not None
        heard: list[bytes] = []
        gone = asyncio.Event()
        client = BleakClient(device, disconnected_callback=lambda _client: gone.set())
        await client.connect()
        await client.start_notify(UP, lambda _char, data: heard.append(bytes(data)))
        first_bus = client._backend._bus
        bluetooth_air.drop(sensor)
        await gone.wait()
        await client.connect()
        await client.start_notify(UP, lambda _char, data: heard.append(bytes(data)))
        bluetooth_air.notify(sensor, UP, b"once")
        bluetooth_air.notify(sensor, UP, b"end")
        async with asyncio.timeout(5):
            while b"end" not in heard:
                await asyncio.sleep(0.01)
        assert heard.count(b"once") == 2
        await client.disconnect()
        first_bus.disconnect()

    run(work())


def test_two_links_connect_one_after_the_other(bluetooth_air: Standin) -> None:
    """Connects at the same moment, and a scan that is running, do not get into each other's way."""
    native = bluetooth_air.add(native_sensor())
    text = bluetooth_air.add(text_sensor())

    async def work() -> None:
        scanning = asyncio.create_task(scan(30))
        await asyncio.sleep(0.05)
        links = [link_for("ble:C0:FF:EE:00:00:01"), link_for("ble:C0:FF:EE:00:00:02")]
        ears = [Listener(), Listener()]
        async with asyncio.timeout(10):
            await asyncio.gather(
                *(link.open(ear.on_bytes, ear.on_lost) for link, ear in zip(links, ears, strict=True))
            )
            await scanning
        assert bluetooth_air.is_connected(native)
        assert bluetooth_air.is_connected(text)
        await asyncio.gather(scan(0.1), scan(0.1))
        for link in links:
            await link.close()

    run(work())


def test_sensor_that_is_not_there(bluetooth_air: Standin) -> None:
    """Not heard: one line with what to do."""

    async def work() -> None:
        ear = Listener()
        with pytest.raises(LinkNotFound, match="is not heard: switch it on"):
            await link_for("ble:C0:FF:EE:00:00:01").open(ear.on_bytes, ear.on_lost)

    run(work())


@pytest.mark.parametrize(
    ("mode", "error", "says"),
    [
        ("fail", LinkError, "cannot be connected"),
        ("stall", LinkNotFound, "does not answer"),
        ("in-progress", LinkBusy, "another program"),
        ("abort", LinkError, "switch the sensor off and on|come nearer"),
    ],
)
def test_connect_that_goes_wrong_and_then_right(
    bluetooth_air: Standin, mode: str, error: type[LinkError], says: str
) -> None:
    """Refused, stalled, busy or broken off: its own line, and the next try works and hears everything once."""
    sensor = native_sensor()
    sensor.connect, sensor.fail_times = mode, 1
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        with pytest.raises(error, match=says):
            await link.open(ear.on_bytes, ear.on_lost)
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.notify(sensor, UP, b"x")
        await ear.until(lambda: ear.stream == b"x")
        await link.close()

    run(work())


def test_services_that_come_late(bluetooth_air: Standin) -> None:
    """A sensor that takes its time to list its services is waited for."""
    sensor = native_sensor()
    sensor.services_after_s = 0.4
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        await link.close()

    run(work())


def test_device_that_the_system_forgot_is_found_again(bluetooth_air: Standin) -> None:
    """A vanished device object is scanned for anew."""
    sensor = bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.drop(sensor)
        bluetooth_air.vanish(sensor)
        await ear.until(lambda: bool(ear.lost))
        await link.open(ear.on_bytes, ear.on_lost)
        await link.close()

    run(work())


def test_connection_left_over_by_a_crash_is_taken_over(bluetooth_air: Standin) -> None:
    """A program that died leaves its connection in the system; a connected sensor is silent, and still found."""
    sensor = bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.notify(sensor, UP, b"y")
        await ear.until(lambda: b"y" in ear.stream)
        await link.close()

    bluetooth_air._now(lambda: _hold(bluetooth_air, sensor.address))
    run(work())


def _hold(air: Standin, address: str) -> None:
    device = air._devices[address]
    device.known = device.connected = device.resolved = True


async def opened_in_the_end(link: Link, ear: Listener) -> None:
    """Open as soon as the news of the adapter has come through."""
    async with asyncio.timeout(5):
        while True:
            try:
                return await link.open(ear.on_bytes, ear.on_lost)
            except LinkError:
                await asyncio.sleep(0)


def test_adapter_switched_off_in_use(bluetooth_air: Standin) -> None:
    """The link is lost; opening says that Bluetooth is off; on again, it works again."""
    bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.power(False)
        await ear.until(lambda: bool(ear.lost))
        with pytest.raises(LinkError, match="switched off: turn it on"):
            await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.power(True)
        await opened_in_the_end(link, ear)
        bluetooth_air.plug(False)
        await ear.until(lambda: len(ear.lost) == 2)
        with pytest.raises(LinkError, match="no Bluetooth adapter"):
            await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.plug(True)
        await opened_in_the_end(link, ear)
        await link.close()

    run(work())


def test_bus_that_dies_in_use(bluetooth_air: Standin) -> None:
    """The whole service gone: the link is lost, and opening says that the service is not running."""
    bluetooth_air.add(native_sensor())

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        bluetooth_air.bus.stop()
        await ear.until(lambda: bool(ear.lost))
        with pytest.raises(LinkError, match="service is not running"):
            await link.open(ear.on_bytes, ear.on_lost)
        await link.close()

    run(work())


def test_write_that_is_not_taken(bluetooth_air: Standin) -> None:
    """A sensor that does not take a command is reported in time."""
    sensor = native_sensor()
    sensor.stall_writes = True
    bluetooth_air.add(sensor)

    async def work() -> None:
        link, ear = link_for("ble:C0:FF:EE:00:00:01"), Listener()
        await link.open(ear.on_bytes, ear.on_lost)
        with pytest.raises(LinkLost, match="no longer answers"):
            await link.write(b"x")
        await link.close()

    run(work())


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"adapter": False}, "no Bluetooth adapter: plug one in"),
        ({"powered": False}, "Bluetooth is switched off: turn it on"),
        ({"service": False}, "the Bluetooth service is not running: start it"),
        ({"denied": True}, "you may not use Bluetooth"),
    ],
)
def test_no_bluetooth_is_one_line(make_air: Callable[..., Standin], options: dict[str, bool], says: str) -> None:
    """Scan and open say the same reason with what to do."""
    make_air(**options)

    async def work() -> None:
        ear = Listener()
        with pytest.raises(LinkError, match=says) as scanned:
            await scan(0.1)
        with pytest.raises(LinkError, match=says):
            await link_for("ble:C0:FF:EE:00:00:01").open(ear.on_bytes, ear.on_lost)
        assert "\n" not in str(scanned.value)

    run(work())


def test_no_message_bus_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without a system bus (a container) is one line, too."""
    pytest.importorskip("bleak")
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nonexistent/socket")

    async def work() -> None:
        with pytest.raises(LinkError, match="the Bluetooth service is not running"):
            await scan(0.1)

    run(work())


@pytest.mark.parametrize("url", ["ble:nonsense", "ble:C0:FF:EE:00:00", "ble:C0:FF:EE:00:00:01?speed=3"])
def test_urls_that_cannot_be(url: str) -> None:
    """An address or an option that cannot be is refused before Bluetooth is touched."""
    with pytest.raises(UsageError):
        link_for(url)
