"""Way 1 of shared/wire/ble-v1.md: the same bytes over a UART-style Bluetooth LE service.

The board's Bluetooth does not tell when a reader switches notifications on: so we begin to speak at the reader's first
write, or two seconds after it connected.  What of a notification a frame does not fill is filled with 0x00, which is an
empty frame to the reader: a notification then needs no new object for its length.
"""

import time

import bluetooth
import lines
from micropython import const

SERVICE = "ded30001-ec13-4504-baae-27cc2e3d87d8"
TO_SENSOR = "ded30002-ec13-4504-baae-27cc2e3d87d8"
FROM_SENSOR = "ded30003-ec13-4504-baae-27cc2e3d87d8"

_CONNECTED = const(1)
_DISCONNECTED = const(2)
_WRITTEN = const(3)
_MTU_CHANGED = const(21)
_NOTIFY = const(0x10)
_WRITE = const(0x08 | 0x04)  # with and without response
_MTU = const(247)
_MTU_LEAST = const(23)
_HEADER = const(3)
_SHORT = const(20)
ADVERTISE_US = const(250000)
GAP_MS = const(4)
"""Between two notifications: faster, the radio's part of the firmware would have to keep them on the heap."""
PATIENCE_MS = const(2000)
_INBOX = const(256)
_NAME_MOST = const(27)
"""Bytes of a name that fit a scan response of 31, with room to spare."""
_FLAGS = b"\x02\x01\x06"


def _cut(name):
    """Return the name's bytes as far as they fit, whole letters only."""
    while len(name.encode()) > _NAME_MOST:
        name = name[:-1]
    return name.encode()


def _field(kind, value):
    return bytes((len(value) + 1, kind)) + value


class BleLine(lines.Line):
    """A line over the air.  One reader at a time; while nobody is connected it advertises."""

    def __init__(self, name, ble=None):
        super().__init__()
        self._ble = ble or bluetooth.BLE()
        self._ble.active(True)
        shown = _cut(name)
        self._ble.config(gap_name=shown, mtu=_MTU)
        self._ble.irq(self._event)
        service = bluetooth.UUID(SERVICE)
        characteristics = ((bluetooth.UUID(TO_SENSOR), _WRITE), (bluetooth.UUID(FROM_SENSOR), _NOTIFY))
        ((self._to, self._from),) = self._ble.gatts_register_services(((service, characteristics),))
        self._ble.gatts_set_buffer(self._to, _INBOX, True)
        self._advertisement = _FLAGS + _field(0x07, bytes(service))
        self._scan_response = _field(0x09, shown)
        self._inbox = bytearray(_INBOX)
        self._in = self._out = 0
        self._connection = -1
        self._awake = False
        self._connected_ms = -1
        self._said_ms = 0
        self._pieces(_MTU_LEAST)
        self._advertise()

    def _pieces(self, mtu):
        self._payload = min(mtu, _MTU) - _HEADER
        self._long = bytearray(self._payload)
        self._short = bytearray(min(_SHORT, self._payload))

    def _advertise(self):
        self._ble.gap_advertise(ADVERTISE_US, adv_data=self._advertisement, resp_data=self._scan_response)

    def _event(self, event, data):
        if event == _CONNECTED:
            self._connection = data[0]
            self._connected_ms = -1
            self._awake = False
            self._pieces(_MTU_LEAST)
            self.lost()
            self._in = self._out = 0
        elif event == _DISCONNECTED:
            self._connection = -1
            self.lost()
            self._advertise()
        elif event == _MTU_CHANGED:
            self._pieces(data[1])
        elif event == _WRITTEN and data[1] == self._to:
            self._awake = True
            for byte in self._ble.gatts_read(self._to):
                following = (self._in + 1) % _INBOX
                if following == self._out:
                    break  # nobody of ours writes so much: the frame is damaged, its CRC will tell
                self._inbox[self._in] = byte
                self._in = following

    def receive(self, now_ms):
        """Return the next byte from the reader; -1 when there is none."""
        if self._connection >= 0 and not self._awake:
            if self._connected_ms < 0:
                self._connected_ms = now_ms
            self._awake = time.ticks_diff(now_ms, self._connected_ms) > PATIENCE_MS
        if self._in == self._out:
            return -1
        byte = self._inbox[self._out]
        self._out = (self._out + 1) % _INBOX
        return byte

    def _write(self, data, start, end, now_ms):
        if self._connection < 0 or not self._awake:
            return 0
        if start > 0 and time.ticks_diff(now_ms, self._said_ms) < GAP_MS:
            return 0
        piece = self._short if end - start <= len(self._short) else self._long
        count = min(end - start, len(piece))
        for i in range(len(piece)):
            piece[i] = data[start + i] if i < count else 0
        try:
            self._ble.gatts_notify(self._connection, self._from, piece)
        except OSError:
            return 0  # no room in the radio: the same piece again in a moment
        self._said_ms = now_ms
        return count
