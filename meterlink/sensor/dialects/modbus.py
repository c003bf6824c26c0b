"""Illuminance transmitters on Modbus RTU: what to ask, and what the answer means.

Frames, checksums and answers are pymodbus' own; this decoder finds the answer in the bytes (a half-duplex line echoes and rattles),
checks that it answers what was asked, and turns registers into light.  Only imported when such a dialect is used.
"""

from __future__ import annotations

import struct

from meterlink.errors import DialectError
from meterlink.records import Sample
from meterlink.sensor.dialects.dialect import REGISTER_TYPES, Dialect, register_count, register_span
from meterlink.sensor.dialects.lines import Identified
from meterlink.sensor.dialects.quantities import Field, Refused, put, samples

try:
    from pymodbus.exceptions import ModbusException
    from pymodbus.framer.rtu import FramerRTU
    from pymodbus.pdu import DecodePDU
    from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest
except ImportError as error:  # pragma: no cover - depends on what is installed
    raise DialectError("Modbus needs the package pymodbus: in meterlink's own folder, pip install '.[modbus]'") from error

_FUNCTION = {"holding": ReadHoldingRegistersRequest, "input": ReadInputRegistersRequest}
_OVERHEAD = 5
"""Bytes of an answer besides its registers: device, function, count, CRC; also the length of an exception."""
_MAX_BUFFER = 512


def registers_to_number(field: Field, registers: list[int]) -> float:
    """Return the number that these registers hold in the field's type, byte order and word order."""
    words = registers if field.word_order == "big" else registers[::-1]
    order = ">" if field.byte_order == "big" else "<"
    raw = struct.pack(f"{order}{len(words)}H", *words)
    (number,) = struct.unpack(REGISTER_TYPES[field.register_type], raw)
    return float(number)


class ModbusDecoder(Identified):
    """Decoder of one transmitter.  ``poll()`` is the question; only the answer to it is believed."""

    def __init__(self, dialect: Dialect, sensor_id: str = "") -> None:
        super().__init__(dialect, sensor_id)
        self._first, end = register_span(dialect)
        count = end - self._first
        request = _FUNCTION[dialect.fields[0].table](dev_id=dialect.device, address=self._first, count=count)
        self._framer = FramerRTU(DecodePDU(is_server=False))
        self._question = bytes(self._framer.buildFrame(request))
        self._head = bytes([dialect.device, request.function_code, 2 * count])
        self._refusal = bytes([dialect.device, request.function_code | 0x80])
        self._answer_bytes = _OVERHEAD + 2 * count
        self._buffer = b""

    def reset(self) -> None:
        """Forget the unfinished answer."""
        super().reset()
        self._buffer = b""

    def poll(self) -> bytes:
        """Return the question."""
        return self._question

    def _read(self, data: bytes, at_s: float) -> list[Sample]:
        out: list[Sample] = []
        # Far more than any answer at once is no transmitter: look at it in pieces of bounded size.
        for start in range(0, len(data), _MAX_BUFFER):
            self._buffer += data[start : start + _MAX_BUFFER]
            out += self._scan(at_s)
        return out

    def _scan(self, at_s: float) -> list[Sample]:
        out: list[Sample] = []
        buffer, position = self._buffer, 0
        while (found := self._next(buffer, position)) is not None:
            start, length = found
            self.stats.dropped_bytes += start - position
            position = start
            if len(buffer) - start < length:
                break
            frame = buffer[start : start + length]
            if FramerRTU.check_CRC(frame[:-2], int.from_bytes(frame[-2:], "big")):
                out += self._answer(frame, at_s)
                position = start + length
            else:
                self.stats.damage("crc", 1)
                position = start + 1
        else:
            # The last two bytes may begin a head.
            keep = max(position, len(buffer) - 2)
            self.stats.dropped_bytes += keep - position
            position = keep
        self._buffer = buffer[position:]
        return out

    def _next(self, buffer: bytes, position: int) -> tuple[int, int] | None:
        """Return start and length of what may be the next answer or refusal."""
        answer, refusal = buffer.find(self._head, position), buffer.find(self._refusal, position)
        if answer < 0 and refusal < 0:
            return None
        if refusal < 0 or 0 <= answer < refusal:
            return answer, self._answer_bytes
        return refusal, _OVERHEAD

    def _answer(self, frame: bytes, at_s: float) -> list[Sample]:
        try:
            _, pdu = self._framer.handleFrame(frame, self._dialect.device, 0)
        except (ModbusException, ValueError, IndexError, struct.error):
            pdu = None
        if pdu is None:
            self.stats.damage("body", len(frame))
            return []
        if pdu.isError():
            self.stats.damage("refused")
            return []
        try:
            found = self._samples(list(pdu.registers), at_s)
        except Refused as refused:
            self.stats.damage(refused.reason)
            return []
        self.stats.frames += 1
        return found

    def _samples(self, registers: list[int], at_s: float) -> list[Sample]:
        values: dict[str, float] = {}
        overload = False
        for field in self._dialect.fields:
            place = int(field.where) - self._first
            overload |= put(values, field, registers_to_number(field, registers[place : place + register_count(field)]))
        return samples(values, at_s, overload)
