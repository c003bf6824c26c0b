"""What every dialect offers: a pure decoder from bytes to samples, and what to say to the sensor.

Decoders do no input or output, keep no clock and never raise for bytes that came over a link: what cannot be
believed is counted in ``stats`` by its reason and dropped.
"""

from __future__ import annotations

from meterlink.records import Sample


class DecoderStats:
    """What a decoder has seen since it was made; every number only grows."""

    def __init__(self) -> None:
        self.frames = 0
        """Frames (or lines) that were believed."""
        self.damaged: dict[str, int] = {}
        """Frames that were not, by reason: ``cobs``, ``length``, ``crc``, ``body`` or a dialect's own word."""
        self.damaged_total = 0
        """Damaged frames of all reasons."""
        self.unknown_version = 0
        self.unknown_type = 0
        self.lost = 0
        """Frames that never came, by the gaps in their sequence numbers."""
        self.repeated = 0
        """Frames of a pop that came a second time and were left out."""
        self.restarts = 0
        """How often the sensor has said that it started anew: it then counts from zero and has lost its settings."""
        self.dropped_bytes = 0
        """Bytes thrown away: of damaged frames and of frames beyond the length limit."""

    def damage(self, reason: str, byte_count: int = 0) -> None:
        """Count one damaged frame."""
        self.damaged[reason] = self.damaged.get(reason, 0) + 1
        self.damaged_total += 1
        self.dropped_bytes += byte_count


class Decoder:
    """One dialect.  What cannot be said in it is ``b""``, which is every command here: most sensors only speak."""

    dialect = ""
    poll_s = 0.0
    """How often ``poll()`` is to be sent, in seconds; 0 when the sensor speaks by itself."""

    def __init__(self) -> None:
        self.stats = DecoderStats()

    def feed(self, data: bytes, at_s: float, channel: str = "") -> list[Sample]:
        """Return the samples that ``data``, any cut of the byte stream, completes; ``at_s`` is the host's time of its last byte."""
        raise NotImplementedError

    def reset(self) -> None:
        """Forget what is unfinished: the link was lost or opened anew.  The counts stay."""

    def identify(self) -> bytes:
        """Ask who is there."""
        return b""

    def command(self, kind: int, value: int | None = None) -> bytes:  # noqa: ARG002
        """Give a command of wire format v1 (``messages.SET_RANGE`` ...) with its value."""
        return b""

    def poll(self) -> bytes:
        """Ask for one reading, for sensors that only answer."""
        return b""
