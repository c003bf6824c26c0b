"""Messages of wire format v1 from the sensor: bytes to samples.

Every ``parse_…`` takes one verified frame, *with* its CRC at the end, and returns the sample.
A body that is too short or contradicts itself raises ``FrameError`` with reason ``body``; bytes beyond the known
fields are ignored (a newer minor version may send more).  ``sensor_side`` is the way back.
"""

from __future__ import annotations

from collections.abc import Callable
from struct import Struct
from typing import Any

from meterlink.errors import FrameError
from meterlink.records import (
    Battery,
    Colour,
    HeldOff,
    Identity,
    PopNotice,
    RangerState,
    Reply,
    Sample,
    Segment,
    Status,
    Steady,
    WaveBlock,
)
from meterlink.sensor.dialects.frames import encode
from meterlink.words.language import marked, say

VERSION = 1
FROM_HOST = 0x80
"""Message types from here on travel from host to sensor."""
DIALECT = "meterlink-1"
IDENTITY, STEADY, POP, BLOCK, STATUS, COLOUR, DISTANCE, BATTERY, REPLY = 1, 2, 3, 4, 5, 6, 7, 8, 15
IDENTIFY, SET_RANGE, ARM, STEADY_RATE, SET_INTERVAL, GET_STATUS = 0x81, 0x82, 0x83, 0x84, 0x85, 0x86
SET_IDENTITY = 0x87
DONE, UNKNOWN_COMMAND, NOT_POSSIBLE, BUSY = 0, 1, 2, 3
REPLY_TEXTS = (
    "", marked("the sensor does not know this command"), marked("the sensor cannot take this value"), marked("the sensor is busy"),
)  # fmt: skip

RANGER_STATES = (
    RangerState.GOOD, RangerState.NOTHING, RangerState.WEAK, RangerState.BRIGHT, RangerState.AMBIGUOUS, RangerState.SILENT,
)  # fmt: skip
"""By the status of DISTANCE."""
ABILITIES = {"flash": 1, "steady": 2, "colour": 4, "range_finder": 8, "battery": 16}
HAS_INTERVALS = 32
INTERVAL_FACTORS = (1, 2, 4, 8)
MAX_RANGES, MAX_SEGMENTS, MAX_CHANNELS, MAX_NAME_BYTES, MAX_BITS = 8, 8, 16, 32, 16
NOT_KNOWN = 0xFFFF
TEMPERATURE_NOT_KNOWN = 0x7FFF
CLIPPED, SECOND_FLAG = 1, 2

HEADER = Struct("<BBH")
# Each layout skips the four bytes of the header and so needs no slice of the frame; the sensor's own time is skipped
# too, because the host times what it gets by its own clock.
_IDENTITY = Struct("<4xB3B8sHBHIBB")
_STEADY = Struct("<8xBBIHHHH")
_POP = Struct("<8xHBBH")
_BLOCK = Struct("<8xHBBBBHHB")
_SEGMENT = Struct("<HI")
_STATUS = Struct("<4xIBBHHHI3H")
_STATUS_REFERENCE = Struct("<26x3H")
_STATUS_WARMTH = Struct("<32xhHH")
_COLOUR = Struct("<4xBB")
_DISTANCE = Struct("<4xH")
_DISTANCE_FIGURES = Struct("<6xHBH")
_BATTERY = Struct("<4xBH")
_REPLY = Struct("<4xBHB")
CRC_BYTES = 4
_SCALES = tuple(1.0 / (1 << bits) for bits in range(MAX_BITS + 1))


def _refuse(why: str) -> FrameError:
    return FrameError("the sensor sent {why}: update its firmware or meterlink", "body", why=why)


def _thousandth(number: int) -> float | None:
    """From mm to m, from mV to V."""
    return None if number == NOT_KNOWN else number / 1000


def distance_mm(held_off_m: float | None) -> int:
    """Return the wire's millimetres; None is 0xFFFF."""
    return NOT_KNOWN if held_off_m is None else min(round(held_off_m * 1000), NOT_KNOWN - 1)


def range_names(count: int) -> tuple[str, ...]:
    """Return names for ``count`` ranges, index 0 the least sensitive, which is the one for bright light."""
    if count <= 1:
        return ("only",)
    return ("bright", *(f"middle {i}" for i in range(1, count - 1)), "dim")


