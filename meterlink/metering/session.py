"""One metering session: measurements in, readings judged and logged, tables out.

The command line and the app both drive this object; it has no I/O but the library.  A sensor's measurements are handed
to ``take`` and an ``Outcome`` comes back: logged (it is on disk by then), asked for again, or ignored, always with a sentence
for the photographer and what is waited for next.  Lights and tables are those of ``OpenedSet``.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from typing import NamedTuple

from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.expected import expected_value, rough_value, swap_warning
from meterlink.judging.repeats import averaged
from meterlink.judging.view import LightState
from meterlink.library.store import Library
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request, Walk
from meterlink.records import Light, Measurement, Placement, Pop, Reading, new_id
from meterlink.words.sentences import logged_sentence

REFLECTED_POP = 0.6
"""What a dome toward a card gets of its source's light, roughly: only chooses the sensor's range."""


class Outcome(NamedTuple):
    """What became of one measurement."""

    kind: str
    """``logged``, ``again`` (the same light is still waited for) or ``ignored``."""
    message: str
    """One sentence for the photographer."""
    light: Light | None = None
    reading: Reading | None = None
    state: LightState | None = None
    """The light after this reading, judged."""
    warnings: tuple[str, ...] = ()
    waiting: Request | None = None
    """What the next pop belongs to; None when the walk is over."""


class Session(OpenedSet):
    """A set-up and a walk through its lights."""

    def __init__(self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> None:
        """Open a session on the set-up named, else on the current one.

        Raises NotInLibrary when there is none.
        """
        super().__init__(library, setup, now=now)
        self.walk = Walk()
        self._last_taken_at: float | None = None

    # -- the walk ---------------------------------------------------------------------------------------------

    def begin(self, requests: Iterable[Request], *, auto_advance: bool = True) -> None:
        """Begin a walk; reflectors become two pops of their source, with and without them."""
        self.walk = Walk(self._expanded(requests), auto_advance=auto_advance)
        self._remember_walk()

    def resume(self) -> bool:
        """Come back to the walk that was under way when the program ended; False when there is none."""
        data = self.library.recall(f"walk:{self.setup.id}")
        self.walk = Walk.from_json(data) if isinstance(data, dict) else Walk()
        known = {one.id for one in self.lights()}
        if any(r.light_id is not None and r.light_id not in known for r in self.walk.requests):
            self.walk = Walk()
        return self.walk.waiting is not None

    def _remember_walk(self) -> None:
        self.library.remember(f"walk:{self.setup.id}", self.walk.as_json())

    def _expanded(self, requests: Iterable[Request]) -> list[Request]:
        lights = {one.id: one for one in self.lights()}
        out: list[Request] = []
        for r in requests:
            light = lights.get(r.light_id or "")
            if r.purpose == "alone" and light is not None and light.source_light_id:
                # Both pops are taken the same way, so that nothing but the reflector differs between them.
                out.append(r._replace(purpose="with"))
                out.append(r._replace(purpose="without"))
            else:
                out.append(r)
        return out

    def skip(self) -> Request | None:
        """Leave out the light that is waited for; return what is waited for now."""
        self.walk.advance()
        self._remember_walk()
        return self.walk.waiting

    def again(self, light_id: str) -> None:
        """Wait for this light once more (it was turned or moved after its pop)."""
        self.walk.back_to(light_id)
        self._remember_walk()

    def expected_exposure_lxs(self) -> float | None:
        """What the next pop should give at the dome, so that the sensor's range is chosen before it; None if unknown."""
        request = self.walk.waiting
        if request is None or request.light_id is None or request.kind != "flash":
            return None
        view = self.view()
        state = view.state(request.light_id)
        if state is None:
            return None
        if state.light.source_light_id:
            # The dome looks at the card and sees the source from the side, at half or so.
            source = view.state(state.light.source_light_id)
            return REFLECTED_POP * source.value if source is not None and source.value else None
        return expected_value(state, *self._past()) or rough_value(view, state)

    # -- measurements -----------------------------------------------------------------------------------------

    def take(self, m: Measurement) -> Outcome:
        """Give one measurement to the light that is waited for.  When this returns ``logged``, it is on disk."""
        request = self.walk.waiting
        if request is None:
            return Outcome("ignored", "a pop, but no light is waited for: it was not logged")
        if m.kind != request.kind:
            return Outcome("ignored", "", waiting=request)
        light = self._light_of(request)
        if m.incomplete:
            return Outcome("again", f"the pop arrived damaged: fire {self._name(light)} once more", light, waiting=request)
        if m.clipped or m.too_dim:
            what = "too bright for this range" if m.clipped else "too dim for this range"
            note = m.note or f"{what}: one more pop of {self._name(light)}, please"
            return Outcome("again", note, light, waiting=request)
        gap = None if self._last_taken_at is None else m.at_s - self._last_taken_at
        if m.kind == "flash" and gap is not None and 0 <= gap < self.settings.min_gap_s:
            return Outcome(
                "ignored", f"a second pop {gap:.1f} s after the last was taken for a stray and not logged", waiting=request
            )
        reading = self._reading(m, request)
        self.library.add_reading(reading, waveform=m.wave)
        self._last_taken_at = m.at_s
        finished = len(reading.pops) >= request.pops or request.kind == "steady"
        if finished and self.walk.auto_advance:
            self.walk.advance()
        self._remember_walk()
        return self._outcome(request, reading, light, finished)

    def _outcome(self, request: Request, reading: Reading, light: Light | None, finished: bool) -> Outcome:
        view = self.view()
        state = view.state(light.id) if light else None
        warning = swap_warning(view, light.id, *self._past()) if light and request.purpose == "alone" else ""
        message = logged_sentence(view, reading, state, request.purpose)
        if not finished:
            message += f"; pop {len(reading.pops)} of {request.pops}"
        return Outcome(
            "logged", message, light, reading, state, (warning,) if warning else (), self.walk.waiting
        )

    def _reading(self, m: Measurement, request: Request) -> Reading:
        """Make the record: a further pop of one reading joins those before it, a retake replaces the last one."""
        placement = self.placement(request.light_id) if request.light_id else None
        earlier = self._earlier(request, placement)
        pops: tuple[Pop, ...] = ()
        if m.kind == "flash":
            pop = Pop(m.exposure_lxs or 0.0, m.u_rel, m.peak_lx, m.t05_s, m.t01_s, m.ambient_lx, m.clipped, m.range_index)
            running = earlier is not None and 0 < len(earlier.pops) < request.pops and self._in_progress == earlier.id
            pops = (*(earlier.pops if earlier and running else ()), pop)
        held_off = request.held_off_m if request.held_off_m is not None else m.held_off_m
        reading = Reading(
            id=new_id(),
            setup_id=self.setup.id,
            light_id=request.light_id,
            placement_id=placement.id if placement else None,
            calibration_id=m.calibration_id,
            sensor_id=m.sensor_id,
            taken_at_s=self.now(),
            kind=m.kind,
            purpose=request.purpose,
            exposure_lxs=m.exposure_lxs,
            illuminance_lx=m.illuminance_lx,
            point=request.point,
            receptor=request.receptor,
            aim=request.aim,
            held_off_m=held_off,
            held_off_toward=request.held_off_toward,
            u_rel=m.u_rel,
            pops=pops,
            lit=request.lit,
            peak_lx=m.peak_lx,
            t05_s=m.t05_s,
            t01_s=m.t01_s,
            ambient_lx=m.ambient_lx,
            cct_k=m.cct_k,
            duv=m.duv,
            x=m.x,
            y=m.y,
            range_index=m.range_index,
            supersedes_id=earlier.id if earlier else None,
            note=request.note,
        )
        if len(pops) > 1:
            reading = averaged(reading)
        self._in_progress = reading.id
        return reading

    _in_progress: str = ""

    def _earlier(self, request: Request, placement: Placement | None) -> Reading | None:
        """The effective reading that a new one of this request replaces."""
        found = None
        for r in self.library.readings(self.setup.id):
            if (
                r.light_id == request.light_id
                and r.purpose == request.purpose
                and r.point == request.point
                and r.kind == request.kind
                and r.placement_id == (placement.id if placement else None)
                and (request.purpose != "room")
                # All but one light is another question than all of them: both pops stand side by side.
                and (request.purpose != "together" or set(r.lit) == set(request.lit))
            ):
                found = r
        return found

    def undo(self) -> Reading:
        """Take the last reading back and wait for its light again."""
        last = self.library.last_reading(self.setup.id)
        if last is None:
            raise NotInLibrary(f"{self.setup.name}: there is no reading to take back")
        self.library.void_reading(last.id, "taken back")
        self.walk.back_to(last.light_id)
        self._in_progress = ""
        self._remember_walk()
        return last

    def reassign(self, name: str) -> tuple[Reading, Light | None]:
        """Give the last reading to another light; the light that it was logged for is waited for again.

        Returns the new reading and the light that lost it.
        """
        last = self.library.last_reading(self.setup.id)
        if last is None:
            raise NotInLibrary(f"{self.setup.name}: there is no reading to give to another light")
        light = self.light(name)
        if last.light_id == light.id:
            raise UsageError(f"the last reading is {light.name}'s already")
        placement = self.placement(light.id)
        new = self.library.reassign_reading(last.id, light.id, placement.id if placement else None, light.point)
        loser = next((one for one in self.lights() if one.id == last.light_id), None)
        self.walk.back_to(last.light_id)
        self.walk.drop(light.id)
        self._remember_walk()
        return new, loser

    def _light_of(self, request: Request) -> Light | None:
        return next((one for one in self.lights() if one.id == request.light_id), None)

    @staticmethod
    def _name(light: Light | None) -> str:
        return light.name if light else "all lights"
