"""A stand-in for the system's Bluetooth service: ``org.bluez`` on a bus of its own, with simulated sensors on the air.

Only the Bluetooth service and the air are simulated; bleak's own Linux backend talks to it over a real socket, in the
same process or in any subprocess that inherits ``DBUS_SYSTEM_BUS_ADDRESS``::

    with Standin() as air:
        air.add(native_sensor())
        subprocess.run([...], env={**os.environ, **air.environment})

The stand-in lives in a thread with an event loop of its own; its methods may be called from anywhere.  As a program it
runs until its standard input ends: ``python tests/bluetooth/bluez_standin.py`` prints the address of the bus.
"""

from __future__ import annotations

import asyncio
import os
import socket
import sys
import threading
from collections.abc import Coroutine, Iterable
from contextlib import suppress
from typing import Any, TypeVar

from bluez_sensors import Characteristic, Sensor, native_sensor, standard_sensor, text_sensor
from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus
from private_bus import PrivateBus, missing

T = TypeVar("T")
ADAPTER = "/org/bluez/hci0"
ADVERTISE_S = 0.05
_OBJECTS = "org.freedesktop.DBus.ObjectManager"
_PROPERTIES = "org.freedesktop.DBus.Properties"
_CHARACTERISTIC = "org.bluez.GattCharacteristic1"


def error(message: Message, name: str, text: str = "") -> Message:
    """Return an error of the Bluetooth service."""
    return Message.new_error(message, f"org.bluez.Error.{name}", text or name)


class _Device:
    """One sensor's objects on the bus."""

    def __init__(self, sensor: Sensor) -> None:
        self.sensor = sensor
        self.path = f"{ADAPTER}/dev_{sensor.address.replace(':', '_')}"
        self.known = False
        self.connected = False
        self.resolved = False
        self.chars: dict[str, tuple[str, Characteristic]] = {}
        """Object path -> service path and characteristic."""
        self.services: dict[str, str] = {}
        handle = 0x10
        for service, chars in sensor.services.items():
            service_path = f"{self.path}/service{handle:04x}"
            self.services[service_path] = service
            for char in chars:
                handle += 2
                self.chars[f"{service_path}/char{handle:04x}"] = (service_path, char)
            handle += 0x10
        self.subscribers: dict[str, list[str]] = {}
        """Object path -> unique names; a name stays until its owner leaves the bus, as in the real service."""
        self.sockets: dict[str, list[socket.socket]] = {}
        self.connecting: str | None = None

    def path_of(self, uuid: str) -> str:
        return next(path for path, (_, char) in self.chars.items() if char.uuid.lower() == uuid.lower())

    def properties(self) -> dict[str, Variant]:
        sensor = self.sensor
        return {
            "Address": Variant("s", sensor.address),
            "AddressType": Variant("s", "random"),
            "Name": Variant("s", sensor.name),
            "Alias": Variant("s", sensor.name or sensor.address.replace(":", "-")),
            "Adapter": Variant("o", ADAPTER),
            "UUIDs": Variant("as", sensor.advertises),
            "Paired": Variant("b", False),
            "Trusted": Variant("b", False),
            "RSSI": Variant("n", sensor.rssi),
            "Connected": Variant("b", self.connected),
            "ServicesResolved": Variant("b", self.resolved),
        }

    def gatt_objects(self) -> dict[str, dict[str, dict[str, Variant]]]:
        objects: dict[str, dict[str, dict[str, Variant]]] = {}
        for path, uuid in self.services.items():
            objects[path] = {
                "org.bluez.GattService1": {
                    "UUID": Variant("s", uuid),
                    "Primary": Variant("b", True),
                    "Device": Variant("o", self.path),
                    "Includes": Variant("ao", []),
                }
            }
        for path, (service_path, char) in self.chars.items():
            objects[path] = {
                _CHARACTERISTIC: {
                    "UUID": Variant("s", char.uuid),
                    "Service": Variant("o", service_path),
                    "Value": Variant("ay", char.value),
                    "Notifying": Variant("b", bool(self.subscribers.get(path))),
                    "NotifyAcquired": Variant("b", False),
                    "Flags": Variant("as", char.flags),
                    "MTU": Variant("q", self.sensor.mtu),
                }
            }
        return objects


