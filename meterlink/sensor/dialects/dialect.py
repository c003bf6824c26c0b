"""The description of a dialect of somebody else's sensor, and how it is read from TOML.

A description says what a sensor is called, how its port is opened, and where each quantity stands::

    format = 1
    name = "lux-lines"
    kind = "text"                 # text, csv, json, senml, modbus
    title = "Lines of a number and its unit"

    [serial]
    baud = 9600

    [illuminance]
    unit = "lx"

Everything that is not known is refused by name, so that a typing error does not silently change a reading.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from struct import calcsize
from typing import Any, NamedTuple

from meterlink.errors import DialectError
from meterlink.sensor.dialects.quantities import UNITS, Field

FORMAT = 1
NATIVE = "meterlink-1"
GATT = "gatt-light"
AUTO_BLUETOOTH = "bluetooth"
KINDS = ("text", "csv", "json", "senml", "modbus")
_TOP = {"format", "name", "kind", "title", "serial", "ask", *UNITS}
_SERIAL = {"baud", "data_bits", "parity", "stop_bits"}
_ASK = {"text", "every_s"}
_FIELD = {"unit", "scale", "offset", "not_known", "overload", "iso", "constant_lx"}
_KIND_KEYS = {
    "text": {"line_bytes", "decimal", "comment", "pops"},
    "csv": {"line_bytes", "decimal", "comment", "delimiter", "header"},
    "json": {"line_bytes"},
    "senml": {"line_bytes"},
    "modbus": {"device", "every_s"},
}
_WHERE = {"text": "label", "csv": "column", "json": "path", "senml": "name", "modbus": "register"}
_REGISTER = {"type", "table", "byte_order", "word_order"}
REGISTER_TYPES = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i", "float32": ">f"}
_MAX_SPAN = 64


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


OURS = Dialect(NATIVE, "native", "", (), SerialSettings(baud=250_000))
"""Our own sensor's, which says of itself what other descriptions say."""


