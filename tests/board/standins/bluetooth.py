"""Stand-in for the board's ``bluetooth``: a service that a central of the bench writes to and hears."""

made = []


class UUID:
    """A UUID of 128 bits; as bytes it is little-endian, as in an advertisement."""

    def __init__(self, text):
        self._bytes = bytes(int(text.replace("-", "")[i : i + 2], 16) for i in range(30, -2, -2))

    def __iter__(self):
        return iter(self._bytes)  # the board's own lets bytes() look inside


class BLE:
    """The radio."""

    def __init__(self):
        self.notified = []
        self.advertising = None
        self.room = 1000
        self.written = b""
        self.settings = {}
        self.handler = None
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
        self.services = services
        return ((11, 13),)

    def gatts_set_buffer(self, handle, length, append):
        """Writes are kept one after another."""

    def gap_advertise(self, interval_us, adv_data=None, resp_data=None):
        """Advertise."""
        self.advertising = (adv_data, resp_data)

    def gatts_read(self, handle):
        """What was written."""
        data, self.written = self.written, b""
        return data

    def gatts_notify(self, connection, handle, data):
        """Send, when there is room."""
        if self.room == 0:
            raise OSError(12)
        self.room -= 1
        self.notified.append(bytes(data))

    def write(self, data):
        """For the bench: the central writes."""
        self.written += data
        self.handler(3, (64, 11))
