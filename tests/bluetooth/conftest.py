"""The simulated air for tests of this folder; other folders import ``bluetooth_air`` from ``bluez_fixtures``."""

from bluez_fixtures import bluetooth_air, make_air

__all__ = ["bluetooth_air", "make_air"]
