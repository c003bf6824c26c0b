"""The record that describes a dialect of somebody else's sensor; ``dialect_file`` reads and checks it."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.sensor.dialects.quantities import Field

KINDS = ("text", "csv", "json", "senml", "modbus")


class SerialSettings(NamedTuple):
    """How the port is to be opened."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: int = 1


class Dialect(NamedTuple):
    """How one kind of sensor speaks."""

    name: str
    kind: str
    title: str
    fields: tuple[Field, ...]
    serial: SerialSettings = SerialSettings()
    line_bytes: int = 256
    """Longest line that is believed."""
    ask: bytes = b""
    """What asks for one reading; empty when the sensor speaks by itself."""
    poll_s: float = 0.0
    """Seconds between two questions; 0 when the sensor speaks by itself."""
    decimal: str = "."
    delimiter: str = ","
    comment: str = "#"
    header: bool = False
    """CSV: the first line (and any line equal to it) names the columns."""
    pops: bool = False
    """Text: whether flashes come as lines of their own (``pop_lines``)."""
    device: int = 1
    """Modbus: address of the sensor on its line."""

    def field(self, quantity: str) -> Field | None:
        """Return the field of ``quantity``, or None."""
        return next((field for field in self.fields if field.quantity == quantity), None)