class _Checked:
    """One table of the file, with errors that name the file, the table and the key."""

    def __init__(self, table: Mapping[str, Any], origin: str, name: str, allowed: set[str]) -> None:
        self.table, self.origin, self.name = table, origin, name
        for key in table:
            if key not in allowed:
                raise self.error(f"{key!r} is not known here; use {', '.join(sorted(allowed))}")

    def error(self, text: str) -> DialectError:
        where = f"[{self.name}] " if self.name else ""
        return DialectError("{origin}: {where}{typed}", origin=self.origin, where=where, typed=text)

    def text(self, key: str, default: str = "", choices: tuple[str, ...] = (), most: int = 120) -> str:
        value = self.table.get(key, default)
        if not isinstance(value, str) or len(value) > most or not value.isprintable():
            raise self.error(f"{key} must be a text of at most {most} printable characters")
        if choices and value not in choices:
            raise self.error(f"{key} is {value!r}; use one of {', '.join(choices)}")
        return value

    def number(self, key: str, default: float, low: float, high: float) -> float:
        value = self.table.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.error(f"{key} must be a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, default: int, low: int, high: int) -> int:
        value = self.table.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.error(f"{key} must be a whole number from {low} to {high}")
        return value

    def flag(self, key: str) -> bool:
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            raise self.error(f"{key} must be true or false")
        return value

    def tokens(self, key: str) -> tuple[float | str, ...]:
        value = self.table.get(key, [])
        if not isinstance(value, list) or len(value) > 16 or not all(map(_is_token, value)):
            raise self.error(f"{key} must be a list of at most 16 numbers or words")
        return tuple(float(token) if isinstance(token, int) else token for token in value)


def _is_token(value: Any) -> bool:
    return isinstance(value, int | float | str) and not isinstance(value, bool) and len(str(value)) <= 32


def parse_dialect(text: str, origin: str = "dialect") -> Dialect:
    """Return the dialect that the TOML ``text`` describes; ``origin`` names it in errors.

    Raises DialectError: one line that says what is wrong, where, and what would be right.
    """
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise DialectError(
            "{origin}: not a TOML file ({error}); see the shipped ones", origin=origin, error=str(error).splitlines()[0],
        ) from None
    if raw.get("format") != FORMAT:
        raise DialectError(
            "{origin}: format must be {format}, the only one that this version knows; add format = 1", origin=origin, format=FORMAT,
        )
    kind = raw.get("kind")
    if kind not in KINDS:
        raise DialectError("{origin}: kind is {kind!r}; use one of {kinds}", origin=origin, kind=kind, kinds=', '.join(KINDS))
    top = _Checked(raw, origin, "", _TOP | _KIND_KEYS[kind])
    return _dialect(top, kind)


def _dialect(top: _Checked, kind: str) -> Dialect:
    name = top.text("name", most=40)
    if not name or not name.isascii() or not all(sign.isalnum() or sign in "-_." for sign in name):
        raise top.error("name must be letters, digits, '-', '_' or '.', such as 'my-sensor'")
    if name in (NATIVE, GATT, AUTO_BLUETOOTH):
        raise top.error(f"name {name!r} is taken; choose another")
    fields = tuple(_field(top, quantity, kind) for quantity in UNITS if quantity in top.table)
    if not fields:
        raise top.error("no quantity is described; add at least [illuminance] with its unit")
    dialect = Dialect(
        name=name,
        kind=kind,
        title=top.text("title", name),
        fields=fields,
        serial=_serial(top),
        line_bytes=top.whole("line_bytes", 4096 if kind in ("json", "senml") else 256, 8, 65_536),
        decimal=top.text("decimal", ".", (".", ",")),
        comment=top.text("comment", "#", most=4),
        delimiter=_delimiter(top),
        header=top.flag("header"),
        pops=top.flag("pops"),
        device=top.whole("device", 1, 1, 247),
    )
    if kind == "csv":
        _check_columns(top, dialect)
    if kind == "modbus":
        _check_registers(top, dialect)
        return dialect._replace(poll_s=top.number("every_s", 0.5, 0.02, 3600))
    ask, every_s = _ask(top)
    return dialect._replace(ask=ask, poll_s=every_s)


def _table(top: _Checked, name: str, allowed: set[str]) -> _Checked:
    value = top.table.get(name, {})
    if not isinstance(value, dict):
        raise top.error(f"{name} must be a table: write [{name}] on a line of its own")
    return _Checked(value, top.origin, name, allowed)


def _serial(top: _Checked) -> SerialSettings:
    table = _table(top, "serial", _SERIAL)
    return SerialSettings(
        baud=table.whole("baud", 9600, 50, 4_000_000),
        data_bits=table.whole("data_bits", 8, 7, 8),
        parity=table.text("parity", "none", ("none", "even", "odd")),
        stop_bits=table.whole("stop_bits", 1, 1, 2),
    )


def _ask(top: _Checked) -> tuple[bytes, float]:
    if "ask" not in top.table:
        return b"", 0.0
    table = _table(top, "ask", _ASK)
    text = table.table.get("text")
    if not isinstance(text, str) or not 1 <= len(text) <= 64:
        raise table.error('text must be what asks for one reading, at most 64 characters, such as "READ\\n"')
    return text.encode("utf-8"), table.number("every_s", 0.5, 0.02, 3600)


def _delimiter(top: _Checked) -> str:
    value = top.table.get("delimiter", ",")
    if value not in (",", ";", "\t", " ", "|"):
        raise top.error("delimiter must be one of ',' ';' '|' a space or a tab (\"\\t\")")
    return str(value)


def _field(top: _Checked, quantity: str, kind: str) -> Field:
    where_key = _WHERE[kind]
    allowed = _FIELD | {where_key} | (_REGISTER if kind == "modbus" else set())
    table = _table(top, quantity, allowed)
    unit = table.text("unit", "", most=16)
    if unit.lower() not in UNITS[quantity]:
        raise table.error(f"unit is {unit!r}; use one of {', '.join(repr(known) for known in UNITS[quantity])}")
    scale = table.number("scale", 1.0, -1e12, 1e12)
    if scale == 0:
        raise table.error("scale must not be 0")
    iso, constant = _ev(table, unit)
    field = Field(
        quantity, _where(table, where_key, kind), unit, scale, table.number("offset", 0.0, -1e12, 1e12),
        table.tokens("not_known"), table.tokens("overload"), iso, constant,
    )  # fmt: skip
    if kind != "modbus":
        return field
    return field._replace(
        register_type=table.text("type", "uint16", tuple(REGISTER_TYPES)),
        table=table.text("table", "holding", ("holding", "input")),
        byte_order=table.text("byte_order", "big", ("big", "little")),
        word_order=table.text("word_order", "big", ("big", "little")),
    )


def _ev(table: _Checked, unit: str) -> tuple[float | None, float | None]:
    """Return ISO and constant; a unit of EV needs both, other units may have them for lines that say EV."""
    given = [key for key in ("iso", "constant_lx") if key in table.table]
    if len(given) == 1 or (unit.lower() == "ev" and not given):
        raise table.error("EV becomes light only with both iso and constant_lx (the C that the sensor assumes, in lx)")
    if not given:
        return None, None
    if table.name != "illuminance":
        raise table.error(f"{given[0]} belongs to [illuminance] only")
    return table.number("iso", 100, 1, 1e7), table.number("constant_lx", 250, 50, 2000)


def _where(table: _Checked, key: str, kind: str) -> str | int:
    if kind == "modbus":
        return table.whole(key, -1, 0, 65_535)
    if kind == "csv":
        column = table.table.get(key)
        if isinstance(column, int) and not isinstance(column, bool) and 1 <= column <= 64:
            return column
        if isinstance(column, str) and column:
            return table.text(key)
        raise table.error("column must be its number, from 1, or its name in the header")
    value = table.text(key)
    if kind == "json" and not value:
        raise table.error("path must say where the number stands, such as 'light.lux'")
    return value


def _check_columns(top: _Checked, dialect: Dialect) -> None:
    if any(isinstance(field.where, str) for field in dialect.fields) and not dialect.header:
        raise top.error("columns have names, so the sensor must send them: add header = true, or use numbers")
    if dialect.decimal == dialect.delimiter:
        raise top.error("decimal and delimiter are the same sign; one of them must be another")


def register_count(field: Field) -> int:
    """Return how many registers the field takes."""
    return calcsize(REGISTER_TYPES[field.register_type]) // 2


def register_span(dialect: Dialect) -> tuple[int, int]:
    """Return the first register of a Modbus dialect, and the one after its last."""
    places = [(int(field.where), register_count(field)) for field in dialect.fields]
    return min(places)[0], max(first + count for first, count in places)


def _check_registers(top: _Checked, dialect: Dialect) -> None:
    if len({field.table for field in dialect.fields}) > 1:
        raise top.error("all registers must be of one table, holding or input")
    first, end = register_span(dialect)
    if end > 65_536 or end - first > _MAX_SPAN:
        raise top.error(f"the registers must lie within {_MAX_SPAN} of each other and end before 65536")
