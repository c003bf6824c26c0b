"""Fixtures: ``bluetooth_air`` is a running stand-in that this process and its subprocesses take for the system's."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator

import pytest
from private_bus import missing


@pytest.fixture
def make_air(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., object]]:
    """Start stand-ins with options (no adapter, switched off, no service, no permission)."""
    if why := missing():
        pytest.skip(why)
    pytest.importorskip("bleak", reason="Bluetooth needs the package bleak")
    from bluez_standin import Standin

    # bleak warns once that the program bluetoothctl is not here: neither is bluetoothd.
    logging.getLogger("bleak.backends.bluezdbus.version").setLevel(logging.ERROR)
    running: list[Standin] = []

    def start(**options: bool) -> Standin:
        air = Standin(**options)
        running.append(air)
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", air.environment["DBUS_SYSTEM_BUS_ADDRESS"])
        return air

    yield start
    for air in running:
        air.stop()


@pytest.fixture
def bluetooth_air(make_air: Callable[..., object]) -> object:
    """A stand-in with a working adapter and nothing on the air yet."""
    return make_air()
