"""What a sensor sends and how a recording of it looks, written from the documents of the wire and the recording alone.

``shared/wire/wire-v1.md`` and ``recording-v1.md`` are all that this knows; the CRC is the standard library's (CRC-32/ISO-HDLC).
"""

from __future__ import annotations

import base64
import json
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path

FULL_SCALE_LX = (2e6, 2e5)
"""What the sensor of the build notes is made for, by range."""
REST = 0.02
"""Part of full scale on which its amplifier rests in the dark."""
BITS = 12
UNIQUE_ID = bytes.fromhex("b11d000000000012")


def stuffed(data: bytes) -> bytes:
    """COBS (Cheshire & Baker 1999) with its closing zero: blocks of up to 254 bytes, each led by its length plus one."""
    out = bytearray()
    block = bytearray()
    open_end = True
    for value in data:
        open_end = True
        if value == 0:
            out.append(len(block) + 1)
            out += block
            block.clear()
            continue
        block.append(value)
        if len(block) == 254:
            out.append(255)
            out += block
            block.clear()
            open_end = False
    if open_end or block:
        out.append(len(block) + 1)
        out += block
    return bytes(out) + b"\0"


class Speaker:
    """The sensor's side: numbers its frames and its pops."""

    def __init__(self) -> None:
        self.frames = 0
        self.pops = 0

    def frame(self, kind: int, body: bytes) -> bytes:
        """One frame: version, type, sequence, body, CRC, stuffed."""
        message = struct.pack("<BBH", 1, kind, self.frames & 0xFFFF) + body
        self.frames += 1
        return stuffed(message + struct.pack("<I", zlib.crc32(message)))

    def identity(self, interval_s: float) -> bytes:
        """IDENTITY: flash and steady light, two ranges."""
        name = b"blind"
        numbers = struct.pack("<HBHIB", 0b11, BITS, 4096, round(interval_s * 1e9), len(FULL_SCALE_LX))
        return b"\0" + self.frame(0x01, bytes([0, 0, 1, 0]) + UNIQUE_ID + numbers + bytes([len(name)]) + name)

    def steady(self, at_s: float, code: int) -> bytes:
        """STEADY: a tenth of a second of light that stands at one code of the least sensitive range."""
        count = 1000
        return self.frame(0x02, struct.pack("<IBBIHHHH", round(at_s * 1000), 0, 0, code * count, count, code, code, 0xFFFF))

    def pop(self, at_s: float, range_index: int, codes: Sequence[int], pretrigger: int, interval_s: float) -> bytes:
        """POP and its BLOCK."""
        self.pops += 1
        clipped = int(max(codes) >= 2**BITS - 1)
        start = struct.pack("<IHBB", round(at_s * 1000), self.pops, range_index, clipped)
        head = struct.pack("<BBHHB", 2, BITS, pretrigger, 0xFFFF, 1)
        segment = struct.pack("<HI", len(codes), round(interval_s * 1e9))
        samples = struct.pack(f"<{len(codes)}H", *codes)
        return self.frame(0x03, start + struct.pack("<H", 0)) + self.frame(0x04, start + head + segment + samples)


def write_recording(path: Path, parts: Sequence[tuple[float, bytes]]) -> None:
    """A recording in which these bytes came at these times."""
    lines: list[dict[str, object]] = [
        {"format": "meterlink recording", "version": 1, "url": "serial:blind", "started": "2031-05-04T10:00:00Z"},
        {"t": 0.0, "e": "open"},
    ]
    for at_s, data in parts:
        pieces = (data[start : start + 3000] for start in range(0, len(data), 3000))
        lines += [{"t": at_s, "d": "in", "b": base64.b64encode(piece).decode()} for piece in pieces]
    path.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="ascii")
