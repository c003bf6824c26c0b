"""Two flashes of one press: which of them is the light.  Pure decisions.

A camera fires a metering pre-flash, or a burst against red eyes, before the flash that makes the picture; a head may pop twice.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from meterlink.metering.outcome import Code
from meterlink.metering.walk import Request

CLEARLY_STRONGER_STOPS = 0.5
"""The later of two flashes is the light, and the earlier a pre-flash, when it is stronger by this."""
ALIKE_STOPS = 0.15
"""Two flashes nearer to each other than this say the same: the second is a stray and changes nothing."""
PRE_FLASH_S = 0.25
"""Nobody presses twice so soon; a camera fires its metering pre-flash 60 to 120 ms ahead (common practice, no published source)."""


class Follower(StrEnum):
    """What a flash is that comes soon after a logged one."""

    STRAY = "stray"
    """A double pop or a glitch: the first one stands."""
    LIGHT = "light"
    """The first one was a pre-flash."""
    UNCLEAR = "unclear"


class Refused(NamedTuple):
    """The refusals in a row: of which request, why, how many."""

    request: Request | None = None
    code: Code | None = None
    times: int = 0


NEVER_REFUSED = Refused()


class LastFlash(NamedTuple):
    """The last flash that was logged."""

    at_s: float
    seen_s: float
    """When the last one came that belongs to it: a burst against red eyes goes on for half a second."""
    exposure_lxs: float
    reading_id: str
    request: Request
    refused: Refused = NEVER_REFUSED
    """What had been refused in a row before it: the row goes on where it is taken back."""


def follower(since_last_seen_s: float, stops: float | None) -> Follower:
    """Return what a flash is that is ``stops`` stronger than the logged one and came so long after the last of its press.

    None: it cannot be read.  Then it was the light if it came as soon as the light does after a pre-flash, else somebody else's.
    """
    soon = since_last_seen_s < PRE_FLASH_S
    if stops is None:
        return Follower.UNCLEAR if soon else Follower.STRAY
    if soon and stops >= CLEARLY_STRONGER_STOPS:
        return Follower.LIGHT
    if stops > ALIKE_STOPS or (soon and -CLEARLY_STRONGER_STOPS < stops < -ALIKE_STOPS):
        return Follower.UNCLEAR
    return Follower.STRAY
