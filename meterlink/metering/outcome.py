"""What became of one measurement: a kind, a code with its numbers, and what there is to say of it.

Programs look at ``kind`` and ``code``; nobody reads the sentence but people.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple

from meterlink.judging.judged_set import LightState
from meterlink.metering.walk import Request
from meterlink.records import Light, Measurement, Reading, Trouble
from meterlink.words.actions import Do
from meterlink.words.told import Told, told


class OutcomeKind(StrEnum):
    """Whether a measurement counted."""

    LOGGED = "logged"
    AGAIN = "again"
    """The same light is still waited for."""
    IGNORED = "ignored"


class OutcomeCode(StrEnum):
    """Why, where it is not the trouble that the measurement itself has."""

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


Code = OutcomeCode | Trouble


class Outcome(NamedTuple):
    """What became of one measurement."""

    kind: OutcomeKind
    said: Told
    """What there is to say to the photographer."""
    light: Light | None = None
    reading: Reading | None = None
    state: LightState | None = None
    """The light after this reading, judged."""
    cautions: tuple[Told, ...] = ()
    waiting: Request | None = None
    """What the next pop belongs to; None when the walk is over."""
    code: Code = OutcomeCode.LOGGED
    numbers: dict[str, Any] = {}  # noqa: RUF012 - never changed
    """What the sentence is made of: ``times`` a refusal came in a row, ``gap_s``, ``pop`` and ``pops`` of a reading; in any order
    ``odds`` that it is this light's, the ``second`` (an id) when they are short, ``put_right`` pairs of ids."""

    @property
    def message(self) -> str:
        """One sentence for the photographer, for the place and in the language in use."""
        return str(self.said)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What else looks wrong, in words."""
        return tuple(str(one) for one in self.cautions)


def refusal_code(m: Measurement) -> Code | None:
    """Return why the figures of a measurement cannot be logged; None when they can."""
    if m.incomplete:
        return m.trouble or Trouble.LOST_DATA
    if m.clipped:
        return OutcomeCode.TOO_BRIGHT
    return OutcomeCode.TOO_DIM if m.too_dim else None


NOTED = frozenset({Trouble.UNCALIBRATED, Trouble.CANNOT_TELL, Trouble.UNREADABLE, OutcomeCode.TOO_BRIGHT, OutcomeCode.TOO_DIM})
"""Refusals whose measurement says itself what is the matter (which range it is on now), where it does."""


def refusal(code: Code, light: object, note: object, times: int) -> Told:
    """Return why a pop was not logged and, from the second time in a row, what else to do (the phrase ``CODE_else``)."""
    phrase = "too_dim_again" if code == OutcomeCode.TOO_DIM else code.value
    reason = told("note", note=note) if note and code in NOTED else told(phrase, light=light)
    if times < 2:
        return reason
    return told("refused_twice", reason=reason, otherwise=told(f"{code}_else", light=light, do=Do("calibrate")))
