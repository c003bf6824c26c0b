"""One whole frame in one read takes a short way of its own: it is checked there as strictly as anywhere."""

from __future__ import annotations

from zlib import crc32

import pytest
from cobs import cobs

from meterlink.sensor.dialects.base import DecoderStats
from meterlink.sensor.dialects.frames import FrameReader, encode

MESSAGE = bytes((1, 7, 3, 0, 0xF4, 1))


def read(data: bytes) -> tuple[list[bytes], dict[str, int]]:
    """Return the frames that one read gives, and what was counted as damaged."""
    stats = DecoderStats()
    return FrameReader(stats).feed(data), stats.damaged


def test_a_good_frame_is_believed() -> None:
    """The message comes out whole, with its CRC behind it."""
    frames, damaged = read(encode(MESSAGE))

    assert [frame[:-4] for frame in frames] == [MESSAGE]
    assert damaged == {}


@pytest.mark.parametrize("bit", range(8 * len(MESSAGE)))
def test_a_frame_with_one_bit_wrong_is_not_believed(bit: int) -> None:
    """Any single wrong bit of the message is found by the CRC and counted."""
    wrong = bytearray(MESSAGE)
    wrong[bit // 8] ^= 1 << bit % 8
    frames, damaged = read(cobs.encode(bytes(wrong) + crc32(MESSAGE).to_bytes(4, "little")) + b"\0")

    assert frames == []
    assert damaged == {"crc": 1}


def test_a_frame_that_is_too_short_is_not_believed() -> None:
    """A correct CRC over nothing that could be a message is no frame."""
    frames, damaged = read(cobs.encode(b"\1" + crc32(b"\1").to_bytes(4, "little")) + b"\0")

    assert frames == []
    assert damaged == {"length": 1}


def test_a_frame_that_is_no_cobs_is_not_believed() -> None:
    """A code that points beyond the end is counted as such."""
    frames, damaged = read(b"\x7f\x01\x02\0")

    assert frames == []
    assert damaged == {"cobs": 1}
