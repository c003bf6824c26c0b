"""Bluetooth LE: standard characteristics, and the decoder that every Bluetooth sensor goes through.

Formats are those of the Bluetooth SIG (GATT Specification Supplement): little-endian, each with its code for "value is
not known".  What a sensor is comes with the bytes, on the channels of ``shared/wire/ble-v1.md`` section 4, so that
a recording alone is enough to decode it again.
"""

from __future__ import annotations

from collections.abc import Callable

from meterlink.errors import DialectError
from meterlink.records import Battery, Colour, Identity, Sample, Steady
from meterlink.sensor.dialects.base import Decoder, DecoderStats
from meterlink.sensor.dialects.dialect import AUTO_BLUETOOTH, GATT, NATIVE
from meterlink.sensor.dialects.dialect_file import make_decoder

MAX_TEXT = 64
"""Longest device information that is kept, in characters."""
MAX_PATH = 1024
"""A dialect may be the path of a file of one's own."""
_NOT_KNOWN_24 = 0xFFFFFF
_NOT_KNOWN_16 = 0xFFFF
_LARGEST_24 = 0xFFFFFE
_LARGEST_16 = 0xFFFE
_CCT_MIN_K = 800
_DUV_NOT_KNOWN = 0x7FFE
_DUV_NOT_VALID = 0x7FFF


def illuminance_lx(value: bytes) -> float | None:
    """Return the value of characteristic 0x2AFB in lx (uint24, 0.01 lx), None when the sensor does not know it.

    Raises:
        ValueError: not three bytes.
    """
    _length(value, 3)
    code = int.from_bytes(value, "little")
    return None if code == _NOT_KNOWN_24 else code / 100


def illuminance_16_lx(value: bytes) -> float | None:
    """Return the value of characteristic 0x2C1C in lx (uint16, 1 lx), None when not known.

    Raises:
        ValueError: not two bytes.
    """
    _length(value, 2)
    code = int.from_bytes(value, "little")
    return None if code == _NOT_KNOWN_16 else float(code)


def cct_k(value: bytes) -> float | None:
    """Return the value of characteristic 0x2AE9 in kelvin (uint16), None when not known.

    Raises:
        ValueError: not two bytes, or below 800 K, which the format forbids.
    """
    _length(value, 2)
    code = int.from_bytes(value, "little")
    if code == _NOT_KNOWN_16:
        return None
    if code < _CCT_MIN_K:
        raise ValueError(f"{code} K is below {_CCT_MIN_K} K")
    return float(code)


def chromaticity(value: bytes) -> tuple[float, float]:
    """Return x and y of characteristic 0x2AE4 (2 × uint16, 1/65536).

    Raises:
        ValueError: not four bytes.
    """
    _length(value, 4)
    return int.from_bytes(value[:2], "little") / 65536, int.from_bytes(value[2:], "little") / 65536


def duv(value: bytes) -> float | None:
    """Return the value of characteristic 0x2AE3 (sint16, 1e-5), None when not known or not valid.

    Raises:
        ValueError: not two bytes, or outside ±0.05, which the format forbids.
    """
    _length(value, 2)
    code = int.from_bytes(value, "little", signed=True)
    if code in (_DUV_NOT_KNOWN, _DUV_NOT_VALID):
        return None
    if abs(code) > 5000:
        raise ValueError(f"Duv {code / 1e5} is outside -0.05 to 0.05")
    return code / 1e5


def battery_fraction(value: bytes) -> float | None:
    """Return the value of characteristic 0x2A19 as a fraction (uint8, %), None above 100.

    Raises:
        ValueError: not one byte.
    """
    _length(value, 1)
    return value[0] / 100 if value[0] <= 100 else None


def _length(value: bytes, wanted: int) -> None:
    if len(value) != wanted:
        raise ValueError(f"{wanted} bytes are needed, not {len(value)}")


