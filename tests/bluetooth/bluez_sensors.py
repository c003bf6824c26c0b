"""Simulated Bluetooth sensors for the stand-in: what they advertise, their services, and how they misbehave."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from cobs import cobs

from meterlink.records import Identity
from meterlink.sensor.dialects import messages
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.link import ble_uuids as uuids

NATIVE_ADDRESS = "C0:FF:EE:00:00:01"
TEXT_ADDRESS = "C0:FF:EE:00:00:02"
STANDARD_ADDRESS = "C0:FF:EE:00:00:03"
WHO = Identity(
    "0011223344556677", "Dome", "meterlink-1", "1.0.0", flash=True, ranges=("low", "high"), adc_bits=10,
    ring_samples=1024, sample_interval_s=13e-6,
)  # fmt: skip


@dataclass
class Characteristic:
    """One characteristic."""

    uuid: str
    flags: list[str]
    value: bytes = b""


@dataclass
class Sensor:
    """One device on the air.  Everything may be changed by a test at any time."""

    address: str
    name: str
    services: dict[str, list[Characteristic]]
    advertises: list[str]
    rssi: int = -55
    mtu: int = 247
    on_write: Callable[[str, bytes], Iterable[tuple[str, bytes]] | None] | None = None
    """Called with the UUID and the bytes written; returns notifications to send in answer."""
    on_subscribe: Callable[[str], Iterable[tuple[str, bytes]] | None] | None = None
    advertising: bool = True
    """False: out of range, switched off, or held by another host."""
    connect: str = "ok"
    """``ok``, ``fail``, ``stall`` (no answer), ``in-progress``, ``abort`` (once up, gone before its services)."""
    fail_times: int = -1
    """How many connects misbehave before they are ``ok`` again; -1 = all."""
    services_after_s: float = 0.0
    refuse: set[str] = field(default_factory=set)
    """UUIDs whose reads fail."""
    stall_writes: bool = False
    writes: list[tuple[str, bytes, str]] = field(default_factory=list)
    """What was written: UUID, bytes, ``command`` or ``request``."""


def _battery(percent: int) -> dict[str, list[Characteristic]]:
    return {uuids.full("180F"): [Characteristic(uuids.full("2A19"), ["read", "notify"], bytes([percent]))]}


def native_sensor(address: str = NATIVE_ADDRESS, name: str = "Dome one") -> Sensor:
    """Our wire format over the UART-style service."""
    service = {
        uuids.NATIVE_SERVICE: [
            Characteristic(uuids.NATIVE_TO_SENSOR, ["write-without-response", "write"]),
            Characteristic(uuids.NATIVE_FROM_SENSOR, ["notify"]),
        ]
    }
    return Sensor(address, name, service, [uuids.NATIVE_SERVICE])


def text_sensor(address: str = TEXT_ADDRESS, name: str = "Text dome") -> Sensor:
    """Lines of text over the UART-style service, with a battery; it takes no commands."""
    service = {uuids.TEXT_SERVICE: [Characteristic(uuids.TEXT_FROM_SENSOR, ["notify"])], **_battery(61)}
    return Sensor(address, name, service, [uuids.TEXT_SERVICE])


def standard_sensor(address: str = STANDARD_ADDRESS, name: str = "Room light") -> Sensor:
    """Standard characteristics: illuminance, colour, battery, device information."""
    services = {
        uuids.ENVIRONMENTAL_SENSING: [
            Characteristic(uuids.full("2AFB"), ["read", "notify"], (51_230).to_bytes(3, "little")),
            Characteristic(uuids.full("2AE9"), ["read", "notify"], (5_600).to_bytes(2, "little")),
            Characteristic(uuids.full("2AE4"), ["read"], bytes.fromhex("0D503954")),
        ],
        uuids.full("180A"): [
            Characteristic(uuids.full("2A29"), ["read"], b"Workshop\0"),
            Characteristic(uuids.full("2A24"), ["read"], b"Bench 3"),
            Characteristic(uuids.full("2A26"), ["read"], b"1.4.2"),
        ],
        **_battery(87),
    }
    return Sensor(address, name, services, [uuids.ENVIRONMENTAL_SENSING])


def speaking_sensor(encoder: SensorEncoder, address: str = NATIVE_ADDRESS, piece: int = 20) -> Sensor:
    """A sensor of our own that says who it is when it is asked, in notifications of ``piece`` bytes."""
    sensor = native_sensor(address)
    buffer = bytearray()

    def written(_uuid: str, data: bytes) -> list[tuple[str, bytes]]:
        buffer.extend(data)
        *frames, rest = bytes(buffer).split(b"\0")
        buffer[:] = rest
        asked = [frame for frame in frames if frame and cobs.decode(frame)[1] == messages.IDENTIFY]
        answer = b"".join(encoder.identity(WHO) for _ in asked)
        return [(uuids.NATIVE_FROM_SENSOR, answer[i : i + piece]) for i in range(0, len(answer), piece)]

    sensor.on_write = written
    sensor.on_subscribe = lambda _uuid: [(uuids.NATIVE_FROM_SENSOR, b"\0")]
    return sensor
