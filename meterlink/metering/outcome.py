"""What became of one measurement: a kind, a code with its numbers, and the sentence for the photographer.

Programs look at ``kind`` and ``code``; nobody reads the sentence but people.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple

from meterlink.judging.judged_set import LightState
from meterlink.metering.walk import Request
from meterlink.records import Light, Measurement, Reading, Trouble


class OutcomeKind(StrEnum):
    """Whether a measurement counted."""

    LOGGED = "logged"
    AGAIN = "again"
    """The same light is still waited for."""
    IGNORED = "ignored"


class OutcomeCode(StrEnum):
    """Why."""

    LOGGED = "logged"
    NOT_LISTENING = "not_listening"
    """Nothing is waited for."""
    OTHER_KIND = "other_kind"
    """A pop while steady light is waited for, or the other way round."""
    FITS_NONE = "fits_none"
    """In any order: no light of the walk gives such a pop."""
    STRAY = "stray"
    """Too soon after the last one."""
    TOO_BRIGHT = "too_bright"
    TOO_DIM = "too_dim"
    LOST_DATA = "lost_data"
    TOO_EARLY = "too_early"
    UNCALIBRATED = "uncalibrated"
    TOO_LONG = "too_long"
    CUT_SHORT = "cut_short"
    LAMP = "lamp"
    NO_FLASH = "no_flash"
    TWO_FLASHES = "two_flashes"
    WHICH_FLASH = "which_flash"
    CANNOT_TELL = "cannot_tell"
    UNREADABLE = "unreadable"


class Outcome(NamedTuple):
    """What became of one measurement."""

    kind: OutcomeKind
    message: str
    """One sentence for the photographer."""
    light: Light | None = None
    reading: Reading | None = None
    state: LightState | None = None
    """The light after this reading, judged."""
    warnings: tuple[str, ...] = ()
    waiting: Request | None = None
    """What the next pop belongs to; None when the walk is over."""
    code: OutcomeCode = OutcomeCode.LOGGED
    numbers: dict[str, Any] = {}  # noqa: RUF012 - never changed
    """What the sentence is made of: ``times`` a refusal came in a row, ``gap_s``, ``pop`` and ``pops`` of a reading; in any order
    ``odds`` that it is this light's, the ``second`` (an id) when they are short, ``put_right`` pairs of ids."""


def refusal_code(m: Measurement) -> OutcomeCode | None:
    """Return why the figures of a measurement cannot be logged; None when they can."""
    if m.incomplete:
        return OutcomeCode(m.trouble or Trouble.LOST_DATA)
    if m.clipped:
        return OutcomeCode.TOO_BRIGHT
    return OutcomeCode.TOO_DIM if m.too_dim else None


REASONS = {
    OutcomeCode.LOST_DATA: ("the pop arrived damaged: fire {name} once more", "check the cable, or bring the sensor nearer"),
    OutcomeCode.TOO_EARLY: (
        "the pop came before the sensor had said who it is: fire {name} once more",
        "wait until the sensor is ready",
    ),
    OutcomeCode.UNCALIBRATED: ("{note}", "calibrate this sensor on all of its ranges"),
    OutcomeCode.TOO_LONG: (
        "the light had not fallen back when the sensor's memory was full: fire {name} once more",
        "it needs a longer record or slower sampling; if {name} is a lamp and no flash, take steady light",
    ),
    OutcomeCode.CUT_SHORT: (
        "a part of the pop is missing in the record: fire {name} once more",
        "hold the dome still and its cable away from the head's; slower sampling makes a longer record",
    ),
    OutcomeCode.LAMP: (
        "the light rose and stayed, as when a lamp is switched on: fire {name} once more",
        "if {name} is a lamp and no flash, take steady light; for a very long flash, slower sampling",
    ),
    OutcomeCode.NO_FLASH: (
        "no flash stands out of the room's light: fire {name} once more",
        "darken the room, raise the power or hold the dome nearer",
    ),
    OutcomeCode.TWO_FLASHES: (
        "two flashes alike in one record, two heads fired together? fire {name} alone once more",
        "switch the slave cells of the other heads off; to meter all of them, use the pop of all lights",
    ),
    OutcomeCode.WHICH_FLASH: (
        "several flashes in one record, and which of them is {name}'s cannot be told: fire it once more",
        "switch pre-flash, red-eye reduction and the other heads off",
    ),
    OutcomeCode.CANNOT_TELL: ("{note}", "fire {name} in the middle of a quiet second, or switch flickering lamps off"),
    OutcomeCode.UNREADABLE: ("{note}", "if it comes again, calibrate the sensor or fire at a higher power"),
    OutcomeCode.TOO_BRIGHT: ("{note}", "lower the power, or hold the dome farther away"),
    OutcomeCode.TOO_DIM: ("{note}", "raise the power, or hold the dome nearer"),
}
"""A refusal's reason, and what else to do when it comes twice in a row."""
WITHOUT_NOTE = {
    OutcomeCode.TOO_BRIGHT: "too bright for this range: one more pop of {name}, please",
    OutcomeCode.TOO_DIM: "too dim for this range: one more pop of {name}, please",
    OutcomeCode.UNCALIBRATED: "the calibration has no such range",
    OutcomeCode.CANNOT_TELL: "whether this was a flash cannot be told: fire {name} once more",
    OutcomeCode.UNREADABLE: "nothing follows from this pop: fire {name} once more",
}


def refusal_sentence(code: OutcomeCode, name: str, note: str, times: int) -> str:
    """Return why a pop was not logged and, from the second time in a row, what else to do."""
    reason, otherwise = REASONS[code]
    if reason == "{note}" and not note:
        reason = WITHOUT_NOTE[code]
    said = reason.format(name=name, note=note)
    return said if times < 2 else f"{said}; {otherwise.format(name=name)}"
