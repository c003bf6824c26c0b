"""A real pseudo-terminal as a serial port: what stands at the other end is the test."""

from __future__ import annotations

import os
import pty
import tty
from types import TracebackType


class PtyPort:
    """Both ends of a pty in raw mode; ``name`` is what a serial link opens."""

    def __init__(self) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.name = os.ttyname(self.slave)

    def say(self, data: bytes) -> None:
        """Send as the sensor."""
        os.set_blocking(self.master, True)
        os.write(self.master, data)
        os.set_blocking(self.master, False)

    def heard(self) -> bytes:
        """Return what the host has sent so far."""
        try:
            return os.read(self.master, 65536)
        except BlockingIOError:
            return b""

    def unplug(self) -> None:
        """Pull the cable: the host's reads fail from now on."""
        for fd in (self.slave, self.master):
            if fd >= 0:
                os.close(fd)
        self.slave = self.master = -1

    def __enter__(self) -> PtyPort:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()
