"""The SQLite store of set-ups, lights, placements, calibrations and readings."""

from meterlink.library.store import Library

__all__ = ["Library"]
