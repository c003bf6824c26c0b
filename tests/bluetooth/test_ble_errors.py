"""Bluetooth's troubles in one line that says what to do, on each platform; and nothing heavy where it is not used."""

from __future__ import annotations

import subprocess
import sys
from collections import deque

import pytest

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound
from meterlink.sensor.link.ble_air import pause_before_scan_s
from meterlink.sensor.link.ble_errors import explain
from meterlink.sensor.link.ble_uuids import ENVIRONMENTAL_SENSING, NATIVE_SERVICE, TEXT_SERVICE, full, short, what_it_is

exc = pytest.importorskip("bleak.exc", reason="Bluetooth needs the package bleak")
URL = "ble:C0:FF:EE:00:00:01"


@pytest.mark.parametrize("system", ["linux", "darwin", "win32", "android", "plan9"])
@pytest.mark.parametrize("reason", list(exc.BleakBluetoothNotAvailableReason))
def test_bluetooth_that_cannot_be_used(system: str, reason: object) -> None:
    """Every reason of bleak on every platform is one line with advice."""
    error = explain(exc.BleakBluetoothNotAvailableError("x", reason), URL, system)
    assert type(error) is LinkError
    assert "\n" not in str(error)
    assert ": " in str(error)


def test_advice_is_that_of_the_platform() -> None:
    """Each system has its own place to allow Bluetooth."""
    denied = exc.BleakBluetoothNotAvailableError("x", exc.BleakBluetoothNotAvailableReason.DENIED_BY_USER)
    lines = {system: str(explain(denied, URL, system)) for system in ("linux", "darwin", "win32", "android")}
    assert "usermod" in lines["linux"]
    assert "System Settings" in lines["darwin"]
    assert "Settings > Privacy" in lines["win32"]
    assert "Nearby devices" in lines["android"]


@pytest.mark.parametrize(
    ("error", "kind", "says"),
    [
        (exc.BleakDBusError("org.bluez.Error.NotReady", ["x"]), LinkError, "switched off"),
        (exc.BleakDBusError("org.bluez.Error.InProgress", ["x"]), LinkBusy, "another program"),
        (exc.BleakDBusError("org.bluez.Error.Failed", ["br-connection-busy"]), LinkBusy, "another phone"),
        (exc.BleakDBusError("org.bluez.Error.Failed", ["le-connection-abort"]), LinkError, "come nearer"),
        (exc.BleakDBusError("org.bluez.Error.NotAuthorized", ["x"]), LinkError, "pair it"),
        (exc.BleakDBusError("org.freedesktop.DBus.Error.UnknownObject", ["x"]), LinkNotFound, "not heard"),
        (exc.BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["x"]), LinkError, "not running"),
        (exc.BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", ["x"]), LinkError, "you may not"),
        (exc.BleakDeviceNotFoundError("A", "x"), LinkNotFound, "not heard"),
        (exc.BleakError("device 'dev_A' not found"), LinkNotFound, "not heard"),
        (exc.BleakError("Not connected"), LinkLost, "is gone"),
        (TimeoutError(), LinkNotFound, "does not answer"),
        (PermissionError(13, "denied"), LinkError, "may not"),
        (FileNotFoundError(2, "no socket"), LinkError, "not running"),
        (ImportError("bleak"), LinkError, "pip install bleak"),
        (RuntimeError("strange\nthing\x1b[31m"), LinkError, "switch the sensor off and on"),
    ],
)
def test_errors_while_connecting(error: Exception, kind: type[LinkError], says: str) -> None:
    """What bleak and Linux raise becomes the right kind of error, in printable words."""
    found = explain(error, URL, "linux")
    assert type(found) is kind
    assert says in str(found)
    assert str(found).isprintable()
    assert found.url == URL


def test_errors_of_an_open_link_are_losses() -> None:
    """Once connected, anything without a better name means that the sensor is gone."""
    for error in (TimeoutError(), exc.BleakError("x"), exc.BleakDBusError("org.bluez.Error.Failed", ["x"]), OSError()):
        assert type(explain(error, URL, "win32", open_link=True)) is LinkLost


def test_own_errors_pass_unchanged() -> None:
    """An error that is in words already stays."""
    error = LinkBusy("in words: do this", URL)
    assert explain(error, URL) is error


def test_uuids_have_their_short_form() -> None:
    """Bluetooth base UUID: 16 bits stand for 0000xxxx (Core specification, Vol 3 Part B 2.5.1)."""
    assert full("2AFB") == "00002afb-0000-1000-8000-00805f9b34fb"
    assert short("00002AFB-0000-1000-8000-00805F9B34FB") == "2AFB"
    assert short(NATIVE_SERVICE) == NATIVE_SERVICE


def test_what_a_device_is_by_what_it_advertises() -> None:
    """The most telling service names it."""
    assert what_it_is([ENVIRONMENTAL_SENSING, NATIVE_SERVICE.upper()]) == "meterlink sensor"
    assert what_it_is([TEXT_SERVICE]) == "light sensor sending text"
    assert what_it_is([full("180D")]) == ""


def test_android_is_not_asked_to_scan_too_often() -> None:
    """Four starts in 30 s are allowed, then it waits; other systems do not count."""
    starts = deque([100.0, 101.0, 102.0, 103.0], maxlen=4)
    assert pause_before_scan_s(starts, 110.0, "android") == 20.0
    assert pause_before_scan_s(starts, 140.0, "android") == 0.0
    assert pause_before_scan_s(deque([100.0], maxlen=4), 100.0, "android") == 0.0
    assert pause_before_scan_s(starts, 110.0, "linux") == 0.0


@pytest.mark.parametrize(
    ("module", "not_loaded"),
    [
        ("meterlink.sensor.link.ble", "bleak"),
        ("meterlink.sensor.link.ble_air", "bleak"),
        ("meterlink.sensor.dialects.dialect_file", "pymodbus"),
        ("meterlink.sensor.dialects.gatt", "bleak"),
        ("meterlink.sensor.probe", "pymodbus"),
    ],
)
def test_heavy_libraries_are_imported_only_when_used(module: str, not_loaded: str) -> None:
    """Importing our module does not import the library behind it."""
    code = f"import sys, {module}; sys.exit({not_loaded!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_missing_pymodbus_is_one_line() -> None:
    """Without the extra, a Modbus dialect says what to install; the other dialects work."""
    code = (
        "import sys; sys.modules['pymodbus'] = None\n"
        "from meterlink.errors import DialectError\n"
        "from meterlink.sensor.dialects.dialect_file import make_decoder\n"
        "make_decoder('lux-lines')\n"
        "try:\n    make_decoder('modbus-float')\n"
        "except DialectError as error:\n    print(error)\n"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert result.stdout == "Modbus needs the package pymodbus: in meterlink's own folder, pip install '.[modbus]'\n"
