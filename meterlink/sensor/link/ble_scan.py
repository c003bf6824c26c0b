"""Which Bluetooth sensors are near: name, signal strength, and what each is."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from meterlink.sensor.link.ble_air import air
from meterlink.sensor.link.ble_errors import explain
from meterlink.sensor.link.ble_uuids import what_it_is

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

MAX_NAME = 40
MAX_SEEN = 500
"""Devices remembered in one scan: a crowded fair is no reason to grow without end."""


class Seen(NamedTuple):
    """One device that advertises."""

    url: str
    address: str
    name: str
    signal_dbm: int
    """Received power; -40 is beside the computer, -90 at the edge of what works."""
    what: str
    """What it is, in words; ``""`` when nothing about it says that it is a light sensor."""
    services: tuple[str, ...] = ()


async def scan(seconds: float = 5.0, on_seen: Callable[[Seen], None] | None = None) -> list[Seen]:
    """Return the sensors heard within ``seconds``, the strongest first.

    ``on_seen`` is told of each once, when it is first heard.  Devices that do not look like a light sensor are left out.  The scan
    ends early when something else in this program wants to connect.

    Raises LinkError: Bluetooth cannot be used; one line says why and what to do.
    """
    seen: dict[str, Seen] = {}

    def detected(device: BLEDevice, advertisement: AdvertisementData) -> None:
        sensor = _seen(device, advertisement)
        if not sensor.what:
            return
        if sensor.address not in seen:
            if len(seen) >= MAX_SEEN:
                return
            if on_seen is not None:
                on_seen(sensor)
        seen[sensor.address] = sensor

    try:
        await air().listen(seconds, detected)
    except Exception as error:
        raise explain(error, "ble:") from error
    return sorted(seen.values(), key=lambda sensor: -sensor.signal_dbm)


def _seen(device: BLEDevice, advertisement: AdvertisementData) -> Seen:
    services = tuple(uuid.lower() for uuid in advertisement.service_uuids[:32])
    name = "".join(sign for sign in (advertisement.local_name or device.name or "") if sign.isprintable())
    return Seen(f"ble:{device.address}", device.address, name[:MAX_NAME], advertisement.rssi, what_it_is(services), services)
