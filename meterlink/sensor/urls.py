"""What a sensor's URL says of the language spoken behind it, and which adapter it is when the sensor cannot tell.

Sensors of our own say who they are, Bluetooth sensors have an address.  A sensor of lines on a serial adapter has
neither: it is known by the adapter's serial number, so that it is found again when the port has another name.
"""

from __future__ import annotations

from meterlink.errors import MeterlinkError
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.dialect import AUTO_BLUETOOTH, NATIVE
from meterlink.sensor.dialects.dialect_file import make_decoder
from meterlink.sensor.link.ports import ports
from meterlink.sensor.link.registry import parse


def dialect_of(url: str) -> str:
    """Return the dialect that a URL names, ``""`` when it is our own."""
    dialect = parse(url).options.get("dialect", "")
    return "" if dialect == NATIVE else dialect


def decoder_for(url: str) -> Decoder | None:
    """Return a decoder for the sensor that a URL names; None stands for our own wire format.

    A Bluetooth link says itself what it found; a recording is decoded as the sensor was that it was made of.

    Raises DialectError: the URL names a dialect that is not known or cannot be used.
    """
    parts = parse(url)
    dialect = dialect_of(url)
    if parts.scheme == "file" and not dialect:
        recorded = _recorded_url(parts.target)
        return decoder_for(recorded) if recorded else None
    if parts.scheme == "ble":
        return make_decoder(AUTO_BLUETOOTH)
    if not dialect:
        return None
    return make_decoder(dialect, f"{dialect}@{adapter_of(url) or parts.target}")


def adapter_of(url: str) -> str:
    """Return the serial number of the USB adapter that a URL names, ``""`` when it has none that the system knows."""
    parts = parse(url)
    if parts.scheme != "serial" or "://" in parts.target:
        return ""
    return next((port.serial_number for port in ports() if port.name == parts.target), "")


def moved_to(url: str, adapter: str) -> str | None:
    """Return ``url`` with the port that the adapter with this serial number has now; None when it is not there."""
    parts = parse(url)
    name = next((port.name for port in ports() if adapter and port.serial_number == adapter), None)
    return None if name is None else url.replace(parts.target, name, 1)


def _recorded_url(path: str) -> str:
    """Return the URL in a recording's header, ``""`` when there is none to go by (opening it tells what is wrong)."""
    from meterlink.sensor.link.recording import read_header

    try:
        recorded = str(read_header(path).get("url", ""))
        return "" if parse(recorded).scheme == "file" else recorded
    except MeterlinkError:
        return ""
