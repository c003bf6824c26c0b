"""How near the dome is by its range finder: before a pop against the reach of the light, after it against what was typed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from math import hypot
from typing import NamedTuple

from meterlink.judging.reach import Reach, reach_of
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request
from meterlink.records import Measurement, Reading, Settings
from meterlink.sensor.measuring.ranger import Unknown
from meterlink.units import format_length
from meterlink.words.language import say
from meterlink.words.told import Told, told

DISAGREES_U = 3.0


class Reached(StrEnum):
    """What a pop would be worth with the dome where it is."""

    GOOD = "good"
    CORRECTED = "corrected"
    FAR = "far"
    UNKNOWN = "unknown"


class Near(NamedTuple):
    """Where the dome is now, and what that is worth for the lights that may fire."""

    reached: Reached
    held_off_m: float | None
    light: str = ""
    """The light whose reach is the shortest of those that may fire."""
    good_m: float | None = None
    usable_m: float | None = None
    ready: bool = False
    """Within reach and still."""
    why: str = ""
    """Why it is not known (an ``Unknown``)."""

    @property
    def sentence(self) -> str:
        """One line for a terminal or a phone."""
        if self.held_off_m is None:
            return unknown_sentence(self.why)
        where = _whole(self.held_off_m)
        if self.reached == Reached.FAR:
            return say("too far for {light}: {where}, keep within {good}", light=self.light, where=where, good=_down(self.good_m))
        if self.reached == Reached.CORRECTED:
            return say("{where}: corrected for {light}, good within {good}", light=self.light, where=where, good=_down(self.good_m))
        if self.reached == Reached.GOOD:
            return say("{where}: ready", where=where) if self.ready else say("{where}: good", where=where)
        return where

    @property
    def tick_s(self) -> float | None:
        """Seconds from one tick to the next for the ear: quicker the nearer, none when it is good or not known."""
        if self.held_off_m is None or self.good_m is None or self.reached in (Reached.GOOD, Reached.UNKNOWN):
            return None
        return min(1.0, max(0.12, 0.12 + 2.5 * (self.held_off_m - self.good_m)))


def near(m: Measurement, reaches: Iterable[tuple[float | None, float | None, str]]) -> Near | None:
    """Return where the dome is by a live level; None for a sensor without a range finder.

    ``reaches``: for each light that may fire, how far off is good, how far can be corrected (m; None: not known), its name.
    """
    if m.held_off_m is None:
        return Near(Reached.UNKNOWN, None, why=m.held_off_unknown) if m.held_off_unknown else None
    known = [(good, usable or good, name) for good, usable, name in reaches if good is not None]
    if not known:
        return Near(Reached.UNKNOWN, m.held_off_m)
    good, usable, name = min(known)
    reached = Reached.GOOD if m.held_off_m <= good else Reached.CORRECTED if m.held_off_m <= usable else Reached.FAR
    return Near(reached, m.held_off_m, name, good, usable, reached == Reached.GOOD and m.held_still)


class Ticker:
    """When the next tick is due: quicker the nearer the dome comes, then one tone of its own when it is within reach and still."""

    def __init__(self) -> None:
        self._last_s = 0.0
        self._ready = False

    def due(self, where: Near | None, now_s: float) -> str:
        """Return ``near``, ``ready`` or nothing to be heard now; ``now_s`` is any clock."""
        ready = where is not None and where.ready
        if ready and not self._ready:
            self._ready = True
            return "ready"
        self._ready = ready or (self._ready and where is not None and where.reached == Reached.GOOD)
        pause_s = where.tick_s if where is not None else None
        if pause_s is None or now_s - self._last_s < pause_s:
            return ""
        self._last_s = now_s
        return "near"


def reach_for(opened: OpenedSet, request: Request) -> Reach:
    """How far off the dome may be, held as a request says: what is said before the pop, and what the range finder judges by."""
    light = opened.by_id.get(request.light_id)
    return reach_of(
        opened.placement(request.light_id or ""), opened.settings, receptor=request.receptor, aim=request.aim, toward=request.aim,
        falloff=opened.view().falloff(light) if light is not None else None,
    )  # fmt: skip


class Nearness:
    """Judges live distances of one opened set; what a light's reach is is worked out once for each placement."""

    def __init__(self, opened: OpenedSet) -> None:
        self.opened = opened
        self._reaches: dict[tuple[str, str, str], tuple[float | None, float | None]] = {}

    def of(self, m: Measurement, requests: Sequence[Request]) -> Near | None:
        """Return where the dome is by a live level; None for a sensor without a range finder."""
        lights = self.opened.by_id
        return near(m, [(*self._reach(r), lights[r.light_id].name) for r in requests if r.light_id in lights])

    def _reach(self, request: Request) -> tuple[float | None, float | None]:
        placement = self.opened.placement(request.light_id or "")
        if placement is None:
            return None, None
        key = (placement.id, request.receptor, request.aim)
        if key not in self._reaches:
            reach = reach_for(self.opened, request)
            self._reaches[key] = (reach.good_m, reach.usable_m)
        return self._reaches[key]


def _whole(length_m: float) -> str:
    """To the nearest centimetre: more digits would only flicker."""
    return f"{length_m * 100:.0f} cm"


def _down(length_m: float | None) -> str:
    """Whole centimetres, rounded down: the advice must stay on the safe side."""
    return f"{int((length_m or 0.0) * 100 + 1e-6)} cm"


def unknown_sentence(why: str) -> str:
    """Why the range finder does not know the distance."""
    sentences: dict[str, str] = {
        Unknown.NOTHING: say("distance not known: the range finder sees nothing"),
        Unknown.BRIGHT: say("distance not known: too much other light for the range finder"),
        Unknown.FAR: say("distance not known: nothing within 60 cm behind the dome"),
        Unknown.MOVES: say("distance not known: the dome moves"),
        Unknown.JUMPED: say("distance not known: something came between dome and face"),
        Unknown.NO_FACE: say("distance not known: what is behind the dome is no face"),
        Unknown.NEGATIVE: say("distance not known: calibrate the range finder"),
    }
    return sentences.get(why, say("distance not known: the range finder says nothing"))


def about_distance(reading: Reading | None, m: Measurement, settings: Settings) -> tuple[Told, ...]:
    """What is to be said of a logged pop's distance: typed against measured, or why it was not measured."""
    if reading is None:
        return ()
    if reading.held_off_m is None:
        return (told("note", note=unknown_sentence(m.held_off_unknown)),) if m.held_off_unknown else ()
    if reading.u_held_off_m is not None or m.u_held_off_m is None:
        return ()
    said = typed_against_measured(reading.held_off_m, m.held_off_m, m.u_held_off_m, settings)
    return (told("note", note=said),) if said else ()


def typed_against_measured(typed_m: float, measured_m: float | None, u_m: float, settings: Settings) -> str:
    """Return what is to be said when a typed distance is beyond 3 u of the measured one; typed counts all the same."""
    if measured_m is None:
        return ""
    u = hypot(u_m, settings.u_held_off_m(typed_m))
    if abs(typed_m - measured_m) <= DISAGREES_U * u:
        return ""
    return say(
        "{typed} was said, the range finder measured {measured} ± {u}: what was said counts",
        typed=format_length(typed_m), measured=_whole(measured_m), u=_whole(max(0.01, 2 * u_m)),
    )  # fmt: skip