def parse_identity(frame: bytes, at_s: float, adc_bits: int) -> Identity:  # noqa: ARG001
    """IDENTITY → ``Identity``.  Characters that do not print are taken out of the name."""
    _minor, major, minor, patch, unique, can, bits, ring, interval_ns, ranges, length = _unpack(_IDENTITY, frame)
    name = frame[_IDENTITY.size : _IDENTITY.size + length]
    if length > MAX_NAME_BYTES or _IDENTITY.size + length > len(frame) - CRC_BYTES:
        raise _refuse("a name that is cut short or too long")
    if not 1 <= ranges <= MAX_RANGES or not 1 <= bits <= MAX_BITS or (can & ABILITIES["flash"] and not interval_ns):
        raise _refuse("an identity that cannot be")
    return Identity(
        sensor_id=unique.hex(),
        name="".join(c for c in name.decode("utf-8", "replace") if c.isprintable()).strip() or "sensor",
        dialect=DIALECT,
        firmware=f"{major}.{minor}.{patch}",
        ranges=range_names(ranges),
        adc_bits=bits,
        ring_samples=ring,
        sample_interval_s=interval_ns / 1e9,
        intervals=tuple(interval_ns * f / 1e9 for f in INTERVAL_FACTORS) if can & HAS_INTERVALS else (),
        **{ability: bool(can & bit) for ability, bit in ABILITIES.items()},
    )


def parse_steady(frame: bytes, at_s: float, adc_bits: int) -> Steady | None:
    """STEADY → ``Steady``; None when the range was switched inside the window or the ADC's bits are not known yet."""
    range_index, flags, total, count, low, high, mm = _unpack(_STEADY, frame)
    if not (count and low * count <= total <= high * count and range_index < MAX_RANGES):
        raise _refuse("a steady value that contradicts itself")
    if flags & SECOND_FLAG or not adc_bits:
        return None
    scale = _SCALES[adc_bits]
    top = (high + 0.5) * scale
    if top > 1.0:
        raise _refuse("a steady value beyond its full scale")
    mean = (total / count + 0.5) * scale
    clipped = flags & CLIPPED == CLIPPED
    return Steady(at_s, mean, range_index, clipped, None, (low + 0.5) * scale, top, held_off_m=_thousandth(mm), sample_count=count)


def parse_pop(frame: bytes, at_s: float, adc_bits: int) -> PopNotice:  # noqa: ARG001
    """POP → ``PopNotice`` whose ``lost`` still counts from the sensor's start (``native`` makes the difference)."""
    pop, range_index, _flags, lost = _unpack(_POP, frame)
    if range_index >= MAX_RANGES:
        raise _refuse("a range that cannot be")
    return PopNotice(at_s, pop, range_index, lost)


def parse_block(frame: bytes, at_s: float, adc_bits: int) -> WaveBlock:  # noqa: ARG001
    """BLOCK → ``WaveBlock``, refused when segments and samples do not fit each other."""
    pop, range_index, flags, size, scale_bits, pretrigger, mm, count = _unpack(_BLOCK, frame)
    if not 1 <= count <= MAX_SEGMENTS or size not in (1, 2) or not 1 <= scale_bits <= MAX_BITS:
        raise _refuse("a block that cannot be")
    start = _BLOCK.size + count * _SEGMENT.size
    end = len(frame) - CRC_BYTES
    if start > end or range_index >= MAX_RANGES:
        raise _refuse("a block that is cut short")
    segments = []
    samples = 0
    for number, interval_ns in _SEGMENT.iter_unpack(frame[_BLOCK.size : start]):
        if not number or not interval_ns:
            raise _refuse("a block with an empty segment")
        segments.append(Segment(samples, number, interval_ns / 1e9))
        samples += number
    if start + samples * size > end or pretrigger > samples:
        raise _refuse("a block that is cut short")
    return WaveBlock(
        at_s, pop, frame[start : start + samples * size], 8 * size, scale_bits, tuple(segments), pretrigger,
        range_index, bool(flags & CLIPPED), bool(flags & SECOND_FLAG), _thousandth(mm),
    )  # fmt: skip


def parse_status(frame: bytes, at_s: float, adc_bits: int) -> Status:  # noqa: ARG001
    """STATUS → ``Status``."""
    up_ms, range_index, flags, base, threshold, before, interval_ns, seen, lost, refused = _unpack(_STATUS, frame)
    if range_index >= MAX_RANGES:
        raise _refuse("a range that cannot be")
    return Status(
        at_s, range_index, bool(flags & 1), bool(flags & 2), base / 65536, threshold / 65536, before,
        interval_ns / 1e9, seen, lost, refused, up_ms / 1000, *_reference(frame), *_warmth(frame),
    )  # fmt: skip


