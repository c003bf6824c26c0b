"""Kinds, as enumerations: their values are what libraries and JSON hold."""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    """What a reading is of."""

    FLASH = "flash"
    STEADY = "steady"


class Purpose(StrEnum):
    """What a reading is for."""

    ALONE = "alone"
    WITH = "with"
    """The source of a reflector with the reflector in place."""
    WITHOUT = "without"
    TOGETHER = "together"
    """Several lights fired at once."""
    ROOM = "room"


class Trouble(StrEnum):
    """Why the figures of a pop cannot be trusted."""

    LOST_DATA = "lost_data"
    """Its data did not arrive whole."""
    TOO_EARLY = "too_early"
    """It came before the sensor had said who it is."""
    CUT_SHORT = "cut_short"
    """The light had not fallen back when the memory was full."""
    NO_FLASH = "no_flash"
    """Light rose and stayed: a lamp was switched on, or the room changed."""
    UNREADABLE = "unreadable"
    """Nothing follows from its samples, or the calibration does not fit."""
