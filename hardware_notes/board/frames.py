"""Frames of wire format v1: COBS, ended by 0x00, with a CRC-32 (shared/wire/wire-v1.md section 1).

Everything here works in buffers that exist already: nothing is allocated while the converter runs.
"""

from array import array

import micropython
from micropython import const

_START = const(16)
"""Behind the 16 words of the CRC's table stands its start value, then the result."""
_RESULT = const(17)
HEADER = const(4)
CRC = const(4)
VERSION = const(1)
COMMAND_LONGEST = const(64)
"""Decoded bytes of a command with its CRC; the specification asks for 32 at least."""

NOTHING, MESSAGE, BAD_COBS, BAD_LENGTH, BAD_CRC, BAD_VERSION = range(6)


def _crc_table():
    table = array("I", [0] * 18)
    for i in range(16):
        c = i
        for _ in range(4):
            c = c >> 1 ^ 0xEDB88320 if c & 1 else c >> 1
        table[i] = c
    table[_START] = 0xFFFFFFFF
    return table


# The start value comes from the table: a literal of 32 bits would be an object on the heap on a chip of 32 bits.
_TABLE = _crc_table()


@micropython.viper
def _crc_bytes(data: ptr8, length: int, table: ptr32, out: ptr8, at: int):  # noqa: F821
    crc = uint(table[_START])  # noqa: F821
    for i in range(length):
        byte = data[i]
        crc = (crc >> 4) ^ uint(table[(int(crc) ^ byte) & 15])  # noqa: F821
        crc = (crc >> 4) ^ uint(table[(int(crc) ^ (byte >> 4)) & 15])  # noqa: F821
    crc = crc ^ uint(table[_START])  # noqa: F821
    table[_RESULT] = int(crc)
    for i in range(4):
        out[at + i] = int(crc) & 255
        crc = crc >> 8


def put_crc(data, length, out, at):
    """Write the CRC of the first ``length`` bytes of ``data`` to four bytes of ``out``."""
    _crc_bytes(data, length, _TABLE, out, at)


@micropython.viper
def _encode(head: ptr8, head_length: int, tail: ptr8, tail_length: int, table: ptr32, out: ptr8) -> int:  # noqa: F821
    crc = uint(table[_START])  # noqa: F821
    message = head_length + tail_length
    code_at = 0
    at = 1
    code = 1
    for i in range(message + 4):
        if i < message:
            byte = head[i] if i < head_length else tail[i - head_length]
            crc = (crc >> 4) ^ uint(table[(int(crc) ^ byte) & 15])  # noqa: F821
            crc = (crc >> 4) ^ uint(table[(int(crc) ^ (byte >> 4)) & 15])  # noqa: F821
        else:
            if i == message:
                crc = crc ^ uint(table[_START])  # noqa: F821
            byte = int(crc) & 255
            crc = crc >> 8
        if code == 255:
            # A full group stands for no zero; it is closed only when more follows.
            out[code_at] = 255
            code_at = at
            at += 1
            code = 1
        if byte == 0:
            out[code_at] = code
            code_at = at
            at += 1
            code = 1
        else:
            out[at] = byte
            at += 1
            code += 1
    out[code_at] = code
    out[at] = 0
    return at + 1


def encode(head, head_length, tail, tail_length, out):
    """Write the frame of a message in two pieces to ``out``; returns its length with the 0x00 at its end."""
    return _encode(head, head_length, tail, tail_length, _TABLE, out)


def frame_longest(message_length):
    """Return how many bytes the frame of a message may take."""
    whole = message_length + CRC
    return whole + whole // 254 + 2


class Receiver:
    """Bytes from a line -> verified messages, one byte at a time; in step again after any damage with the next 0x00."""

    def __init__(self, longest=COMMAND_LONGEST):
        self.buffer = bytearray(longest)
        self.length = 0
        self._crc = bytearray(CRC)
        self._begin()

    def _begin(self):
        self._count = 0
        self._group_left = 0
        self._zero_owed = False
        self._begun = False
        self._too_long = False

    def _keep(self, byte):
        if self._count == len(self.buffer):
            self._too_long = True
        else:
            self.buffer[self._count] = byte
            self._count += 1

    def _judge(self):
        if self._too_long:
            return BAD_LENGTH
        if self._group_left:
            return BAD_COBS
        if self._count < HEADER + CRC:
            return BAD_LENGTH
        length = self._count - CRC
        put_crc(self.buffer, length, self._crc, 0)
        for i in range(CRC):
            if self._crc[i] != self.buffer[length + i]:
                return BAD_CRC
        if self.buffer[0] != VERSION:
            return BAD_VERSION
        self.length = length
        return MESSAGE

    def take(self, byte):
        """Take one byte; anything but NOTHING is said once, at the 0x00 that ends a frame.

        After MESSAGE the first ``length`` bytes of ``buffer`` are the message, until the next byte is taken.
        """
        if byte == 0:
            result = self._judge() if self._begun else NOTHING
            self._begin()
            return result
        self._begun = True
        if self._group_left:
            self._group_left -= 1
            self._keep(byte)
            return NOTHING
        if self._zero_owed:
            self._keep(0)
        self._group_left = byte - 1
        self._zero_owed = byte != 0xFF
        return NOTHING
