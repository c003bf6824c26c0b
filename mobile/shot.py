"""The snapshot that all pages show: made anew by the desk after every change, never changed itself.  No kivy."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.checks.findings import Finding
from meterlink.judging.judged_set import JudgedSet
from meterlink.metering.outcome import Outcome
from meterlink.metering.walk import Request
from meterlink.records import Light, Reading, Setup, WaveBlock
from meterlink.tables.match import MatchReport
from meterlink.tables.ratios import RatioTable
from mobile.prefs import Prefs


class Recalled(NamedTuple):
    """How far off its point the dome is taken to be for a pop to come, because it was so before."""

    light_id: str
    held_off_m: float
    since: str
    """``pop``: as at the light's last pop; ``stored``: as in the set that is matched; ``said``: as was said for a pop before."""
    can_change: bool
    """False between the pops of one reading, which are all taken the same way."""


class Shot(NamedTuple):
    """The set as it is now; replaced whole, never changed."""

    setup: Setup | None = None
    view: JudgedSet | None = None
    table: RatioTable | None = None
    requests: tuple[Request, ...] = ()
    position: int = 0
    last: Reading | None = None
    """The last reading that counts."""
    wave: WaveBlock | None = None
    """Its waveform, when it was kept."""
    outcome: Outcome | None = None
    """What became of the last measurement since the app was started."""
    held: tuple[tuple[str, float | None], ...] = ()
    """(light id, how far the dome is held off) for the lights of the set; None is not given."""
    limits: tuple[tuple[str, float], ...] = ()
    """(light id, metres that the dome may be off for a tenth of a stop)."""
    usable: tuple[tuple[str, float], ...] = ()
    """(light id, metres that the dome may be off for a third of a stop): beyond it is a retake."""
    findings: tuple[Finding, ...] = ()
    findings_error: str = ""
    answers: tuple[Finding, ...] = ()
    """What the checks looked at and found well, each with its number."""
    prefs: Prefs = Prefs()
    stored: JudgedSet | None = None
    """The set-up that this one is to match."""
    match: MatchReport | None = None
    held_id: str = ""
    """The light that a held-off distance said now belongs to: the last pop's until the next one comes."""

    free: tuple[str, ...] = ()
    """Ids of the lights whose pop may come next: several where any order will do."""
    before: tuple[str, ...] = ()
    """What is to be known before the first pop of a walk in any order."""
    to_change: str = ""
    """What is to be turned at the light that waits before it is fired: the second round of a match takes it as done."""

    recalled: tuple[Recalled, ...] = ()
    """Distances of the lights that may fire next which nobody said for this pop: remembered, until one says otherwise."""

    @property
    def any_order(self) -> bool:
        """Whether more than one light may fire next."""
        return len(self.free) > 1

    @property
    def waiting(self) -> Request | None:
        """What the next pop belongs to."""
        return self.requests[self.position] if self.position < len(self.requests) else None

    @property
    def following(self) -> Request | None:
        """What comes after it."""
        after = self.position + 1
        return self.requests[after] if after < len(self.requests) else None

    @property
    def done(self) -> bool:
        """A walk was begun and is over."""
        return bool(self.requests) and self.waiting is None

    def light(self, light_id: str | None) -> Light | None:
        """A light of the set by its id."""
        state = self.view.state(light_id) if self.view and light_id else None
        return state.light if state else None

    @property
    def lights(self) -> tuple[Light, ...]:
        """Lights of the set in their order."""
        return tuple(state.light for state in self.view.lights) if self.view else ()
