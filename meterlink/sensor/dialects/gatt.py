"""Bluetooth LE: standard characteristics, and the decoder that every Bluetooth sensor goes through.

Formats are those of the Bluetooth SIG (GATT Specification Supplement): little-endian, each with its code for "value is
not known".  What a sensor is comes with the bytes, on the channels of ``shared/wire/ble-v1.md`` section 4, so that
a recording alone is enough to decode it again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from meterlink.errors import DialectError
from meterlink.records import Battery, Colour, Identity, Sample, Steady
from meterlink.sensor.dialects.base import Decoder, DecoderStats
from meterlink.sensor.dialects.dialect import AUTO_BLUETOOTH, GATT, NATIVE

MAX_TEXT = 64
"""Longest device information that is kept, in characters."""
MAX_PATH = 1024
"""A dialect may be the path of a file of one's own."""
_LARGEST_LX = {"2AFB": 167_772.14, "2C1C": 65_534.0}
"""At the end of the format the light may be anything from there on."""


class Format(NamedTuple):
    """How one number is written in a characteristic."""

    size: int
    unit: float
    """Codes in one lx, K or whole."""
    not_known: range
    low: float = 0.0
    high: float = math.inf
    """Codes that the format allows."""


FORMATS = {
    "2AFB": Format(3, 100, range(0xFFFFFF, 0x1000000)),
    "2C1C": Format(2, 1, range(0xFFFF, 0x10000)),
    "2AE9": Format(2, 1, range(0xFFFF, 0x10000), 800),
    "2AE3": Format(2, 1e5, range(0x7FFE, 0x8000), -5000, 5000),
    "2A19": Format(1, 100, range(101, 256)),
}
"""Illuminance in lx (uint24 and uint16), CCT in K, Duv (sint16), battery level as a fraction, by the characteristic."""


def number(channel: str, value: bytes) -> float | None:
    """Return the number in a characteristic of ``FORMATS``, None when the sensor says that it does not know it.

    Raises KeyError: another characteristic; ValueError: not its number of bytes, or what the format forbids.
    """
    size, unit, not_known, low, high = FORMATS[channel]
    if len(value) != size:
        raise ValueError(f"{size} bytes are needed, not {len(value)}")
    code = int.from_bytes(value, "little", signed=low < 0.0)
    if code in not_known:
        return None
    if not low <= code <= high:
        raise ValueError(f"{code / unit} is outside {low / unit} to {high / unit}")
    return code / unit


def chromaticity(value: bytes) -> tuple[float, float]:
    """Return x and y of characteristic 0x2AE4 (2 × uint16, 1/65536).  Raises ValueError: not four bytes, or not in the diagram."""
    x, y = int.from_bytes(value[:2], "little"), int.from_bytes(value[2:], "little")
    if len(value) != 4 or not x or not y or x + y > 65536:
        raise ValueError("no such chromaticity")
    return x / 65536, y / 65536


class CharacteristicDecoder:
    """Samples from standard characteristics; also used beside a stream, for battery and device information."""

    def __init__(self, stats: DecoderStats) -> None:
        self._stats = stats
        self.reset()

    def reset(self) -> None:
        """Forget the colour seen so far."""
        self._cct_k: float | None = None
        self._duv: float | None = None

    def feed(self, value: bytes, at_s: float, channel: str) -> list[Sample]:
        """Return the samples of one value; one that breaks its format is counted as ``body``."""
        try:
            found = self._sample(value, at_s, channel)
        except KeyError:
            self._stats.unknown_type += 1
            return []
        except ValueError:
            self._stats.damage("body", len(value))
            return []
        self._stats.frames += 1
        return [] if found is None else [found]

    def _sample(self, value: bytes, at_s: float, channel: str) -> Sample | None:
        match channel:
            case "2AE4":
                x, y = chromaticity(value)
                return Colour(at_s, x=x, y=y)
            case "2AE5":
                self._cct_k, self._duv = number("2AE9", value[:2]), number("2AE3", value[2:])
            case "2AE9":
                self._cct_k = number(channel, value)
            case "2AE3":
                self._duv = number(channel, value)
            case _:
                found = number(channel, value)
                if found is None or channel == "2A19":
                    return None if found is None else Battery(at_s, found)
                return Steady(at_s, None, clipped=found >= _LARGEST_LX[channel], illuminance_lx=found)
        return None if self._cct_k is None else Colour(at_s, cct_k=self._cct_k, duv=self._duv)