class Standin:
    """The service, its adapter, and the sensors around it."""

    def __init__(
        self, *, adapter: bool = True, powered: bool = True, service: bool = True, denied: bool = False
    ) -> None:
        self.bus = PrivateBus(deny="org.bluez" if denied else "")
        self.environment = {"DBUS_SYSTEM_BUS_ADDRESS": self.bus.address}
        self.calls: dict[str, int] = {}
        """How often each method was called, by its name."""
        self.sent = 0
        """Notifications sent, each counted once however many subscribers it had."""
        self._adapter, self._powered, self._service = adapter, powered, service
        self._devices: dict[str, _Device] = {}
        self._scanning: set[str] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="bluez stand-in", daemon=True)
        self._thread.start()
        self._call(self._start())

    # --- what a test does -------------------------------------------------------------------------------------

    def add(self, sensor: Sensor) -> Sensor:
        """Put a sensor on the air."""
        self._now(lambda: self._devices.__setitem__(sensor.address, _Device(sensor)))
        return sensor

    def notify(self, sensor: Sensor, uuid: str, data: bytes) -> None:
        """Let the sensor send one notification."""
        self._now(lambda: self._notify(self._devices[sensor.address], uuid, data))

    def stream(self, sensor: Sensor, uuid: str, values: Iterable[bytes], hz: float) -> None:
        """Let it send ``values`` at ``hz``; returns when the last one is sent."""
        self._call(self._stream(self._devices[sensor.address], uuid, list(values), hz))

    def start_stream(self, sensor: Sensor, uuid: str, values: Iterable[bytes], hz: float) -> None:
        """As ``stream``, without waiting."""
        self._now(lambda: self._spawn(self._stream(self._devices[sensor.address], uuid, list(values), hz)))

    def drop(self, sensor: Sensor) -> None:
        """Break the connection from the sensor's side (out of range, battery, reset)."""
        self._now(lambda: self._set_connected(self._devices[sensor.address], False))

    def vanish(self, sensor: Sensor) -> None:
        """Let the service forget the device, as it does some time after a scan."""
        self._now(lambda: self._forget(self._devices[sensor.address]))

    def power(self, on: bool) -> None:
        """Switch the adapter; off breaks every connection."""
        self._now(lambda: self._power(on))

    def plug(self, adapter: bool) -> None:
        """Plug the adapter in or pull it out."""
        self._now(lambda: self._plug(adapter))

    def is_connected(self, sensor: Sensor) -> bool:
        """Whether the sensor has a connection."""
        return self._devices[sensor.address].connected

    def subscribers(self, sensor: Sensor, uuid: str) -> int:
        """How many programs listen to a characteristic (the same one twice counts twice)."""
        device = self._devices[sensor.address]
        return len(device.subscribers.get(device.path_of(uuid), []))

    def bridge(self, sensor: Sensor, fd: int, from_uuid: str, to_uuid: str) -> None:
        """Carry the bytes of a serial device (a pty with real firmware behind it) over the air, both ways."""

        def readable() -> None:
            device = self._devices[sensor.address]
            with suppress(BlockingIOError):
                data = os.read(fd, 4096)
                size = sensor.mtu - 3
                for start in range(0, len(data), size):
                    self._notify(device, from_uuid, data[start : start + size])

        def written(uuid: str, data: bytes) -> None:
            if uuid.lower() == to_uuid.lower():
                os.write(fd, data)

        os.set_blocking(fd, False)
        sensor.on_write = written
        self._now(lambda: self._loop.add_reader(fd, readable))

    def stop(self) -> None:
        """End the service, its thread and its bus."""
        with suppress(Exception):
            self._call(self._stop())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5)
        self._loop.close()
        self.bus.stop()

    def __enter__(self) -> Standin:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # --- the service ------------------------------------------------------------------------------------------

    def _call(self, work: Coroutine[Any, Any, T]) -> T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(60)

    def _now(self, work: Any) -> None:
        async def run() -> None:
            work()

        self._call(run())

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _start(self) -> None:
        self._bus = await MessageBus(bus_address=self.bus.address, negotiate_unix_fd=True).connect()
        self._bus.add_message_handler(self._handle)
        rule = "type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"
        bus_name = "org.freedesktop.DBus"
        await self._bus.call(
            Message(bus_name, "/org/freedesktop/DBus", bus_name, "AddMatch", signature="s", body=[rule])
        )
        if self._service:
            await self._bus.request_name("org.bluez")
        self._spawn(self._advertise())

    async def _stop(self) -> None:
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._bus.disconnect()
        with suppress(Exception):
            await self._bus.wait_for_disconnect()

    def _signal(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        if self._bus.connected:
            self._bus.send(Message.new_signal(path, interface, member, signature, body))

    def _changed(self, path: str, interface: str, **changed: Variant) -> None:
        self._signal(path, _PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, changed, []])

    def _added(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        self._signal("/", _OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    def _removed(self, path: str, *interfaces: str) -> None:
        self._signal("/", _OBJECTS, "InterfacesRemoved", "oas", [path, list(interfaces)])

    def _adapter_object(self) -> dict[str, dict[str, Variant]]:
        return {
            "org.bluez.Adapter1": {
                "Address": Variant("s", "00:00:00:00:00:10"),
                "Name": Variant("s", "stand-in"),
                "Alias": Variant("s", "stand-in"),
                "Powered": Variant("b", self._powered),
                "Discovering": Variant("b", bool(self._scanning)),
                "Roles": Variant("as", ["central", "peripheral"]),
                "UUIDs": Variant("as", []),
            }
        }

    def _handle(self, message: Message) -> Message | bool | None:
        if message.message_type == MessageType.SIGNAL:
            if message.member == "NameOwnerChanged" and not message.body[2]:
                self._gone(message.body[0])
            return None
        if message.message_type != MessageType.METHOD_CALL:
            return None
        member = message.member or ""
        self.calls[member] = self.calls.get(member, 0) + 1
        if message.interface == _OBJECTS:
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self._managed()])
        if message.interface == _PROPERTIES:
            return Message.new_method_return(message)
        if message.path == ADAPTER:
            return self._adapter_call(message, member)
        for device in self._devices.values():
            if message.path == device.path:
                return self._device_call(device, message, member)
            if message.path in device.chars:
                return self._char_call(device, message, member)
        return Message.new_error(message, "org.freedesktop.DBus.Error.UnknownObject", "no such object")

    def _managed(self) -> dict[str, dict[str, dict[str, Variant]]]:
        objects: dict[str, dict[str, dict[str, Variant]]] = {"/org/bluez": {}}
        if self._adapter:
            objects[ADAPTER] = self._adapter_object()
        for device in self._devices.values():
            if device.known:
                objects[device.path] = {"org.bluez.Device1": device.properties()}
                if device.resolved:
                    objects.update(device.gatt_objects())
        return objects

    def _gone(self, name: str) -> None:
        self._scanning.discard(name)
        for device in self._devices.values():
            for names in device.subscribers.values():
                while name in names:
                    names.remove(name)

    # adapter

    def _adapter_call(self, message: Message, member: str) -> Message:
        if not self._adapter:
            return Message.new_error(message, "org.freedesktop.DBus.Error.UnknownObject", "no adapter")
        if member == "StartDiscovery":
            if not self._powered:
                return error(message, "NotReady", "Resource Not Ready")
            if message.sender in self._scanning:
                return error(message, "InProgress", "Operation already in progress")
            self._scanning.add(message.sender or "")
            self._loop.call_soon(self._advertise_once)
        elif member == "StopDiscovery":
            if message.sender not in self._scanning:
                return error(message, "Failed", "No discovery started")
            self._scanning.discard(message.sender)
        return Message.new_method_return(message)

    async def _advertise(self) -> None:
        while True:
            await asyncio.sleep(ADVERTISE_S)
            self._advertise_once()

    def _advertise_once(self) -> None:
        if not (self._scanning and self._powered and self._adapter):
            return
        for device in self._devices.values():
            if device.connected or not device.sensor.advertising:
                continue
            if not device.known:
                device.known = True
                self._added(device.path, {"org.bluez.Device1": device.properties()})
            else:
                self._changed(device.path, "org.bluez.Device1", RSSI=Variant("n", device.sensor.rssi))

    def _power(self, on: bool) -> None:
        self._powered = on
        self._changed(ADAPTER, "org.bluez.Adapter1", Powered=Variant("b", on))
        if not on:
            self._scanning.clear()
            for device in self._devices.values():
                self._set_connected(device, False)

    def _plug(self, adapter: bool) -> None:
        if adapter:
            self._adapter = True
            self._added(ADAPTER, self._adapter_object())
            return
        self._adapter = False
        self._removed(ADAPTER, "org.bluez.Adapter1")
        for device in self._devices.values():
            self._set_connected(device, False)
            self._forget(device)

    # device

    def _device_call(self, device: _Device, message: Message, member: str) -> Message | bool:
        if not device.known:
            return Message.new_error(message, "org.freedesktop.DBus.Error.UnknownObject", "no such device")
        if member == "Connect":
            self._spawn(self._connect(device, message))
            return True
        if member == "Disconnect":
            device.connecting = None
            self._set_connected(device, False)
        return Message.new_method_return(message)

    async def _connect(self, device: _Device, message: Message) -> None:
        sensor = device.sensor
        mode = "ok"
        if not self._powered:
            return self._reply(error(message, "NotReady", "Resource Not Ready"))
        if device.connecting is not None:
            return self._reply(error(message, "InProgress", "Operation already in progress"))
        if sensor.fail_times:
            mode = sensor.connect
            sensor.fail_times -= 1
            if mode == "stall":
                device.connecting = message.sender
                return None
            if mode == "fail":
                return self._reply(error(message, "Failed", "le-connection-abort-by-remote"))
            if mode == "in-progress":
                return self._reply(error(message, "InProgress", "Operation already in progress"))
        device.connecting = message.sender
        self._set_connected(device, True)
        await asyncio.sleep(sensor.services_after_s)
        device.connecting = None
        if mode == "abort":
            self._set_connected(device, False)
            return self._reply(error(message, "Failed", "Software caused connection abort"))
        self._reply(Message.new_method_return(message))
        if not device.connected:
            return None
        device.resolved = True
        for path, interfaces in device.gatt_objects().items():
            self._added(path, interfaces)
        self._changed(device.path, "org.bluez.Device1", ServicesResolved=Variant("b", True))
        return None

    def _reply(self, message: Message) -> None:
        if self._bus.connected:
            self._bus.send(message)

    def _set_connected(self, device: _Device, connected: bool) -> None:
        if device.connected == connected:
            return
        device.connected = connected
        if not connected and device.resolved:
            device.resolved = False
            self._changed(device.path, "org.bluez.Device1", ServicesResolved=Variant("b", False))
            for path in device.chars:
                self._removed(path, _CHARACTERISTIC)
            for path in device.services:
                self._removed(path, "org.bluez.GattService1")
            for sockets in device.sockets.values():
                for held in sockets:
                    held.close()
            device.sockets.clear()
        self._changed(device.path, "org.bluez.Device1", Connected=Variant("b", connected))

    def _forget(self, device: _Device) -> None:
        if device.known:
            device.known = False
            self._removed(device.path, "org.bluez.Device1")

    # characteristic

    def _char_call(self, device: _Device, message: Message, member: str) -> Message | bool:
        path = message.path or ""
        char = device.chars[path][1]
        if not device.connected:
            return error(message, "Failed", "Not connected")
        if member == "ReadValue":
            if char.uuid in device.sensor.refuse:
                return error(message, "NotPermitted", "Read not permitted")
            # The real service also tells everybody who listens: a read of a subscribed value arrives twice.
            self._changed(path, _CHARACTERISTIC, Value=Variant("ay", char.value))
            return Message.new_method_return(message, "ay", [char.value])
        if member == "WriteValue":
            return self._write(device, char, message)
        if member == "StartNotify":
            names = device.subscribers.setdefault(path, [])
            if message.sender in names:
                return error(message, "InProgress", "Operation already in progress")
            names.append(message.sender or "")
            self._answer(device, device.sensor.on_subscribe and device.sensor.on_subscribe(char.uuid))
        elif member == "StopNotify":
            with suppress(ValueError):
                device.subscribers.get(path, []).remove(message.sender or "")
        elif member == "AcquireNotify":
            ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
            device.sockets.setdefault(path, []).append(ours)
            self._loop.call_later(1, theirs.close)
            return Message.new_method_return(message, "hq", [0, device.sensor.mtu], unix_fds=[theirs.fileno()])
        return Message.new_method_return(message)

    def _write(self, device: _Device, char: Characteristic, message: Message) -> Message | bool:
        data, options = message.body
        kind = options["type"].value if "type" in options else "request"
        limit = device.sensor.mtu - 3 if kind == "command" else 512
        if len(data) > limit:
            return error(message, "InvalidArguments", "Invalid Length")
        if device.sensor.stall_writes:
            return True
        device.sensor.writes.append((char.uuid, bytes(data), kind))
        if device.sensor.on_write is not None:
            self._answer(device, device.sensor.on_write(char.uuid, bytes(data)))
        return Message.new_method_return(message)

    def _answer(self, device: _Device, answers: Iterable[tuple[str, bytes]] | None) -> None:
        for uuid, data in answers or ():
            self._loop.call_soon(self._notify, device, uuid, data)

    def _notify(self, device: _Device, uuid: str, data: bytes) -> None:
        if not device.connected:
            return
        path = device.path_of(uuid)
        char = device.chars[path][1]
        char.value = data
        self.sent += 1
        # One signal for each listener, as the real service does: who leaked a listener hears everything twice.
        for _ in device.subscribers.get(path, []):
            self._changed(path, _CHARACTERISTIC, Value=Variant("ay", data))
        for held in device.sockets.get(path, []):
            with suppress(OSError):
                held.send(data)

    async def _stream(self, device: _Device, uuid: str, values: list[bytes], hz: float) -> None:
        start_s = self._loop.time()
        for number, value in enumerate(values):
            await asyncio.sleep(max(0.0, start_s + number / hz - self._loop.time()))
            self._notify(device, uuid, value)


def main() -> int:
    """Run a stand-in with one sensor of each kind until standard input ends."""
    if why := missing():
        print(why, file=sys.stderr)
        return 1
    with Standin() as air:
        for sensor in (native_sensor(), text_sensor(), standard_sensor()):
            air.add(sensor)
        print(f"DBUS_SYSTEM_BUS_ADDRESS={air.environment['DBUS_SYSTEM_BUS_ADDRESS']}", flush=True)
        sys.stdin.read()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
