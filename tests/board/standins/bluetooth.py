"""Stand-in for the board's ``bluetooth``: a service that a central of the bench writes to and hears.

Of the radio's own behaviour: a notification is cut at ATT_MTU - 3 bytes, one that finds no room raises OSError, and so does one
to a connection that is gone; a characteristic keeps 20 bytes of a write unless its buffer was made longer, with ``append`` what
comes before it is read is put behind.  Nothing here is allocated by a notification: on the board that room is the radio's.
"""

made = []
_CONNECTED, _DISCONNECTED, _WRITTEN, _MTU = 1, 2, 3, 21
CONNECTION = 64
_KEPT = 2048


class UUID:
    """A UUID of 128 bits; as bytes it is little-endian, as in an advertisement."""

    def __init__(self, text):
        self._bytes = bytes(int(text.replace("-", "")[i : i + 2], 16) for i in range(30, -2, -2))

    def __iter__(self):
        return iter(self._bytes)  # the board's own lets bytes() look inside


class BLE:
    """The radio."""

    def __init__(self):
        self.advertising = None
        self.connected = False
        self.room = 65535
        self.mtu = 23
        self.settings = {}
        self.handler = None
        self._written = b""
        self._buffer, self._append = 20, False
        self._sent, self._sent_at = bytearray(_KEPT), 0
        made.append(self)

    def active(self, on):
        """Switch on."""

    def config(self, **settings):
        """Keep the settings."""
        self.settings.update(settings)

    def irq(self, handler):
        """Who is told of events."""
        self.handler = handler

    def gatts_register_services(self, services):
        """Handles, by number."""
        ((_, ((_, to), (_, come))),) = services
        if to != 0x0C or come != 0x10:
            raise ValueError("write, write without response; notify")
        return ((11, 13),)

    def gatts_set_buffer(self, handle, length, append):
        """Writes are kept up to so many bytes, one after another."""
        self._buffer, self._append = length, append

    def gap_advertise(self, interval_us, adv_data=None, resp_data=None):
        """Advertise; 31 bytes at most fit each."""
        if self.connected or len(adv_data) > 31 or len(resp_data) > 31:
            raise OSError(22)
        self.advertising = (adv_data, resp_data)

    def gatts_read(self, handle):
        """What was written."""
        data, self._written = self._written, b""
        return data

    def gatts_notify(self, connection, handle, data):
        """Send, when there is room."""
        if connection != CONNECTION or not self.connected or handle != 13:
            raise OSError(128)
        if self.room == 0:
            raise OSError(12)
        self.room -= 1
        count = min(len(data), self.mtu - 3)
        at = self._sent_at
        self._sent[at] = count
        for i in range(count):
            self._sent[at + 1 + i] = data[i]
        self._sent_at = at + 1 + count

    # ---------------------------------------------------------------------------------------------- for the bench

    def event(self, kind, data):
        """Something in the air: who connects, leaves, writes, or agrees on an MTU."""
        if kind == _CONNECTED:
            self.connected, self.advertising, self.mtu = True, None, 23
            self.handler(kind, (CONNECTION, 0, b"\0" * 6))
        elif kind == _DISCONNECTED:
            self.connected = False
            self.handler(kind, (CONNECTION, 0, b"\0" * 6))
        elif kind == _MTU:
            self.mtu = min(data[0] | data[1] << 8, self.settings["mtu"])
            self.handler(kind, (CONNECTION, self.mtu))
        elif kind == _WRITTEN:
            self._written = ((self._written if self._append else b"") + data)[: self._buffer]
            self.handler(kind, (CONNECTION, 11))

    def taken(self):
        """What was notified since the last call: each with its length before it, in one byte."""
        data = bytes(self._sent[: self._sent_at])
        self._sent_at = 0
        return data
