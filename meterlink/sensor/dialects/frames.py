"""Frames of wire format v1: COBS(message ++ CRC-32) 0x00, in both directions.

The reader works in bulk because that is what makes Python fast: one ``split``, then the C functions mapped over
all pieces.  Only when a piece of the batch is not perfect does it look at them one by one.
"""

from __future__ import annotations

from zlib import crc32

from cobs import cobs

from meterlink.sensor.dialects.base import DecoderStats

MAX_FRAME = 66_048
"""Longest decoded frame, message and CRC, in bytes (wire-v1.md, section 1)."""
MIN_FRAME = 8
MAX_ENCODED = MAX_FRAME + MAX_FRAME // 254 + 1
"""Longest frame on the line without its 0x00: COBS adds at most one byte in 254 and one more."""
CRC_BYTES = 4
_GOOD = 0x2144DF1C
"""CRC-32 of anything followed by its own CRC-32, least significant byte first: one call checks a frame."""
_ALL_GOOD = {_GOOD}
_decode = cobs.decode


def encode(message: bytes) -> bytes:
    """Return ``message`` as one frame with its CRC and the closing 0x00.

    Raises ValueError: the message would make a frame longer than ``MAX_FRAME`` or shorter than ``MIN_FRAME``.
    """
    if not MIN_FRAME - CRC_BYTES <= len(message) <= MAX_FRAME - CRC_BYTES:
        raise ValueError(f"a message has {MIN_FRAME - CRC_BYTES} to {MAX_FRAME - CRC_BYTES} bytes, not {len(message)}")
    return bytes(cobs.encode(message + crc32(message).to_bytes(CRC_BYTES, "little"))) + b"\0"


class FrameReader:
    """Cut a byte stream into verified frames.  Holds at most ``MAX_ENCODED`` bytes of an unfinished one."""

    __slots__ = ("_skipping", "_stats", "_tail", "_tail_length")

    def __init__(self, stats: DecoderStats) -> None:
        self._stats = stats
        # Chunks in a list: appending to one bytes object would copy a long block once for every read.
        self._tail: list[bytes] = []
        self.reset()

    def reset(self) -> None:
        """Forget the unfinished frame."""
        self._tail.clear()
        self._tail_length = 0
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes]:
        """Return the frames that ``data`` completes, each *with* its verified CRC as its last four bytes.

        Damaged frames are counted by reason (``cobs``, ``length``, ``crc``) and left out.
        """
        pieces = data.split(b"\0")
        if len(pieces) == 2 and not pieces[1] and not self._tail and not self._skipping and len(pieces[0]) <= MAX_ENCODED:
            # One whole frame in one read: what a slow line brings, and where it matters how soon.
            try:
                frame = _decode(pieces[0])
            except cobs.DecodeError:
                frame = b""
            if crc32(frame) == _GOOD and MIN_FRAME <= len(frame) <= MAX_FRAME:
                self._stats.frames += 1
                return [frame]
        last = pieces.pop()
        if pieces:
            if self._skipping:
                self._skipping = False
                self._stats.dropped_bytes += len(pieces[0])
                pieces[0] = b""
            elif self._tail:
                self._tail.append(pieces[0])
                pieces[0] = b"".join(self._tail)
                self._tail.clear()
            self._tail_length = 0
        if last:
            self._keep(last)
        return self._verified(pieces) if pieces else []

    def _keep(self, part: bytes) -> None:
        if self._skipping:
            self._stats.dropped_bytes += len(part)
            return
        self._tail_length += len(part)
        if self._tail_length <= MAX_ENCODED:
            self._tail.append(part)
            return
        self._stats.damage("length", self._tail_length)
        self.reset()
        self._skipping = True

    def _verified(self, pieces: list[bytes]) -> list[bytes]:
        # A frame beyond the limit must not even be decoded.
        if max(map(len, pieces)) <= MAX_ENCODED:
            try:
                frames = list(map(_decode, filter(None, pieces)))
            except cobs.DecodeError:
                return self._one_by_one(pieces)
            if set(map(crc32, frames)) == _ALL_GOOD:
                lengths = list(map(len, frames))
                if min(lengths) >= MIN_FRAME and max(lengths) <= MAX_FRAME:
                    self._stats.frames += len(frames)
                    return frames
            elif not frames:
                return frames
        return self._one_by_one(pieces)

    def _one_by_one(self, pieces: list[bytes]) -> list[bytes]:
        good = []
        for piece in pieces:
            if not piece:
                continue
            reason, frame = _check(piece)
            if reason:
                self._stats.damage(reason, len(piece))
            else:
                good.append(frame)
        self._stats.frames += len(good)
        return good


def _check(piece: bytes) -> tuple[str, bytes]:
    """Return why a piece between two 0x00 is no frame (``""`` if it is one) and the decoded frame."""
    if len(piece) > MAX_ENCODED:
        return "length", b""
    try:
        frame = _decode(piece)
    except cobs.DecodeError:
        return "cobs", b""
    if not MIN_FRAME <= len(frame) <= MAX_FRAME:
        return "length", b""
    return ("" if crc32(frame) == _GOOD else "crc"), frame
