"""A reader of our own for the board's bytes: the ``cobs`` package, ``zlib`` and ``struct``, none of meterlink's decoder."""

from __future__ import annotations

import struct
import zlib
from typing import Any, NamedTuple

import numpy as np
from cobs import cobs

LAYOUTS = {
    1: ("<BBBB8sHBHIBB", "minor major minor_version patch id capabilities adc_bits ring interval_ns ranges name_length"),
    2: ("<IBBIHHHH", "time_ms range flags sum count min max distance_mm"),
    3: ("<IHBBH", "time_ms pop range flags lost"),
    4: ("<IHBBBBHHBHIHI", "time_ms pop range flags sample_bytes scale_bits pretrigger "
        "distance_mm segments fine fine_ns coarse coarse_ns"),
    5: ("<IBBHHHIHHHHHHhHH", "uptime_ms range flags baseline threshold pretrigger interval_ns seen lost refused "
        "reference by_design tolerance temperature supply_mv overruns"),
    7: ("<HHBH", "distance_mm uncertainty_mm status signal"),
    8: ("<BH", "percent millivolts"),
    15: ("<BHB", "command its_sequence code"),
}  # fmt: skip
IDENTITY, STEADY, POP, BLOCK, STATUS, BATTERY, REPLY = 1, 2, 3, 4, 5, 8, 15


class Message(NamedTuple):
    """One verified message: its type, sequence number and fields."""

    kind: int
    sequence: int
    fields: dict[str, Any]


def messages(data: bytes) -> list[Message]:
    """Every frame of the bytes; a damaged one is an error."""
    found = []
    for frame in filter(None, data.split(b"\0")[:-1]):
        whole = cobs.decode(frame)
        assert zlib.crc32(whole[:-4]) == int.from_bytes(whole[-4:], "little")
        version, kind, sequence = struct.unpack_from("<BBH", whole)
        assert version == 1
        layout, names = LAYOUTS[kind]
        fields = dict(zip(names.split(), struct.unpack_from(layout, whole, 4), strict=True))
        rest = whole[4 + struct.calcsize(layout) : -4]
        if kind == BLOCK:
            assert (fields["sample_bytes"], fields["scale_bits"], fields["segments"]) == (2, 16, 2)
            fields["raw"] = (np.frombuffer(rest, "<u2") + 0.5) / 65536
            lengths_s = np.repeat([fields["fine_ns"] * 1e-9, fields["coarse_ns"] * 1e-9], [fields["fine"], fields["coarse"]])
            fields["lengths_s"] = lengths_s
            fields["times_s"] = np.cumsum(lengths_s) - lengths_s / 2
        else:
            assert len(rest) == fields.get("name_length", 0)
        found.append(Message(kind, sequence, fields))
    return found


def of(found: list[Message], kind: int) -> list[dict[str, Any]]:
    """The fields of the messages of one type."""
    return [m.fields for m in found if m.kind == kind]


def exposure(block: dict[str, Any]) -> float:
    """Full scales × s above what was before the trigger."""
    dark = block["raw"][: block["pretrigger"] - 8].mean()
    return float(((block["raw"] - dark) * block["lengths_s"]).sum())


def duration_s(block: dict[str, Any], part: float) -> float:
    """How long the light was above a part of its peak."""
    above = block["raw"] - block["raw"][: block["pretrigger"] - 8].mean()
    return float(block["lengths_s"][above >= part * above.max()].sum())


def command(kind: int, sequence: int, body: bytes = b"") -> bytes:
    """The frame of a command."""
    message = struct.pack("<BBH", 1, kind, sequence) + body
    return cobs.encode(message + struct.pack("<I", zlib.crc32(message))) + b"\0"
