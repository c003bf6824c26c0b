"""The one Bluetooth adapter that everything in this program shares: who may scan, who may connect, and when.

Two connects at once make both fail, a second scan is refused, and connecting during one's own scan is slow.  So one lock guards
both, and whoever wants to connect ends a scan that is running.  All of it belongs to one event loop, as bleak itself does.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple
from weakref import WeakKeyDictionary

from meterlink.sensor.link.ble_errors import explain, platform
from meterlink.sensor.link.ble_uuids import ENVIRONMENTAL_SENSING, NATIVE_SERVICE, TEXT_SERVICE, what_it_is

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

FIND_S = 10.0
"""A sensor that advertises once in two seconds is heard in this time even when most packets are lost."""
CONNECT_S = 12.0
RELEASE_S = 5.0
ANDROID_SCANS, ANDROID_WINDOW_S = 4, 30.0
"""Android silently ignores the sixth start of a scan within 30 s (read, not run): stay below."""

MAX_NAME = 40
MAX_SEEN = 500
"""Devices remembered in one scan: a crowded fair is no reason to grow without end."""

Detected = Callable[["BLEDevice", "AdvertisementData"], None]


class Air:
    """Scans and connections of one event loop."""

    def __init__(self) -> None:
        self.lock = asyncio.Lock()
        self.connecting = 0
        """How many wait to connect or are at it: a scan that begins now ends at once."""
        self.end_scan = asyncio.Event()
        self.clients: dict[str, BleakClient] = {}
        """By address: the client last used.  It must be disconnected before there may be another, see ``release``."""

    async def listen(self, seconds: float, detected: Detected) -> None:
        """Scan for ``seconds``, or shorter when somebody wants to connect; the caller must not hold the lock."""
        async with self.lock:
            if not self.connecting:
                self.end_scan.clear()
                await _scan(seconds, detected, self.end_scan)

    async def connect(self, address: str, on_disconnect: Callable[[BleakClient], None], url: str) -> BleakClient:
        """Return a connected client with its services known.

        Raises LinkNotFound, LinkBusy, LinkError: in words, with what to do.
        """
        self.connecting += 1
        self.end_scan.set()
        try:
            async with self.lock:
                return await self._connect(address, on_disconnect)
        except Exception as error:
            # bleak's backends raise what their systems raise: OSError, EOFError, D-Bus and WinRT errors.
            raise explain(error, url) from error
        finally:
            self.connecting -= 1

    async def _connect(self, address: str, on_disconnect: Callable[[BleakClient], None]) -> BleakClient:
        from bleak import BleakClient
        from bleak.exc import BleakDeviceNotFoundError

        await self.release(address)
        device = await _already_connected(address) or await _find(address)
        if device is None:
            raise BleakDeviceNotFoundError(address, "not heard")
        client = BleakClient(device, disconnected_callback=on_disconnect, timeout=CONNECT_S)
        self.clients[address] = client
        try:
            await client.connect()
        except BaseException:
            await self.release(address)
            raise
        return client

    async def release(self, address: str) -> None:
        """Let go of the client of ``address``, also of one whose connection is lost already.

        Without this a lost client keeps its subscriptions, and after reconnecting every notification arrives twice.
        """
        client = self.clients.get(address)
        if client is None:
            return
        # Whoever else waits for the same client joins in here: bleak lets the second caller wait for the first.
        try:
            async with asyncio.timeout(RELEASE_S):
                await client.disconnect()
        except Exception:
            # The sensor, the adapter or the bus is gone: bleak has released its own side by then.
            pass
        if self.clients.get(address) is client:
            del self.clients[address]


_airs: WeakKeyDictionary[asyncio.AbstractEventLoop, Air] = WeakKeyDictionary()


def air() -> Air:
    """Return the running event loop's share of the adapter."""
    loop = asyncio.get_running_loop()
    return _airs.get(loop) or _airs.setdefault(loop, Air())


_starts: deque[float] = deque(maxlen=ANDROID_SCANS)


def pause_before_scan_s(starts: deque[float], now_s: float, system: str) -> float:
    """Return how long to wait before the next start of a scan; ``starts`` are the last ones.  Only Android counts."""
    if system != "android" or len(starts) < ANDROID_SCANS:
        return 0.0
    return max(0.0, starts[0] + ANDROID_WINDOW_S - now_s)


async def _scan(seconds: float, detected: Detected, enough: asyncio.Event) -> None:
    from bleak import BleakScanner

    await asyncio.sleep(pause_before_scan_s(_starts, time.monotonic(), platform()))
    _starts.append(time.monotonic())
    async with BleakScanner(detected):
        try:
            await asyncio.wait_for(enough.wait(), seconds)
        except TimeoutError:
            pass


async def _find(address: str) -> BLEDevice | None:
    found: list[BLEDevice] = []
    heard = asyncio.Event()

    def detected(device: BLEDevice, _advertisement: AdvertisementData) -> None:
        if device.address.lower() == address.lower():
            found.append(device)
            heard.set()

    await _scan(FIND_S, detected, heard)
    return found[-1] if found else None


async def _already_connected(address: str) -> BLEDevice | None:
    """Return the device when the system still holds a connection to it (a program that crashed): it is silent then."""
    from bleak import BleakAdapter

    try:
        adapter = await BleakAdapter.get()
        held = await adapter.get_connected_devices([NATIVE_SERVICE, TEXT_SERVICE, ENVIRONMENTAL_SENSING])
    except NotImplementedError:
        return None
    return next((device for device in held if device.address.lower() == address.lower()), None)


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
