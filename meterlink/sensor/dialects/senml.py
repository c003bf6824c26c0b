"""Sensor Measurement Lists in JSON (RFC 8428): packs ``[{...}, {...}]`` and streams whose array never ends.

A record is resolved as soon as its object is complete, with the base values of the records before it in its own
array, so that a stream (section 4.8) and a pack are read by the same code.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import isfinite
from typing import Any, NamedTuple

from meterlink.records import Battery, Sample
from meterlink.sensor.dialects.base import DecoderStats
from meterlink.sensor.dialects.dialect import Dialect
from meterlink.sensor.dialects.json_lines import loads
from meterlink.sensor.dialects.lines import Identified
from meterlink.sensor.dialects.quantities import UNITS, Field, Refused, samples, to_si

DEFAULT_VERSION = 10
ABSOLUTE_FROM_S = 2.0**28
"""Times from here on are seconds since 1970, below they are relative to now (section 4.5.3)."""
KNOWN_NEWER = (26,)
"""RFC 9100: 26 is version 10 with secondary units, none of which is a unit of light."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
_BASE = ("bn", "bt", "bu", "bv", "bs", "bver")
_TYPES: dict[str, type | tuple[type, ...]] = {
    **dict.fromkeys(("bn", "bu", "n", "u", "vs", "vd"), str),
    **dict.fromkeys(("bt", "bv", "bs", "v", "s", "t", "ut"), (int, float)),
    "bver": int,
    "vb": bool,
}
_STRUCTURE = re.compile(rb'["{}\[\]]')
_STRING_END = re.compile(rb'(?:[^"\\]|\\.)*"', re.DOTALL)


class Record(NamedTuple):
    """One resolved record: names joined, base values added."""

    name: str
    unit: str = ""
    value: float | str | bool | None = None
    """A number, a string or a boolean; None when there is only a sum (or data, see ``data``)."""
    sum: float | None = None
    time_s: float = 0.0
    """Seconds since 1970 when ``absolute``, else relative to now."""
    update_s: float | None = None
    data: str | None = None
    """Base64 as sent."""

    @property
    def absolute(self) -> bool:
        """True when ``time_s`` is a date."""
        return self.time_s >= ABSOLUTE_FROM_S


class Resolver:
    """The base values of one pack or stream, applied to record after record."""

    def __init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        """A new array begins: no base values."""
        self._base: dict[str, Any] = {}
        self._version: int | None = None

    def resolve(self, raw: Any) -> Record | None:
        """Return the resolved record; None for one that only sets base values.

        Raises Refused: the record breaks the standard: ``type``, ``label`` (unknown and must be understood), ``version``, ``name``,
        ``value`` (none, or more than one).
        """
        if not isinstance(raw, dict):
            raise Refused("type")
        self._check(raw)
        merged = {**self._base, **{label: raw[label] for label in _BASE if label in raw}}
        record = self._record(raw, merged)
        self._base = merged
        return record

    def _check(self, raw: dict[str, Any]) -> None:
        for label, value in raw.items():
            wanted = _TYPES.get(label)
            if wanted is None:
                if label.endswith("_"):
                    raise Refused("label")
                continue
            if not isinstance(value, wanted) or (isinstance(value, bool) and wanted is not bool):
                raise Refused("type")
            if isinstance(value, float) and not isfinite(value):
                raise Refused("value")
        version = raw.get("bver", self._version if self._version is not None else DEFAULT_VERSION)
        if version <= 0 or (version > DEFAULT_VERSION and version not in KNOWN_NEWER):
            raise Refused("version")
        if self._version is not None and version != self._version:
            raise Refused("version")
        self._version = version

    def _record(self, raw: dict[str, Any], base: dict[str, Any]) -> Record | None:
        given = [label for label in ("v", "vs", "vb", "vd") if label in raw]
        only_base = not given and "s" not in raw and all(label in _BASE or label not in _TYPES for label in raw)
        if only_base:
            return None
        if len(given) > 1 or (not given and "s" not in raw and "bs" not in base and "bv" not in base):
            raise Refused("value")
        name = base.get("bn", "") + raw.get("n", "")
        if not _NAME.fullmatch(name):
            raise Refused("name")
        try:
            value = self._value(raw, base, given)
            total = None
            if "s" in raw or "bs" in base:
                total = float(raw.get("s", 0) + base.get("bs", 0))
            time_s = float(base.get("bt", 0) + raw.get("t", 0))
            update_s = float(raw["ut"]) if "ut" in raw else None
        except OverflowError:
            raise Refused("value") from None
        unit = raw.get("u", base.get("bu", ""))
        return Record(name, unit, value, total, time_s, update_s, raw.get("vd"))

    def _value(self, raw: dict[str, Any], base: dict[str, Any], given: Sequence[str]) -> float | str | bool | None:
        if "v" in given or (not given and "bv" in base and "s" not in raw):
            return float(raw.get("v", 0) + base.get("bv", 0))
        if given and given[0] in ("vs", "vb"):
            found: str | bool = raw[given[0]]
            return found
        return None


