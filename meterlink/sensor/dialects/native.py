"""The project's own dialect, ``meterlink-1``: what arrives becomes samples, what is wanted becomes commands."""

from __future__ import annotations

from collections import deque

from meterlink.errors import FrameError
from meterlink.records import Identity, PopNotice, Sample
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.frames import FrameReader

_PARSERS = m.PARSERS
_unpack_header = m.HEADER.unpack_from
_HALF = 0x8000
"""A sequence that jumps further than this went back: the sensor was reset, nothing is known to be lost."""
_OLD = 256
"""A sequence that went back by less than this is of a frame that comes once more."""
_REMEMBERED = 64
"""Frames of pops that are known when they come again."""
_VALUES = {m.SET_RANGE: range(m.MAX_RANGES), m.STEADY_RATE: range(51), m.SET_INTERVAL: m.INTERVAL_FACTORS, m.GET_STATUS: (None,)}
"""What may be said with a command: an index, times a second (0: never), a factor of the shortest sample interval, nothing."""


class NativeDecoder(Decoder, m.Numbered):
    """Decoder of wire format v1 (``shared/wire/wire-v1.md``) and encoder of its commands.

    Steady light counts only once the sensor has said who it is, because its codes have that message's bits.
    """

    dialect = m.DIALECT

    def __init__(self) -> None:
        super().__init__()
        self.identity: Identity | None = None
        self._frames = FrameReader(self.stats)
        self._adc_bits = 0
        self._expected = -1
        self._pops_lost = -1
        self._recent: deque[bytes] = deque(maxlen=_REMEMBERED)

    def reset(self) -> None:
        """Forget the unfinished frame and where the sequence stood; the identity is kept."""
        self._frames.reset()
        self._expected = -1

    def feed(self, data: bytes, at_s: float, channel: str = "") -> list[Sample]:  # noqa: ARG002
        """Return the samples that ``data`` completes."""
        samples: list[Sample] = []
        expected = self._expected
        for frame in self._frames.feed(data):
            version, kind, sequence = _unpack_header(frame)
            if version != m.VERSION:
                self.stats.frames -= 1
                self.stats.unknown_version += 1
                continue
            if sequence == expected or expected < 0:
                expected = sequence + 1 & 0xFFFF
            else:
                expected = self._after_gap(sequence, expected, kind)
            try:
                sample = _PARSERS[kind](frame, at_s, self._adc_bits)
            except KeyError:
                # Also our own commands, when the line echoes.
                self.stats.frames -= 1
                self.stats.unknown_type += 1
                continue
            except FrameError as damage:
                self.stats.frames -= 1
                self.stats.damage(damage.reason, len(frame))
                continue
            if kind == m.POP or kind == m.BLOCK:
                # With its time, number and samples no second one has the same CRC: a link that doubles what it carries.
                crc = frame[-m.CRC_BYTES :]
                if crc in self._recent:
                    self.stats.repeated += 1
                    continue
                self._recent.append(crc)
            if kind == m.POP or kind == m.IDENTITY:
                # A sensor counts from 0 after its start, and then says who it is.
                self.stats.restarts += kind == m.IDENTITY and sequence == 0
                sample = self._remember(sample)
            if sample is not None:
                samples.append(sample)
        self._expected = expected
        return samples

    def _after_gap(self, sequence: int, expected: int, kind: int) -> int:
        """Count what is missing and return the number that is expected next."""
        gap = sequence - expected & 0xFFFF
        if sequence == 0 and kind == m.IDENTITY:
            return 1
        if gap >= 0x10000 - _OLD:
            # The link delivers something old once more: what comes next has not changed.
            return expected
        if gap < _HALF:
            self.stats.lost += gap
        return sequence + 1 & 0xFFFF

    def _remember(self, sample: Sample | None) -> Sample | None:
        """Keep what later messages need: the ADC's bits, and how many pops the sensor had lost before."""
        if isinstance(sample, Identity):
            self.identity = sample
            self._adc_bits = sample.adc_bits
        elif isinstance(sample, PopNotice):
            before, self._pops_lost = self._pops_lost, sample.lost
            if sample.lost:
                new = sample.lost - before & 0xFFFF if before >= 0 else 0
                return sample._replace(lost=new if new < _HALF else sample.lost)
        return sample

    def identify(self) -> bytes:
        """IDENTIFY, after a 0x00 that ends whatever was half sent on this line before."""
        return b"\0" + self.message(m.IDENTIFY)

    def command(self, kind: int, value: int | None = None) -> bytes:
        """SET_RANGE, STEADY_RATE, SET_INTERVAL or GET_STATUS.  Raises ``ValueError`` for a value that is not in ``_VALUES``."""
        if value not in _VALUES[kind]:
            raise ValueError(f"command {kind:#x} takes one of {_VALUES[kind]}, not {value}")
        return self.message(kind, b"" if value is None else bytes((value,)))

    def set_identity(self, sensor_id: str, name: str) -> bytes:
        """SET_IDENTITY.  Raises ``ValueError`` unless the id has 16 hex digits and the name at most 32 bytes."""
        unique_id, text = bytes.fromhex(sensor_id), name.encode()
        if len(unique_id) != 8 or len(text) > m.MAX_NAME_BYTES:
            raise ValueError(f"an id has 16 hex digits, a name at most {m.MAX_NAME_BYTES} bytes")
        return self.message(m.SET_IDENTITY, unique_id + bytes((len(text),)) + text)