def _reference(frame: bytes) -> tuple[float, float, float]:
    """The three fields that a newer sensor adds to STATUS, all or none."""
    now, by_design, tolerance = _unpack(_STATUS_REFERENCE, frame, (0, 0, 0))
    return now / 65536, by_design / 65536, tolerance / 65536


def _warmth(frame: bytes) -> tuple[float | None, float | None, int]:
    """Temperature, supply and overruns, which a still newer sensor adds, all or none."""
    tenths, supply_mv, overruns = _unpack(_STATUS_WARMTH, frame, (TEMPERATURE_NOT_KNOWN, NOT_KNOWN, 0))
    return None if tenths == TEMPERATURE_NOT_KNOWN else tenths / 10, _thousandth(supply_mv), overruns


def parse_colour(frame: bytes, at_s: float, adc_bits: int) -> Colour:  # noqa: ARG001
    """COLOUR → ``Colour``: chromaticity when the sensor says so, else its channels as they are."""
    flags, count = _unpack(_COLOUR, frame)
    end = _COLOUR.size + 4 * count
    if not 1 <= count <= MAX_CHANNELS or end > len(frame) - CRC_BYTES:
        raise _refuse("a colour that is cut short")
    channels = tuple(float(c) for (c,) in Struct("<I").iter_unpack(frame[_COLOUR.size : end]))
    if not flags & 2:
        return Colour(at_s, channels=channels, during_pop=bool(flags & 1))
    if count != 2 or max(channels) > 65535 or sum(channels) > 65535:
        raise _refuse("a chromaticity outside the diagram")
    return Colour(at_s, channels[0] / 65535, channels[1] / 65535, during_pop=bool(flags & 1))


def parse_distance(frame: bytes, at_s: float, adc_bits: int) -> HeldOff:  # noqa: ARG001
    """DISTANCE → ``HeldOff``."""
    mm = _unpack(_DISTANCE, frame)[0]
    if len(frame) - CRC_BYTES < _DISTANCE_FIGURES.size:
        return HeldOff(at_s, _thousandth(mm))
    u_mm, status, signal = _DISTANCE_FIGURES.unpack_from(frame)
    state = RANGER_STATES[status] if status < len(RANGER_STATES) else RangerState.OTHER
    if (state == RangerState.GOOD) != (mm != NOT_KNOWN):
        raise _refuse("a distance that contradicts its status")
    return HeldOff(at_s, _thousandth(mm), _thousandth(u_mm), state, None if signal == NOT_KNOWN else 1000.0 * signal)


def parse_battery(frame: bytes, at_s: float, adc_bits: int) -> Battery:  # noqa: ARG001
    """BATTERY → ``Battery``; 255 % and 0xFFFF mV are not known, 101 to 254 % cannot be."""
    percent, millivolts = _unpack(_BATTERY, frame)
    if 100 < percent < 255:
        raise _refuse("a battery that cannot be")
    return Battery(at_s, None if percent == 255 else percent / 100, _thousandth(millivolts))


def parse_reply(frame: bytes, at_s: float, adc_bits: int) -> Reply:  # noqa: ARG001
    """REPLY → ``Reply`` with a sentence for every code but 0."""
    command, sequence, code = _unpack(_REPLY, frame)
    text = say(REPLY_TEXTS[code]) if code < len(REPLY_TEXTS) else say("the sensor says no with code {code}", code=code)
    return Reply(at_s, command, sequence, code, text)


def _unpack(layout: Struct, frame: bytes, missing: tuple[int, ...] = ()) -> tuple[Any, ...]:
    """The fields of a body; ``missing`` stands in for those that an older sensor does not send."""
    # The CRC must not be taken for fields of a body that is too short.
    if layout.size <= len(frame) - CRC_BYTES:
        return layout.unpack_from(frame)
    if not missing:
        raise _refuse("a message that is cut short")
    return missing


class Numbered:
    """Makes messages into frames, numbered as they go out."""

    _sequence = 0

    def message(self, kind: int, body: bytes = b"") -> bytes:
        """Return any message as a frame."""
        frame = encode(HEADER.pack(VERSION, kind, self._sequence) + body)
        self._sequence = self._sequence + 1 & 0xFFFF
        return frame


Parse = Callable[[bytes, float, int], Sample | None]
PARSERS: dict[int, Parse] = {
    IDENTITY: parse_identity,
    STEADY: parse_steady,
    POP: parse_pop,
    BLOCK: parse_block,
    STATUS: parse_status,
    COLOUR: parse_colour,
    DISTANCE: parse_distance,
    BATTERY: parse_battery,
    REPLY: parse_reply,
}
"""By message type."""
