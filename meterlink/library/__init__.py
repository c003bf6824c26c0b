"""The SQLite store of set-ups, lights, placements, calibrations and readings."""

from __future__ import annotations

from meterlink.library.store import Library

__all__ = ["Library"]
