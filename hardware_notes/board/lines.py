"""Ways to a host: the USB serial line, and what every line has in common."""

import select
import sys
import time

from frames import Receiver
from micropython import const

STALL_MS = const(1000)
"""A line that takes nothing for so long has nobody at its end."""
PIECE = const(64)
"""Bytes of USB at once: one packet, so that a write never waits for long."""
_FRESH_MS = const(200)


class Line:
    """A frame on its way over one line.  ``_write`` is the line's own."""

    def __init__(self):
        self.receiver = Receiver()
        self._sent = -1  # bytes of the frame that are gone; -1: nothing to send
        self._moved_ms = 0
        self._heard = False  # somebody takes what we say
        self._zero = bytearray(1)

    def begin(self, now_ms):
        """There is a new frame."""
        self._sent = 0
        self._moved_ms = now_ms

    def pump(self, frame, length, now_ms):
        """Send what the line takes of the frame; true while some of it is left.

        To a line that nobody listened to, frames are not kept: when it is heard again it begins with one 0x00.
        """
        if self._sent < 0:
            return False
        if not self._heard:
            if self._sent > 0 or not self._write(self._zero, 0, 1, now_ms):
                self._sent = -1
                return False
            self._heard = True
        taken = self._write(frame, self._sent, length, now_ms)
        if taken:
            self._sent += taken
            self._moved_ms = now_ms
            if self._sent >= length:
                self._sent = -1
        elif time.ticks_diff(now_ms, self._moved_ms) > STALL_MS:
            self._heard = False
            self._sent = -1
        return self._sent >= 0

    def lost(self):
        """The other end is gone: the frame under way is dropped."""
        self._heard = False
        self._sent = -1

    def receive(self, now_ms):
        """Return the next byte from the host; -1 when there is none."""
        raise NotImplementedError


class Leave(Exception):
    """A person wants the board's prompt."""


class UsbLine(Line):
    """The board's own USB serial line, on which its prompt would be.

    The tools that copy files ask for the prompt by CR, Ctrl-C.  No frame of version 1 begins so (a group of 12 bytes
    whose first is 3), hence it is understood at the beginning of a frame, or after a pause, and nowhere else.
    """

    def __init__(self, incoming=None, outgoing=None):
        super().__init__()
        self._in = incoming or sys.stdin.buffer
        self._out = outgoing or sys.stdout.buffer
        self._can_read = select.poll()
        self._can_read.register(incoming or sys.stdin, select.POLLIN)
        self._can_write = select.poll()
        self._can_write.register(outgoing or sys.stdout, select.POLLOUT)
        self._byte = bytearray(1)
        self._asked = 0
        self._read_ms = 0

    def receive(self, now_ms):
        """Return the next byte; raises ``Leave`` when the prompt is asked for."""
        for _, event in self._can_read.ipoll(0):
            if event & select.POLLIN and self._in.readinto(self._byte, 1):
                byte = self._byte[0]
                self._look_for_leave(byte, now_ms)
                return byte
        return -1

    def _look_for_leave(self, byte, now_ms):
        if self._asked == 1 and byte == 0x03:
            raise Leave
        if byte == 0x00:
            self._asked = 0
        elif byte == 0x0D and (self._asked == 0 or time.ticks_diff(now_ms, self._read_ms) > _FRESH_MS):
            self._asked = 1
        else:
            self._asked = 2
        self._read_ms = now_ms

    def _write(self, data, start, end, now_ms):  # noqa: ARG002
        for _, event in self._can_write.ipoll(0):
            if event & select.POLLOUT:
                return self._out.write(data, start, min(end - start, PIECE)) or 0
        return 0
