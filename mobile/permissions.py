"""What Android has to be asked before Bluetooth may be used: SCAN and CONNECT, and never the phone's location.

The Bluetooth library's Android part asks for the location by itself before it scans (as older Androids need).  This app
declares that it derives no location (``neverForLocation`` in ``buildozer.spec``), so that question is answered here instead.
Tested against a stand-in of ``android.permissions``; never run on a phone.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Sequence
from typing import Any

from meterlink.errors import LinkError
from mobile.texts import t

WANTED = ("android.permission.BLUETOOTH_SCAN", "android.permission.BLUETOOTH_CONNECT")
"""Asked for on Android 12 (API 31) and later; before, the system grants what the manifest declares at installation."""
FIRST_API = 31
LOCATION = "LOCATION"

Answer = Callable[[Sequence[str], Sequence[bool]], None]


def on_android() -> bool:
    """Whether this runs in an app built by python-for-android."""
    return "ANDROID_ARGUMENT" in os.environ


async def ask(permissions: Any = None, api: int | None = None) -> None:
    """Ask for what Bluetooth needs; at once when it was granted before.  ``permissions`` is for tests.

    Raises LinkError when the person says no.
    """
    if permissions is None:
        if not on_android():
            return
        from android import api_version, permissions  # type: ignore[import-not-found,no-redef]

        api = api_version
        keep_location_out()
    if api is not None and api < FIRST_API:
        return
    missing = [one for one in WANTED if not permissions.check_permission(one)]
    if not missing:
        return
    loop = asyncio.get_running_loop()
    answered: asyncio.Future[bool] = loop.create_future()

    def answer(_names: Sequence[str], granted: Sequence[bool]) -> None:
        # Comes on Android's own thread, and an empty list when the question was interrupted.
        loop.call_soon_threadsafe(answered.set_result, bool(granted) and all(granted))

    permissions.request_permissions(missing, answer)
    if not await answered:
        raise LinkError(t("sensors.no_permission"), "ble:")


def without_location(request: Callable[[list[str], Answer], None]) -> Callable[[list[str], Answer], None]:
    """Return ``request_permissions`` that never asks for the location and answers such a question with yes."""

    def filtered(names: list[str], answer: Answer) -> None:
        rest = [name for name in names if LOCATION not in name]
        if rest:
            request(rest, answer)
        else:
            answer(names, [True] * len(names))

    return filtered


def keep_location_out(scanner: Any = None) -> None:
    """Put the filter in front of the Bluetooth library's own question, once."""
    if scanner is None:
        from bleak.backends.p4android import scanner
    if not hasattr(scanner.request_permissions, "filtered"):
        scanner.request_permissions = without_location(scanner.request_permissions)
        scanner.request_permissions.filtered = True
