"""Dialects by name: those in files, the shipped ones, and the decoder and the URL of each."""


from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import resources
from pathlib import Path
from urllib.parse import parse_qsl, urlencode

from meterlink.errors import DialectError
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.csv_lines import CsvLineDecoder
from meterlink.sensor.dialects.dialect import AUTO_BLUETOOTH, GATT, NATIVE, OURS, Dialect, SerialSettings, parse_dialect
from meterlink.sensor.dialects.gatt import BluetoothDecoder
from meterlink.sensor.dialects.json_lines import JsonLineDecoder
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.dialects.pop_lines import PopLineDecoder
from meterlink.sensor.dialects.senml import SenmlDecoder
from meterlink.sensor.dialects.text_lines import TextLineDecoder

MAX_FILE_BYTES = 64 * 1024


def load_dialect(path: str | Path) -> Dialect:
    """Return the dialect described in the file at ``path``.

    Raises DialectError: the file is missing, too large, not text, or its description cannot be used.
    """
    path = Path(path)
    try:
        if path.exists() and not path.is_file():
            # A pipe or a device would be waited for, or never end.
            raise DialectError("{path}: not a file; check the path of the dialect file", path=path)
        with path.open("rb") as file:
            raw = file.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        raise DialectError(
            "{path}: {strerror}; check the path of the dialect file", path=path, strerror=error.strerror or error,
        ) from None
    if len(raw) > MAX_FILE_BYTES:
        raise DialectError(
            "{path}: larger than {max_file_bytes} KB; a dialect is a short TOML file",
            path=path, max_file_bytes=MAX_FILE_BYTES // 1024,
        )
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise DialectError("{path}: not UTF-8 text; save it as UTF-8", path=path) from None
    return parse_dialect(text, str(path))


@cache
def shipped_dialects() -> tuple[Dialect, ...]:
    """Return the dialects that come with meterlink, by name."""
    folder = resources.files("meterlink.sensor.dialects") / "dialects"
    files = sorted((item for item in folder.iterdir() if item.name.endswith(".toml")), key=lambda item: item.name)
    return tuple(parse_dialect(item.read_text("utf-8"), item.name) for item in files)


def find_dialect(name: str) -> Dialect:
    """Return the shipped dialect ``name``, or the one in the file that ``name`` is the path of.

    Raises DialectError: there is none, or it cannot be used.
    """
    for dialect in shipped_dialects():
        if dialect.name == name:
            return dialect
    if name.endswith(".toml") or "/" in name or "\\" in name:
        return load_dialect(name)
    names = ", ".join([NATIVE, *(dialect.name for dialect in shipped_dialects())])
    raise DialectError("no dialect {name!r}; known are {names}, or give the path of a .toml file", name=name, names=names)


def serial_url(target: str, dialect: str, serial: SerialSettings) -> str:
    """Return the URL of a sensor of this dialect on the port ``target`` (a device, or a URL of pyserial)."""
    usual = SerialSettings(baud=0)._asdict()
    options = {} if "://" in target else {key: value for key, value in serial._asdict().items() if value != usual[key]}
    if dialect != NATIVE:
        options["dialect"] = dialect
    head = target if "://" in target else f"serial:{target}"
    mark = "&" if "?" in head else "?"
    return head + (mark + urlencode(options, safe="/") if options else "")


def complete_url(url: str) -> str:
    """Return ``url`` with the serial settings of the dialect that it names; what the URL says itself stays.

    Raises DialectError: it names a dialect that is not known.
    """
    head, mark, query = url.partition("?")
    given = dict(parse_qsl(query, keep_blank_values=True))
    if not mark or "dialect" not in given or not head.lower().startswith("serial:") or given["dialect"] == NATIVE:
        return url
    settings = find_dialect(given["dialect"]).serial
    wanted = dict(parse_qsl(serial_url("x", given["dialect"], settings).partition("?")[2]))
    return head + "?" + urlencode({**wanted, **given}, safe="/")


def make_decoder(dialect: str | Dialect, sensor_id: str = "") -> Decoder:
    """Return a new decoder for a dialect, given by name, by path or as its description.

    ``sensor_id`` names sensors that do not say who they are (a serial number of the adapter, an address); without it
    the dialect's name stands in.

    Raises DialectError: there is no such dialect, or it cannot be used.
    """
    if dialect in (NATIVE, OURS):
        return NativeDecoder()
    if dialect in (GATT, AUTO_BLUETOOTH):
        return BluetoothDecoder(make_decoder)
    described = find_dialect(dialect) if isinstance(dialect, str) else dialect
    if described.kind == "modbus":
        from meterlink.sensor.dialects.modbus import ModbusDecoder  # pymodbus is an extra

        return ModbusDecoder(described, sensor_id)
    if described.pops:
        return PopLineDecoder(described, sensor_id)
    return _DECODERS[described.kind](described, sensor_id)


_DECODERS: dict[str, Callable[[Dialect, str], Decoder]] = {
    "text": TextLineDecoder, "csv": CsvLineDecoder, "json": JsonLineDecoder, "senml": SenmlDecoder,
}  # fmt: skip
