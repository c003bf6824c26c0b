"""The judged set: every light with the reading that counts and what it is worth, and what all readings say of each other.

``judge_set`` (in ``meterlink.judging.judge``) makes it, once, from records and everything that is known beside them.  Tables,
checks, sentences, targets, match, sheet and app read this one object and judge nothing again, so that the light that one of
them blames is the light that all of them blame, by the same amount.
"""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from meterlink.judging.evidence import Suspect, Weighing
from meterlink.judging.next_pop import NextPop
from meterlink.judging.prediction import Past, Prediction
from meterlink.judging.verdict import EXPECTED, Judged
from meterlink.records import Calibration, Light, Placement, Reading, Settings, Setup
from meterlink.words.told import NOTHING, Told


class LightState(NamedTuple):
    """A light as it stands now."""

    light: Light
    placement: Placement | None
    reading: Reading | None
    """The reading that counts; for a reflector a reading whose value is the difference of two pops."""
    judged: Judged | None
    stale: Reading | None = None
    """The last reading of an older placement, when there is no current one."""
    stale_why: Told = NOTHING
    to_do: Told = NOTHING
    """What to do to get a reading, when there is none."""

    @property
    def stale_reason(self) -> str:
        """Why the last reading no longer stands, in words."""
        return str(self.stale_why)

    @property
    def missing(self) -> str:
        """What to do to get a reading, in words."""
        return str(self.to_do)

    @property
    def value(self) -> float | None:
        """Light at the point after correction (lx·s for flash, lx for steady light); None without a reading."""
        return None if self.judged is None else self.judged.corrected

    @property
    def expected(self) -> bool:
        """Whether the value is what is to be expected after a small turn that was told and made, not metered since."""
        return self.judged is not None and self.judged.verdict == EXPECTED


class SumCheck(NamedTuple):
    """What the pops of several lights, predictions and repeats say together; ``refusal`` says why there is no sum."""

    residual_stops: float | None
    """log2(measured / sum of the parts): negative when the parts claim more than there is."""
    u_stops: float
    weighing: Weighing | None
    next: NextPop | None
    names: dict[str, str]
    """Names of the lights by id."""
    fired: tuple[str, ...] = ()
    """Ids of the lights that were added up."""
    unread: tuple[str, ...] = ()
    """Ids of lights that fired with them and could not be: what they gave comes on top."""
    refusal: Told = NOTHING

    @property
    def alarm(self) -> bool:
        """Whether something is probably wrong."""
        return self.weighing is not None and self.weighing.alarm

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Suspects, most probable first."""
        return self.weighing.suspects if self.weighing else ()

    @property
    def blamed(self) -> Suspect | None:
        """The one that is most probably wrong, when something is (``light_id`` None: the pop of all lights itself)."""
        return self.suspects[0] if self.alarm and self.suspects else None

    @property
    def by_sum(self) -> bool:
        """Whether a pop of several lights has a part in what is suspected first: that pop itself, or a light that fired in it."""
        first = next((one.light_id for one in self.suspects), "")
        return self.residual_stops is not None and (first is None or first in self.fired)


class JudgedSet(NamedTuple):
    """Everything that tables and checks need, and nothing that they could change."""

    setup: Setup
    settings: Settings
    lights: tuple[LightState, ...]
    readings: tuple[Reading, ...]
    """All effective readings of the set-up, oldest first."""
    calibrations: Mapping[str, Calibration]
    falloffs: Mapping[str, Any] = {}
    """Measured falloff by name of the modifier."""
    damaged_falloffs: tuple[str, ...] = ()
    """Modifiers of the set of which a stored falloff cannot be read."""
    history: tuple[Past, ...] = ()
    """What fixtures gave in this and in earlier sets."""
    powers: Mapping[str, set[float]] = {}
    """The powers that heads stood at before, in stops from full, by the head's name and by the light's id."""
    earlier: tuple[Reading, ...] = ()
    """Readings that a retake superseded: they speak for or against the ones that count."""
    doubted: frozenset[str] = frozenset()
    """Ids of readings that the pop of all lights spoke against while they stood, and that were not borne out since."""
    predictions: Mapping[str, Prediction] = {}
    """Light id -> what it should give by its history."""
    check: SumCheck = SumCheck(None, 0.0, None, None, {})
    swap: tuple[str, str] | None = None
    """Two lights whose last pops were most probably logged the wrong way round: both readings are retakes."""
    waves: Callable[[str], Any] | None = None
    """Reading id -> (times in s, light in lx) of its kept waveform, or None; absent where nobody needs waveforms."""

    def state(self, light_id: str | None) -> LightState | None:
        """Return the state of one light, None when it is not in the set."""
        return next((s for s in self.lights if s.light.id == light_id), None)

    @property
    def key(self) -> LightState | None:
        """The key light: the first with that role."""
        return next((s for s in self.lights if s.light.role == "key"), None)

    @property
    def blamed(self) -> Suspect | None:
        """The reading that is most probably wrong, when something is; table, checks, sentences and match all name this one."""
        return self.check.blamed

    def falloff(self, light: Light) -> Any:
        """Measured falloff of a light's modifier, None where there is none."""
        return self.falloffs.get(light.modifier) if light.modifier else None


def value_of(reading: Reading) -> float | None:
    """Light at the dome as read: lx·s of a flash, lx of steady light."""
    return reading.exposure_lxs if reading.kind == "flash" else reading.illuminance_lx
