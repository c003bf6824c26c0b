"""A sensor over Bluetooth LE: our wire format or text lines over a UART-style service, or standard characteristics.

What the sensor is becomes known only after connecting, so the link says it on channels of its own (``@dialect``,
``@name``, ``@has``, ``@address``) before the first light: ``shared/wire/ble-v1.md``, section 4.
"""

from __future__ import annotations

import asyncio
import re
import time
from typing import TYPE_CHECKING, NamedTuple

from meterlink.errors import LinkError, LinkLost, UsageError
from meterlink.sensor.link import ble_uuids as uuids
from meterlink.sensor.link.base import OnBytes, OnLost, nobody
from meterlink.sensor.link.ble_air import air
from meterlink.sensor.link.ble_errors import explain
from meterlink.sensor.link.registry import LinkUrl
from meterlink.words.actions import Do

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.characteristic import BleakGATTCharacteristic

FIRST_VALUES_S = 0.02
"""What was read while opening is handed on so long after: whoever opened the link is ready for it by then."""
POLL_LIGHT_S = 0.25
POLL_BATTERY_S = 60.0
WRITE_S = 5.0
READ_S = 5.0
MIN_PIECE = 20
"""ATT_MTU is at least 23, three of which are the header (Bluetooth Core, Vol 3 Part F 3.2.8)."""
DEFAULT_TEXT_DIALECT = "lux-lines"
_ADDRESS = re.compile(r"(?:[0-9A-F]{2}:){5}[0-9A-F]{2}|[0-9A-F]{8}(?:-[0-9A-F]{4}){3}-[0-9A-F]{12}")


class Way(NamedTuple):
    """How the sensor offers its light."""

    dialect: str
    listen: tuple[BleakGATTCharacteristic, ...]
    """Characteristics to subscribe to."""
    ask: tuple[BleakGATTCharacteristic, ...]
    """Characteristics that can only be read."""
    write: BleakGATTCharacteristic | None
    stream: bool


def from_url(url: LinkUrl) -> BleLink:
    """Return the link of ``ble:ADDRESS``; the option ``dialect`` names the lines that a text sensor sends."""
    url.refuse_options_but()
    address = url.target.upper()
    if not _ADDRESS.fullmatch(address):
        raise UsageError("{url}: {target!r} is no Bluetooth address: {do}", url=url.text, target=url.target, do=Do("sensors"))
    return BleLink(address, url=url.text, dialect=url.options.get("dialect", ""))