class CharacteristicDecoder:
    """Samples from standard characteristics; also used beside a stream, for battery and device information."""

    def __init__(self, stats: DecoderStats) -> None:
        self._stats = stats
        self._handlers: dict[str, Callable[[bytes, float], list[Sample]]] = {
            "2AFB": self._illuminance,
            "2C1C": self._illuminance_16,
            "2AE9": self._cct,
            "2AE4": self._chromaticity,
            "2AE3": self._planck,
            "2AE5": self._cct_and_duv,
            "2A19": self._battery,
        }
        self.reset()

    def reset(self) -> None:
        """Forget the colour seen so far."""
        self._cct_k: float | None = None
        self._duv: float | None = None

    def feed(self, value: bytes, at_s: float, channel: str) -> list[Sample]:
        """Return the samples of one value; one that breaks its format is counted as ``body``."""
        handler = self._handlers.get(channel)
        if handler is None:
            self._stats.unknown_type += 1
            return []
        try:
            found = handler(value, at_s)
        except ValueError:
            self._stats.damage("body", len(value))
            return []
        self._stats.frames += 1
        return found

    def _illuminance(self, value: bytes, at_s: float) -> list[Sample]:
        return _steady(illuminance_lx(value), at_s, _LARGEST_24 / 100)

    def _illuminance_16(self, value: bytes, at_s: float) -> list[Sample]:
        return _steady(illuminance_16_lx(value), at_s, float(_LARGEST_16))

    def _cct(self, value: bytes, at_s: float) -> list[Sample]:
        self._cct_k = cct_k(value)
        return self._colour(at_s)

    def _planck(self, value: bytes, at_s: float) -> list[Sample]:
        self._duv = duv(value)
        return self._colour(at_s)

    def _cct_and_duv(self, value: bytes, at_s: float) -> list[Sample]:
        _length(value, 4)
        self._cct_k, self._duv = cct_k(value[:2]), duv(value[2:])
        return self._colour(at_s)

    def _colour(self, at_s: float) -> list[Sample]:
        if self._cct_k is None:
            return []
        return [Colour(at_s, cct_k=self._cct_k, duv=self._duv)]

    def _chromaticity(self, value: bytes, at_s: float) -> list[Sample]:
        x, y = chromaticity(value)
        if x == 0 or y == 0 or x + y > 1:
            raise ValueError("no such chromaticity")
        return [Colour(at_s, x=x, y=y)]

    def _battery(self, value: bytes, at_s: float) -> list[Sample]:
        fraction = battery_fraction(value)
        return [] if fraction is None else [Battery(at_s, fraction)]


def _steady(value_lx: float | None, at_s: float, largest_lx: float) -> list[Sample]:
    """Return the sample; at the end of the format the light may be anything from there on."""
    if value_lx is None:
        return []
    return [Steady(at_s, None, clipped=value_lx >= largest_lx, illuminance_lx=value_lx)]


class BluetoothDecoder(Decoder):
    """Decoder of any sensor behind a Bluetooth link: it learns from the channels which dialect is spoken.

    The stream, if there is one, goes to that dialect's own decoder; everything else is a characteristic.  Commands
    are the stream dialect's.
    """

    dialect = AUTO_BLUETOOTH

    def __init__(self) -> None:
        super().__init__()
        self._stream: Decoder | None = None
        self._stream_of = ("", "")
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
            self.dialect, self._stream, self._stream_of, self._told = name, None, ("", ""), True
            return [self._identity()]
        if (name, address) == self._stream_of:
            return []
        try:
            stream = make_decoder(name, address)
        except DialectError:
            self.stats.damage("dialect")
            return []
        self.dialect, self.poll_s, self._stream, self._stream_of = name, stream.poll_s, stream, (name, address)
        self.stats = stream.stats
        self._characteristics = CharacteristicDecoder(self.stats)
        return []

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
            sensor_id=texts.get("@address") or name,
            name=name,
            dialect=GATT,
            firmware=texts.get("2A26", ""),
            flash=False,
            steady=bool(has & {"2AFB", "2C1C"}),
            colour=bool(has & {"2AE9", "2AE4", "2AE5"}),
            battery="2A19" in has,
        )

    def reset(self) -> None:
        """Forget what is unfinished: the link was lost or opened anew.  The sensor is introduced again."""
        self._told = False
        if self._stream is not None:
            self._stream.reset()
        self._characteristics.reset()

    def identify(self) -> bytes:
        """Ask who is there (``b""`` when the link tells)."""
        return self._stream.identify() if self._stream else b""

    def set_range(self, index: int) -> bytes:
        """Switch to a sensitivity range."""
        return self._stream.set_range(index) if self._stream else b""

    def steady_rate(self, rate_hz: int) -> bytes:
        """Ask for steady light so many times a second."""
        return self._stream.steady_rate(rate_hz) if self._stream else b""

    def set_interval(self, factor: int) -> bytes:
        """Switch the sample interval."""
        return self._stream.set_interval(factor) if self._stream else b""

    def get_status(self) -> bytes:
        """Ask for the sensor's own state."""
        return self._stream.get_status() if self._stream else b""

    def poll(self) -> bytes:
        """Ask for one reading, for sensors that only answer."""
        return self._stream.poll() if self._stream else b""


def _clean(data: bytes, most: int) -> str:
    """Return device text fit to be shown: capped, printable, without the zeros that some sensors pad with."""
    text = data[: 4 * most].decode("utf-8", "replace").split("\0")[0].strip()
    return "".join(sign for sign in text if sign.isprintable())[:most]
