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


class RangerState(StrEnum):
    """What a range finder says of one of its measurements; anything but ``good`` has no distance."""

    GOOD = "good"
    NOTHING = "nothing"
    """Nothing in its cone."""
    WEAK = "weak"
    BRIGHT = "bright"
    """Too much other light."""
    AMBIGUOUS = "ambiguous"
    """It may be something farther away."""
    SILENT = "silent"
    """The finder does not answer."""
    OTHER = "other"
    """What a later version may say."""


class Trouble(StrEnum):
    """Why the figures of a pop cannot be trusted."""

    LOST_DATA = "lost_data"
    """Its data did not arrive whole."""
    TOO_EARLY = "too_early"
    """It came before the sensor had said who it is."""
    UNCALIBRATED = "uncalibrated"
    """The calibration does not have the range that was used."""
    TOO_LONG = "too_long"
    """The light was still falling when the memory was full."""
    CUT_SHORT = "cut_short"
    """A part of the pop is missing: the record begins inside it, or is shorter than the sensor's memory and ends inside it."""
    LAMP = "lamp"
    """Light rose and stayed: a lamp was switched on, or a flash far longer than the record."""
    NO_FLASH = "no_flash"
    """Nothing stands out of the room's light."""
    TWO_FLASHES = "two_flashes"
    """Two flashes alike in one record: two heads fired together?"""
    WHICH_FLASH = "which_flash"
    """Several flashes in one record, and none is clearly the one that belongs to the exposure."""
    CANNOT_TELL = "cannot_tell"
    """Something flickers or pulses, and whether it is a flash cannot be told from these samples."""
    UNREADABLE = "unreadable"
    """Its samples contradict themselves: beyond their own full scale, far below dark."""
