"""From a sensor's URL to what is spoken there, and to the adapter it hangs on."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.errors import DialectError
from meterlink.records import Identity
from meterlink.sensor.dialects.dialect_file import complete_url
from meterlink.sensor.link.ports import Port
from meterlink.sensor.urls import adapter_of, decoder_for, dialect_of, moved_to

PORTS = [Port("/dev/ttyUSB0", "adapter", "A17"), Port("/dev/ttyUSB1", "adapter", "B42"), Port("/dev/ttyS0")]


@pytest.fixture(autouse=True)
def listed(monkeypatch: pytest.MonkeyPatch) -> Callable[[list[Port]], None]:
    """The ports that the system has: those above, until others are given."""

    def give(ports: list[Port]) -> None:
        monkeypatch.setattr("meterlink.sensor.urls.ports", lambda: ports)

    give(PORTS)
    return give


def recording(tmp_path: Path, url: str) -> str:
    """A recording of a sensor with this URL."""
    path = tmp_path / "it.jsonl"
    path.write_text(json.dumps({"format": "meterlink recording", "version": 1, "url": url}) + "\n", "ascii")
    return f"file:{path}"


@pytest.mark.parametrize(
    ("url", "dialect"),
    [
        ("serial:/dev/ttyUSB0?dialect=lux-lines", "lux-lines"),
        ("ble:C0:FF:EE:00:00:01", "bluetooth"),
        ("ble:C0:FF:EE:00:00:01?dialect=json-lines", "bluetooth"),
        ("serial:/dev/ttyUSB0", None),
        ("serial:/dev/ttyUSB0?dialect=meterlink-1", None),
        ("socket://host:1?dialect=senml", "senml"),
        ("sim:", None),
        ("file:/no/such/file", None),
    ],
)
def test_decoder_of_a_url(url: str, dialect: str | None) -> None:
    """The dialect in the URL, the one that Bluetooth finds out, or our own."""
    decoder = decoder_for(url)
    assert (decoder.dialect if decoder else None) == dialect


@pytest.mark.parametrize(
    ("url", "dialect"),
    [("ble:C0:FF:EE:00:00:01", "bluetooth"), ("serial:COM3?dialect=senml", "senml"), ("serial:COM3", None), ("x", None)],
)
def test_a_recording_is_decoded_as_its_sensor(tmp_path: Path, url: str, dialect: str | None) -> None:
    """The URL in the header decides, unless another dialect is named."""
    file = recording(tmp_path, url)
    decoder = decoder_for(file)
    assert (decoder.dialect if decoder else None) == dialect
    assert decoder_for(f"{file}?dialect=csv-plain").dialect == "csv-plain"  # type: ignore[union-attr]


def test_sensor_of_lines_is_known_by_its_adapter(listed: Callable[[list[Port]], None]) -> None:
    """The adapter's serial number is who it is, also when the port has another name."""
    url = "serial:/dev/ttyUSB0?baud=9600&dialect=lux-lines"
    decoder = decoder_for(url)
    assert decoder is not None
    who = decoder.feed(b"\n1 lx\n", 0.0)[0]
    assert isinstance(who, Identity)
    assert who.sensor_id == "lux-lines@A17"
    assert adapter_of(url) == "A17"
    moved = [Port("/dev/ttyUSB7", "adapter", "A17"), PORTS[1]]
    listed(moved)
    assert moved_to(url, "A17") == "serial:/dev/ttyUSB7?baud=9600&dialect=lux-lines"
    listed(PORTS[1:])
    assert moved_to(url, "A17") is None
    assert moved_to(url, "") is None


def test_adapter_without_a_number() -> None:
    """Without a serial number the port's name has to do."""
    decoder = decoder_for("serial:/dev/ttyS0?dialect=lux-lines")
    assert decoder is not None
    assert decoder.feed(b"\n1 lx\n", 0.0)[0].sensor_id == "lux-lines@/dev/ttyS0"  # type: ignore[union-attr]
    assert adapter_of("ble:C0:FF:EE:00:00:01") == adapter_of("socket://h:1") == ""


def test_settings_come_with_the_dialect() -> None:
    """A port is opened as its dialect wants it; what names none stays as it is."""
    assert complete_url("serial:COM3?dialect=fc-comma").startswith("serial:COM3?baud=2400&data_bits=7&parity=even")
    assert complete_url("serial:COM3") == "serial:COM3"
    assert dialect_of("serial:COM3?dialect=meterlink-1") == ""
    with pytest.raises(DialectError, match="no dialect 'nonsense'"):
        complete_url("serial:COM3?dialect=nonsense")


def test_a_watched_sensor_of_lines_is_opened_with_its_settings(tmp_path: Path) -> None:
    """The link that a session opens has the speed and coding of the dialect, and looks for the adapter when lost."""
    from meterlink.library.store import Library
    from meterlink.metering.sensor_in_use import SensorInUse

    with Library.open(tmp_path / "library.sqlite") as library:
        link = SensorInUse(library, "serial:COM3?dialect=fc-comma").sensor.link
    assert link.url == "serial:COM3?baud=2400&data_bits=7&parity=even&dialect=fc-comma"
