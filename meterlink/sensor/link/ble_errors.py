"""What Bluetooth says when it does not work, as one line that says what to do on this platform."""

from __future__ import annotations

import sys

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound
from meterlink.words.language import marked, say

_NO_ADAPTER = {
    "linux": marked("no Bluetooth adapter: plug one in, or unblock it with 'rfkill unblock bluetooth'"),
    "darwin": marked("this Mac has no Bluetooth that can be used: check System Settings > Bluetooth"),
    "win32": marked("no Bluetooth adapter: plug one in, or enable it in the Device Manager"),
    "android": marked("this phone has no Bluetooth LE: use a sensor on a cable at a computer"),
}
_OFF = {
    "linux": marked("Bluetooth is switched off: turn it on in the system's settings or with 'bluetoothctl power on'"),
    "darwin": marked("Bluetooth is switched off: turn it on in the Control Centre"),
    "win32": marked("Bluetooth is switched off: turn it on under Settings > Bluetooth & devices"),
    "android": marked("Bluetooth is switched off: turn it on in the quick settings"),
}
_DENIED = {
    "linux": marked("you may not use Bluetooth: run 'sudo usermod -aG bluetooth $USER', log out and in again"),
    "darwin": marked("Bluetooth is not allowed for this program: allow it in System Settings > Privacy & Security"),
    "win32": marked("Bluetooth is not allowed for this program: allow it under Settings > Privacy & security > Radios"),
    "android": marked("Bluetooth is not allowed for this app: allow 'Nearby devices' in the app's permissions"),
}
_NO_SERVICE = {"linux": marked("the Bluetooth service is not running: start it with 'sudo systemctl enable --now bluetooth'")}
_NO_LIBRARY = marked("Bluetooth needs the package bleak: install it with 'pip install bleak'")
NOT_HEARD = marked("is not heard: switch it on, come nearer, and see that no other phone or computer is connected to it")


def platform() -> str:
    """Return ``linux``, ``darwin``, ``win32`` or ``android``."""
    if sys.platform == "android" or hasattr(sys, "getandroidapilevel"):
        return "android"
    return sys.platform


def _line(table: dict[str, str], system: str) -> str:
    return table.get(system, table["linux"])


def explain(error: BaseException, url: str, system: str = "", *, open_link: bool = False) -> LinkError:
    """Return the error of ours for what bleak or the system raised.

    ``open_link`` is True when the sensor had been connected: then whatever has no better name is a loss.
    """
    if isinstance(error, LinkError):
        return error
    system = system or platform()
    if isinstance(error, ImportError):
        return LinkError(_NO_LIBRARY, url)
    found = _unavailable(error, url, system) or _by_dbus_name(error, url, system, open_link)
    if found is not None:
        return found
    name = type(error).__name__
    if name == "BleakDeviceNotFoundError":
        return LinkNotFound("{url} {not_heard}", url=url, not_heard=say(NOT_HEARD))
    if isinstance(error, TimeoutError):
        if open_link:
            return LinkLost("{url} no longer answers: come nearer or switch the sensor off and on", url=url)
        return LinkNotFound("{url} does not answer: come nearer, or switch the sensor off and on", url=url)
    if isinstance(error, FileNotFoundError | ConnectionRefusedError) and system == "linux":
        return LinkError(
            "{no_service} (the system's message bus cannot be reached)", url, no_service=say(_line(_NO_SERVICE, system)),
        )
    if isinstance(error, PermissionError):
        return LinkError(_line(_DENIED, system), url)
    text = _plain(error)
    if open_link or "not connected" in text.lower() or "disconnected" in text.lower():
        return LinkLost("{url} is gone ({typed}): come nearer or switch the sensor off and on", url=url, typed=text)
    if "not found" in text.lower() or "removed" in text.lower():
        return LinkNotFound("{url} {not_heard}", url=url, not_heard=say(NOT_HEARD))
    return LinkError("{url} cannot be connected ({typed}): switch the sensor off and on and try again", url=url, typed=text)


def _unavailable(error: BaseException, url: str, system: str) -> LinkError | None:
    """Bluetooth itself cannot be used: bleak's reason."""
    reason = getattr(getattr(error, "reason", None), "name", "")
    if type(error).__name__ != "BleakBluetoothNotAvailableError":
        return None
    if reason in ("NO_BLUETOOTH", "NO_BLE_CENTRAL_ROLE"):
        return LinkError(_line(_NO_ADAPTER, system), url)
    if reason == "POWERED_OFF":
        return LinkError(_line(_OFF, system), url)
    if reason.startswith("DENIED"):
        return LinkError(_line(_DENIED, system), url)
    return LinkError("Bluetooth cannot be used ({error}): switch it off and on", url, error=_plain(error))


def _by_dbus_name(error: BaseException, url: str, system: str, open_link: bool) -> LinkError | None:
    """Errors of the Linux Bluetooth service, by their D-Bus names."""
    name = str(getattr(error, "dbus_error", "") or "")
    last = name.rpartition(".")[2]
    text = _plain(error)
    if not name:
        return None
    if last in ("ServiceUnknown", "NameHasNoOwner") or ".Spawn." in name:
        return LinkError(_line(_NO_SERVICE, system), url)
    if last == "AccessDenied":
        return LinkError(_line(_DENIED, system), url)
    if last == "NotReady":
        return LinkError(_line(_OFF, system), url)
    if last in ("UnknownObject", "DoesNotExist"):
        if open_link:
            return LinkLost("{url} is gone: come nearer or switch the sensor off and on", url=url)
        return LinkNotFound("{url} {not_heard}", url=url, not_heard=say(NOT_HEARD))
    if last == "InProgress":
        return LinkBusy("{url} is being connected by another program: close that one and try again", url=url)
    if last in ("NotAuthorized", "AuthenticationFailed", "NotPermitted"):
        return LinkError("{url} wants to be paired: pair it in the system's Bluetooth settings, then try again", url=url)
    if open_link:
        return LinkLost("{url} is gone ({typed}): come nearer or switch the sensor off and on", url=url, typed=text)
    if "busy" in text.lower() or "limit" in text.lower():
        return LinkBusy("{url} is connected to another phone or computer: disconnect it there", url=url)
    return LinkError("{url} cannot be connected ({typed}): come nearer, or switch the sensor off and on", url=url, typed=text)


def _plain(error: BaseException) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return "".join(sign for sign in text if sign.isprintable())[:120]