class PackSplitter:
    """Cut a byte stream into the objects of its arrays.  Holds at most ``limit`` bytes of an unfinished one."""

    def __init__(self, limit: int, stats: DecoderStats) -> None:
        self._limit, self._stats = limit, stats
        self.reset()

    def reset(self) -> None:
        """Forget what is unfinished; nothing is believed before an array begins."""
        self._tail = b""
        self._scanned = 0
        self._depth = 0
        self._object_at = -1

    def feed(self, data: bytes) -> list[bytes]:
        """Return ``b"["`` for each array that begins, ``b""`` for each place that is damaged, and whole objects."""
        out: list[bytes] = []
        buffer = self._tail + data
        position = self._scanned
        while match := _STRUCTURE.search(buffer, position):
            position = match.end()
            sign = match.group()
            if sign == b'"':
                if self._depth == 0:
                    continue
                end = _STRING_END.match(buffer, position)
                if end is None:
                    position -= 1
                    break
                position = end.end()
            else:
                self._bracket(sign, position, buffer, out)
        else:
            position = len(buffer)
        self._keep(buffer, position, out)
        return out

    def _bracket(self, sign: bytes, position: int, buffer: bytes, out: list[bytes]) -> None:
        if self._depth == 0:
            if sign == b"[":
                self._depth = 1
                out.append(b"[")
            return
        if self._object_at < 0:
            if sign == b"{":
                self._object_at, self._depth = position - 1, 2
            elif sign == b"]":
                self._depth = 0
            elif sign == b"[":
                # An array inside an array is no pack: most likely the end of the one before was lost.
                out += [b"", b"["]
            return
        self._depth += 1 if sign in (b"{", b"[") else -1
        if self._depth == 1:
            out.append(buffer[self._object_at : position])
            self._object_at = -1

    def _keep(self, buffer: bytes, position: int, out: list[bytes]) -> None:
        start = self._object_at if self._object_at >= 0 else position
        if len(buffer) - start > self._limit:
            self._stats.dropped_bytes += len(buffer) - start
            out.append(b"")
            self.reset()
            return
        if self._object_at >= 0:
            self._object_at = 0
        self._tail, self._scanned = buffer[start:], position - start


class SenmlDecoder(Identified):
    """Decoder of SenML and SensML in JSON.  Damage inside an array drops the rest of it: its base may be lost."""

    def __init__(self, dialect: Dialect, sensor_id: str = "") -> None:
        super().__init__(dialect, sensor_id)
        self._splitter = PackSplitter(dialect.line_bytes, self.stats)
        self._resolver = Resolver()
        self._broken = True

    def reset(self) -> None:
        """Forget the unfinished array."""
        super().reset()
        self._splitter.reset()
        self._resolver.restart()
        self._broken = True

    def _read(self, data: bytes, at_s: float) -> list[Sample]:
        out: list[Sample] = []
        for piece in self._splitter.feed(data):
            if piece == b"[":
                self._resolver.restart()
                self._broken = False
            elif piece == b"":
                self.stats.damage("text")
                self._broken = True
            elif self._broken:
                self.stats.dropped_bytes += len(piece)
            else:
                out += self._object(piece, at_s)
        return out

    def _object(self, piece: bytes, at_s: float) -> list[Sample]:
        try:
            record = self._resolver.resolve(loads(piece.decode("utf-8")))
            found = [] if record is None else self._samples(record, at_s)
        except UnicodeDecodeError:
            self.stats.damage("text", len(piece))
            self._broken = True
        except Refused as refused:
            self.stats.damage(refused.reason, len(piece))
            # A value that cannot be is the record's own; anything else may have spoilt the base of those that follow.
            self._broken = refused.reason not in ("value", "unit")
            if refused.reason == "version":
                self.stats.unknown_version += 1
        else:
            self.stats.frames += 1
            return found
        return []

    def _samples(self, record: Record, at_s: float) -> list[Sample]:
        if isinstance(record.value, bool) or not isinstance(record.value, float):
            return []
        # A time relative to now moves the sample; a date cannot be set against the host's monotonic clock.
        moment_s = at_s if record.absolute else at_s + min(0.0, record.time_s)
        field = self._field(record)
        if field is None:
            if record.unit == "%EL" and 0 <= record.value <= 100:
                return [Battery(at_s, record.value / 100)]
            return []
        unit = record.unit if record.unit.lower() in UNITS[field.quantity] else field.unit if not record.unit else None
        if unit is None:
            return []
        return samples({field.quantity: to_si(field, record.value, unit)}, moment_s)

    def _field(self, record: Record) -> Field | None:
        """Return the field whose name ends the record's name; a field without a name goes by the unit alone."""
        for field in self._dialect.fields:
            if field.where and record.name.endswith(str(field.where)):
                return field
        for field in self._dialect.fields:
            if not field.where and record.unit.lower() in UNITS[field.quantity] and record.unit:
                return field
        return None
