"""UUIDs of sensors over Bluetooth LE (``shared/wire/ble-v1.md``)."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.words.language import say

NATIVE_SERVICE = "ded30001-ec13-4504-baae-27cc2e3d87d8"
NATIVE_TO_SENSOR = "ded30002-ec13-4504-baae-27cc2e3d87d8"
NATIVE_FROM_SENSOR = "ded30003-ec13-4504-baae-27cc2e3d87d8"
TEXT_SERVICE = "ded30011-ec13-4504-baae-27cc2e3d87d8"
TEXT_TO_SENSOR = "ded30012-ec13-4504-baae-27cc2e3d87d8"
TEXT_FROM_SENSOR = "ded30013-ec13-4504-baae-27cc2e3d87d8"

_BASE = "-0000-1000-8000-00805f9b34fb"
"""Bluetooth base UUID: 16-bit UUIDs stand for 0000xxxx in front of it (Bluetooth Core, Vol 3 Part B 2.5.1)."""


def full(short: str) -> str:
    """Return the 128-bit form of a 16-bit UUID given as four hex digits."""
    return f"0000{short.lower()}{_BASE}"


def short(uuid: str) -> str:
    """Return the four hex digits, upper case, of a UUID on the Bluetooth base; other UUIDs come back as they are."""
    uuid = uuid.lower()
    return uuid[4:8].upper() if uuid.startswith("0000") and uuid.endswith(_BASE) and len(uuid) == 36 else uuid


ENVIRONMENTAL_SENSING = full("181A")
ILLUMINANCE = "2AFB"
ILLUMINANCE_16 = "2C1C"
BATTERY_LEVEL = "2A19"
LIGHT = (ILLUMINANCE, ILLUMINANCE_16)
COLOUR = ("2AE9", "2AE4", "2AE3", "2AE5")
DEVICE_INFORMATION = ("2A29", "2A24", "2A25", "2A26")


def what_it_is(services: Iterable[str]) -> str:
    """Return in words what the advertised services promise, ``""`` when none of them is one of ours."""
    known = {uuid.lower() for uuid in services}
    if NATIVE_SERVICE in known:
        return say("meterlink sensor")
    if TEXT_SERVICE in known:
        return say("light sensor sending text")
    if ENVIRONMENTAL_SENSING in known:
        return say("environmental sensor, maybe with light")
    return ""
