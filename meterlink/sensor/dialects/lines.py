"""What all dialects of lines share: cutting the stream at line ends, caps, counting, and who is speaking.

A line without a check sum is believed only as a whole: the first one after the link was opened may have lost its head
(``234.5`` of ``1234.5``), so nothing is taken before the first line end.
"""

from __future__ import annotations

from meterlink.records import Identity, Sample
from meterlink.sensor.dialects.base import Decoder, DecoderStats
from meterlink.sensor.dialects.dialect import Dialect
from meterlink.sensor.dialects.quantities import Refused


class LineSplitter:
    """Cut a byte stream at LF, CR or CR LF.  Holds at most ``limit`` bytes of an unfinished line; longer ones are damage."""

    def __init__(self, limit: int, stats: DecoderStats) -> None:
        self._limit = limit
        self._stats = stats
        self.reset()

    def reset(self) -> None:
        """Forget the unfinished line; the next one may begin in its middle."""
        self._tail = b""
        self._skipping = False
        self._in_step = False

    def feed(self, data: bytes) -> list[bytes]:
        """Return the whole, non-empty lines that ``data`` completes."""
        *complete, rest = data.replace(b"\r", b"\n").split(b"\n")
        lines = []
        for piece in complete:
            line, self._tail = self._tail + piece if self._tail else piece, b""
            if self._skipping or not self._in_step:
                self._stats.dropped_bytes += len(line)
                self._skipping, self._in_step = False, True
            elif len(line) > self._limit:
                self._stats.damage("length", len(line))
            elif line:
                lines.append(line)
        if self._skipping:
            self._stats.dropped_bytes += len(rest)
        elif len(self._tail) + len(rest) <= self._limit:
            self._tail += rest
        else:
            self._stats.damage("length", len(self._tail) + len(rest))
            self._tail, self._skipping = b"", True
        return lines


class Identified(Decoder):
    """A decoder for sensors that do not say who they are: the dialect's description and the link's name do."""

    def __init__(self, dialect: Dialect, sensor_id: str = "") -> None:
        super().__init__()
        self.dialect = dialect.name
        self.poll_s = dialect.poll_s
        self._dialect = dialect
        self._sensor_id = sensor_id or dialect.name
        self._told = self._spoken = False

    def reset(self) -> None:
        """Forget what is unfinished; the sensor is introduced again with its next reading."""
        self._told = self._spoken = False

    def identify(self) -> bytes:
        """Return what makes the sensor speak: one that only answers is introduced with its first answer."""
        return self.poll()

    def poll(self) -> bytes:
        """Return the bytes that ask for one reading (``b""`` when the sensor speaks by itself)."""
        return self._dialect.ask

    def feed(self, data: bytes, at_s: float, channel: str = "") -> list[Sample]:
        """Return the samples that ``data`` completes.  Other channels than the stream are not of this dialect."""
        return [] if channel else self._introduce(self._read(data, at_s))

    def _read(self, data: bytes, at_s: float) -> list[Sample]:
        """Return the samples that the bytes of the stream complete."""
        raise NotImplementedError

    def _introduce(self, found: list[Sample]) -> list[Sample]:
        """Put the identity before the first samples."""
        if self._told or not (found or self._spoken):
            return found
        self._told = True
        quantities = {field.quantity for field in self._dialect.fields}
        identity = Identity(
            sensor_id=self._sensor_id, name=self._dialect.title, dialect=self._dialect.name, flash=self._dialect.pops,
            steady=True, colour=bool(quantities & {"cct", "x"}), range_finder="held_off" in quantities,
            battery=bool(quantities & {"battery", "battery_voltage"}),
        )  # fmt: skip
        return [identity, *found]


class LineDecoder(Identified):
    """Base of the dialects of lines; a subclass says what one line means."""

    def __init__(self, dialect: Dialect, sensor_id: str = "") -> None:
        super().__init__(dialect, sensor_id)
        self._splitter = LineSplitter(dialect.line_bytes, self.stats)

    def reset(self) -> None:
        """Forget the unfinished line."""
        super().reset()
        self._splitter.reset()

    def _read(self, data: bytes, at_s: float) -> list[Sample]:
        out: list[Sample] = []
        for line in self._splitter.feed(data):
            try:
                found = self.line(line.decode("utf-8"), at_s)
            except UnicodeDecodeError:
                self.stats.damage("text", len(line))
            except Refused as refused:
                self.stats.damage(refused.reason, len(line))
            else:
                self.stats.frames += 1
                out += found
        return out

    def line(self, text: str, at_s: float) -> list[Sample]:
        """Return the samples of one line.  Raises Refused: the line cannot be believed."""
        raise NotImplementedError