class BleLink:
    """One sensor over Bluetooth LE."""

    def __init__(self, address: str, *, url: str = "", dialect: str = "") -> None:
        self.url = url or f"ble:{address}"
        self.address = address
        self.dialect = ""
        """What it speaks; known once the link is open."""
        self._wanted_dialect = dialect
        self._client: BleakClient | None = None
        self._way: Way | None = None
        self._on_bytes: OnBytes = nobody
        self._on_lost: OnLost = nobody
        self._is_open = False
        self._heard: set[str] = set()
        """Channels that have notified since opening: what was read before is older."""
        self._reading: list[asyncio.Task[None]] = []
        self._releasing: asyncio.Task[None] | None = None
        self._writing = asyncio.Lock()

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Connect, find out what it is, and subscribe.

        Raises LinkNotFound: it is not heard or does not answer; LinkBusy: another program or host holds it; LinkError: Bluetooth is
        missing, off or not allowed, or the device has no light to offer.
        """
        await self.close()
        client = await air().connect(self.address, self._disconnected, self.url)
        self._client, self._on_bytes, self._on_lost = client, on_bytes, on_lost
        try:
            await self._start(client)
            if not client.is_connected:
                raise LinkLost("{url} is gone while it was being opened: come nearer", url=self.url)
        except BaseException as error:
            await self.close()
            if isinstance(error, Exception):
                raise explain(error, self.url, open_link=True) from error
            raise
        self._is_open = True

    async def _start(self, client: BleakClient) -> None:
        self._heard = set()
        self._way = way = choose(client, self._wanted_dialect, self.url)
        self.dialect = way.dialect
        extras = [] if way.stream else _characteristics(client, uuids.DEVICE_INFORMATION)
        battery = _characteristics(client, (uuids.BATTERY_LEVEL,))
        has = ",".join(uuids.short(char.uuid) for char in (*way.listen, *way.ask, *battery))
        self._tell("@dialect", way.dialect)
        self._tell("@name", client.name or "")
        self._tell("@has", has)
        for char in extras:
            if (value := await self._read(client, char)) is not None:
                self._hand_on(client, value, uuids.short(char.uuid))
        self._tell("@address", self.address)
        # All reading before all subscribing: a read of a subscribed characteristic comes as a notification as well.
        first = {}
        for char in battery if way.stream else (*way.listen, *way.ask, *battery):
            if "read" in char.properties and (value := await self._read(client, char)) is not None:
                first[uuids.short(char.uuid)] = value
        for char in (*way.listen, *(char for char in battery if _notifies(char))):
            await self._subscribe(client, char, "" if way.stream and char in way.listen else uuids.short(char.uuid))
        self._reading.append(asyncio.ensure_future(self._hand_on_first(client, first)))
        for char in way.ask:
            self._reading.append(asyncio.ensure_future(self._poll(client, char, POLL_LIGHT_S)))
        for char in battery:
            if not _notifies(char):
                self._reading.append(asyncio.ensure_future(self._poll(client, char, POLL_BATTERY_S)))

    def _tell(self, channel: str, text: str) -> None:
        self._on_bytes(text.encode("utf-8"), time.monotonic(), channel)

    async def _read(self, client: BleakClient, char: BleakGATTCharacteristic) -> bytes | None:
        """Read one value; None when the sensor refuses it: it may still have the others."""
        from bleak.exc import BleakError

        try:
            async with asyncio.timeout(READ_S):
                return bytes(await client.read_gatt_char(char))
        except (BleakError, TimeoutError):
            if not client.is_connected:
                raise
            return None

    async def _hand_on_first(self, client: BleakClient, first: dict[str, bytes]) -> None:
        await asyncio.sleep(FIRST_VALUES_S)
        for channel, value in first.items():
            if channel not in self._heard:
                self._hand_on(client, value, channel)

    async def _subscribe(self, client: BleakClient, char: BleakGATTCharacteristic, channel: str) -> None:
        hand_on, heard = self._hand_on, self._heard

        def notified(_char: BleakGATTCharacteristic, data: bytearray) -> None:
            heard.add(channel)
            hand_on(client, bytes(data), channel)

        async with asyncio.timeout(READ_S):
            await client.start_notify(char, notified)

    def _hand_on(self, client: BleakClient, data: bytes, channel: str) -> None:
        if client is self._client:
            self._on_bytes(data, time.monotonic(), channel)

    async def _poll(self, client: BleakClient, char: BleakGATTCharacteristic, every_s: float) -> None:
        from bleak.exc import BleakError

        try:
            while client is self._client and client.is_connected:
                await asyncio.sleep(every_s)
                value = await self._read(client, char)
                if value is not None:
                    self._hand_on(client, value, uuids.short(char.uuid))
        except (BleakError, TimeoutError):
            # The connection is gone; bleak's own callback tells.
            pass

    def _disconnected(self, client: BleakClient) -> None:
        """Bleak's word that the connection is gone, also after our own ``close()``."""
        if client is not self._client or not self._is_open:
            return
        on_lost = self._on_lost
        self._forget()
        # The lost client is let go of at once, and in any case before the next connection.
        self._releasing = asyncio.ensure_future(air().release(self.address))
        on_lost(LinkLost("{url} is gone: out of range or switched off; come nearer or switch it on", url=self.url))

    def _forget(self) -> None:
        self._client, self._way, self._is_open = None, None, False
        for task in self._reading:
            task.cancel()
        self._reading.clear()
        self._on_bytes, self._on_lost = nobody, nobody

    async def write(self, data: bytes) -> None:
        """Send all of ``data`` in pieces that the connection takes, in order.

        Raises LinkLost: the link is not open or breaks on the way; LinkError: this sensor takes no commands, or does not take this
        one.
        """
        async with self._writing:
            client, way = self._client, self._way
            if client is None or way is None:
                raise LinkLost("{url} is not connected: switch it on and come nearer", url=self.url)
            if way.write is None:
                raise LinkError("{url} takes no commands: it sends what it sees by itself", url=self.url)
            at_once = "write-without-response" in way.write.properties
            size = max(MIN_PIECE, way.write.max_write_without_response_size)
            try:
                for start in range(0, len(data), size):
                    async with asyncio.timeout(WRITE_S):
                        await client.write_gatt_char(way.write, data[start : start + size], response=not at_once)
            except Exception as error:
                raise explain(error, self.url, open_link=True) from error

    async def close(self) -> None:
        """Disconnect.  May be called at any time, also twice; ``on_lost`` is not called after it."""
        held = self._client is not None
        self._forget()
        releasing, self._releasing = self._releasing, None
        if releasing is not None:
            await releasing
        if held:
            await air().release(self.address)


def choose(client: BleakClient, wanted_dialect: str, url: str) -> Way:
    """Return the first of the three ways that the connected sensor offers.  Raises LinkError: it offers none."""
    for service, down, up, dialect in (
        (uuids.NATIVE_SERVICE, uuids.NATIVE_TO_SENSOR, uuids.NATIVE_FROM_SENSOR, "meterlink-1"),
        (uuids.TEXT_SERVICE, uuids.TEXT_TO_SENSOR, uuids.TEXT_FROM_SENSOR, wanted_dialect or DEFAULT_TEXT_DIALECT),
    ):
        held = client.services.get_service(service)
        listen = held and held.get_characteristic(up)
        if held and listen and _notifies(listen):
            return Way(dialect, (listen,), (), held.get_characteristic(down), True)
    light = [*_characteristics(client, uuids.LIGHT), *_characteristics(client, uuids.COLOUR)]
    if not any(uuids.short(char.uuid) in uuids.LIGHT for char in light):
        raise LinkError("{url} offers no light that can be read: choose another: {do}", url=url, do=Do("sensors"))
    listens = tuple(char for char in light if _notifies(char))
    asks = tuple(char for char in light if not _notifies(char) and "read" in char.properties)
    return Way("gatt-light", listens, asks, None, False)


def _characteristics(client: BleakClient, wanted: tuple[str, ...]) -> list[BleakGATTCharacteristic]:
    """Return the first characteristic of each wanted short UUID, in that order: a second one is another sensor."""
    found: dict[str, BleakGATTCharacteristic] = {}
    for handle in sorted(client.services.characteristics):
        char = client.services.characteristics[handle]
        found.setdefault(uuids.short(char.uuid), char)
    return [found[name] for name in wanted if name in found]


def _notifies(char: BleakGATTCharacteristic) -> bool:
    return "notify" in char.properties or "indicate" in char.properties