class BluetoothDecoder(Decoder):
    """Decoder of any sensor behind a Bluetooth link: it learns from the channels which dialect is spoken.

    The stream, if there is one, goes to that dialect's own decoder; everything else is a characteristic.  Commands
    are the stream dialect's.
    """

    dialect = AUTO_BLUETOOTH

    def __init__(self, make_decoder: Callable[[str, str], Decoder]) -> None:
        """``make_decoder`` makes the decoder of a dialect's name and a sensor's."""
        super().__init__()
        self._make_decoder = make_decoder
        self._speak_as(None, ("", ""))
        self._characteristics = CharacteristicDecoder(self.stats)
        self._texts: dict[str, str] = {}
        self._told = False

    def feed(self, data: bytes, at_s: float, channel: str = "") -> list[Sample]:
        """Return the samples that ``data`` completes; ``channel`` as in ``shared/wire/ble-v1.md`` section 4."""
        if not channel:
            self._ready()
            if self._stream is None:
                self.stats.damage("dialect", len(data))
                return []
            found = self._stream.feed(data, at_s)
            return found if self.dialect == NATIVE else [self._named(sample) for sample in found]
        if channel.startswith("@") or channel in ("2A29", "2A24", "2A25", "2A26"):
            self._texts[channel] = _clean(data, MAX_PATH if channel == "@dialect" else MAX_TEXT)
            return self._ready() if channel == "@address" else []
        found = self._characteristics.feed(data, at_s, channel)
        return [*self._ready(), *found] if found and not self._told else found

    def _ready(self) -> list[Sample]:
        """Take the decoder for the dialect that the link found; one that is in use stays (a reconnection)."""
        # A stream without any word about it is our own: a recording of a serial sensor may be fed here as well.
        name, address = self._texts.get("@dialect", NATIVE), self._texts.get("@address", "")
        if name == GATT:
            self._speak_as(None, ("", ""))
            self.dialect, self._told = name, True
            return [self._identity()]
        if (name, address) == self._stream_of:
            return []
        try:
            stream = self._make_decoder(name, address)
        except DialectError:
            self.stats.damage("dialect")
            return []
        self._speak_as(stream, (name, address))
        self.dialect, self.poll_s, self.stats = name, stream.poll_s, stream.stats
        self._characteristics = CharacteristicDecoder(self.stats)
        return []

    def _speak_as(self, stream: Decoder | None, of: tuple[str, str]) -> None:
        self._stream, self._stream_of = stream, of
        speaker = stream or Decoder()  # which can be asked nothing
        for command in ("identify", "command", "poll"):
            setattr(self, command, getattr(speaker, command))

    def _named(self, sample: Sample) -> Sample:
        """Give a sensor of lines the name that it advertises: its lines do not say one."""
        if not isinstance(sample, Identity):
            return sample
        has_battery = sample.battery or "2A19" in self._texts.get("@has", "")
        return sample._replace(name=self._texts.get("@name") or sample.name, battery=has_battery)

    def _identity(self) -> Identity:
        texts = self._texts
        has = set(texts.get("@has", "").split(","))
        name = texts.get("@name") or " ".join(filter(None, (texts.get("2A29"), texts.get("2A24")))) or "light sensor"
        return Identity(
            sensor_id=texts.get("@address") or name, name=name, dialect=GATT, firmware=texts.get("2A26", ""), flash=False,
            steady=bool(has & {"2AFB", "2C1C"}), colour=bool(has & {"2AE9", "2AE4", "2AE5"}), battery="2A19" in has,
        )  # fmt: skip

    def reset(self) -> None:
        """Forget what is unfinished: the link was lost or opened anew.  The sensor is introduced again."""
        self._told = False
        if self._stream is not None:
            self._stream.reset()
        self._characteristics.reset()


def _clean(data: bytes, most: int) -> str:
    """Return device text fit to be shown: capped, printable, without the zeros that some sensors pad with."""
    text = data[: 4 * most].decode("utf-8", "replace").split("\0")[0].strip()
    return "".join(sign for sign in text if sign.isprintable())[:most]
