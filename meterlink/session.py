"""One metering session: measurements in, readings judged and logged, tables out.

The command line and the app both drive this object; it has no I/O but the library.  A sensor's measurements are handed
to ``take`` and an ``Outcome`` comes back: logged (it is on disk by then), asked for again, or ignored, always with a sentence
for the photographer and what is waited for next.  ``view`` and ``ratios`` are made anew from the library each time.
"""

from __future__ import annotations

import time

from meterlink.errors import GeometryError, NotInLibrary, UsageError
from meterlink.model import Light, Placement, Pop, Reading, Settings, Setup, new_id
from meterlink.model.named import NamedTuple
from meterlink.setwork.view import LightState, SetView, look
from meterlink.walk import Request, Walk

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import Any

    from meterlink.library.store import Library
    from meterlink.model import Measurement, WaveBlock
    from meterlink.setwork.case import Falloff
    from meterlink.setwork.checks import Finding
    from meterlink.setwork.prediction import Past
    from meterlink.setwork.ratios import RatioTable

SURPRISE_STOPS = 0.1
"""Below this nothing can be contradicted: the weighing needs three standard uncertainties, and none is so small."""
REFLECTED_POP = 0.6
"""What a dome toward a card gets of its source's light, roughly: only chooses the sensor's range."""
CHANGEABLE_PLACEMENT = frozenset(Placement._fields) - {"id", "light_id", "created_at_s"}


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


class Session:
    """A library, one set-up of it, and a walk through its lights."""

    def __init__(
        self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time
    ) -> None:
        """Open a session on the set-up named, else on the current one.

        Raises NotInLibrary when there is none.
        """
        self.library = library
        self.now = now
        self.setup: Setup = library.setup(setup) if setup else library.current_setup()
        self.settings: Settings = library.settings()
        self.walk = Walk()
        self._last_taken_at: float | None = None

    # -- lights -----------------------------------------------------------------------------------------------

    def lights(self) -> list[Light]:
        """Lights of the set-up in their order."""
        return self.library.lights(self.setup.id)

    def light(self, name: str) -> Light:
        """Return a light by name, whatever its capitals; NotInLibrary lists those that there are."""
        return self.library.light(self.setup.id, name)

    def placement(self, light_id: str) -> Placement | None:
        """The present placement of a light."""
        return self.library.current_placements(self.setup.id).get(light_id)

    def add_light(self, light: Light, placement: Placement) -> Light:
        """Add a light with its first placement, after checking that both can be."""
        check_placement(placement, light)
        if light.source_light_id and not any(one.id == light.source_light_id for one in self.lights()):
            raise NotInLibrary(f"{light.name}: its source is no light of this set-up: add the source first")
        self.library.add_light(light)
        self.library.add_placement(placement)
        return light

    def move(self, light: Light, **changes: Any) -> Placement:
        """Move or re-power a light: a new placement, the reading of the old one becomes stale."""
        wrong = set(changes) - CHANGEABLE_PLACEMENT
        if wrong:
            raise UsageError(f"a placement has no {', '.join(sorted(wrong))}")
        old = self.placement(light.id) or Placement(new_id(), light.id, self.now())
        placement: Placement = old._replace(id=new_id(), created_at_s=self.now(), **changes)
        check_placement(placement, light)
        self.library.add_placement(placement)
        return placement

    # -- tables -----------------------------------------------------------------------------------------------

    def view(self) -> SetView:
        """Look at the set as it is now."""
        return self._look(self.library.readings(self.setup.id))

    def view_at(self, at_s: float) -> SetView:
        """Look at the set as it was at an earlier moment (seconds since 1970).

        Raises NotInLibrary when the set-up was not there yet.
        """
        from meterlink.library.past import setup_at

        past = setup_at(self.library, self.setup.id, at_s)
        calibrations = {one: self.library.calibration(one) for one in {r.calibration_id for r in past.readings}}
        return look(
            past.setup, past.lights, past.placements, past.readings, calibrations, self.settings, falloffs=self._falloffs()
        )

    def _look(self, readings: list[Reading]) -> SetView:
        ids = {r.calibration_id for r in readings}
        calibrations = {one: self.library.calibration(one) for one in ids}
        return look(
            self.setup,
            self.lights(),
            self.library.current_placements(self.setup.id),
            readings,
            calibrations,
            self.settings,
            falloffs=self._falloffs(),
        )

    def _falloffs(self) -> dict[str, Falloff]:
        """Measured falloff of the set's modifiers, from this and other sets."""
        stored = {key: payload for key, _, payload in self.library.note_records("falloff")}
        if not stored:
            return {}
        from meterlink.photometry.falloff import FalloffFit

        modifiers = {light.modifier.casefold(): light.modifier for light in self.lights() if light.modifier}
        return {modifiers[k]: FalloffFit.from_record(v) for k, v in stored.items() if k in modifiers}

    def ratios(self) -> RatioTable:
        """Return the ratio table of the set as it is now; a reading that the others contradict is a retake in it."""
        from meterlink.setwork.ratios import ratio_table

        void = self.library.voids(self.setup.id)
        view = self.view()
        past = [r for r in self.library.all_readings(self.setup.id) if r.id not in void]
        # The weighing costs more than the table: only when there is a pop of all lights, or a light surprises.
        if any(r.purpose == "together" for r in view.readings) or self._surprises(view, past):
            from meterlink.setwork.contradiction import contradicted, contradictions

            view = view._replace(history=self._own_history(view, past))
            view = contradicted(view, contradictions(view, self._superseded(view, past)))
        return ratio_table(view)

    def _surprises(self, view: SetView, past: list[Reading]) -> bool:
        """Say whether any light reads otherwise than it did before, its moves and changes of power taken off."""
        if len(past) == len(view.readings) and len(past) <= len(view.lights):
            return False
        from meterlink.setwork.expected import surprise_stops

        placements = {p.id: p for s in view.lights for p in self.library.placements(s.light.id)}
        return any(abs(surprise_stops(s, past, placements)) > SURPRISE_STOPS for s in view.lights)

    @staticmethod
    def _superseded(view: SetView, past: list[Reading]) -> list[Reading]:
        effective = {r.id for r in view.readings}
        return [r for r in past if r.id not in effective]

    def _own_history(self, view: SetView, past: list[Reading]) -> tuple[Past, ...]:
        """What this set's lights gave in their earlier placements."""
        from meterlink.setwork.history import pasts_from

        lights = {s.light.id: s.light for s in view.lights}
        placements = {p.id: p for light_id in lights for p in self.library.placements(light_id)}
        entries = [
            (lights[r.light_id], placements[r.placement_id], r)
            for r in past
            if r.light_id in lights and r.placement_id in placements
        ]
        return pasts_from(entries, self.settings, calibrations=view.calibrations, falloffs=view.falloffs)

    def full_view(self) -> tuple[SetView, list[Reading]]:
        """Return the view with everything known of its heads, other sets included, and the superseded readings."""
        from meterlink.library.fixtures import entries_elsewhere
        from meterlink.setwork.history import pasts_from

        view = self.view()
        past, _ = self._past()
        elsewhere = entries_elsewhere(self.library, self.setup.id, {s.light.fixture for s in view.lights})
        calibrations = {one: self.library.calibration(one) for one in {r.calibration_id for _, _, r in elsewhere}}
        others = pasts_from(elsewhere, self.settings, calibrations=calibrations, falloffs=view.falloffs)
        history = (*others, *self._own_history(view, past))
        return view._replace(history=history), self._superseded(view, past)

    def checks(self) -> list[Finding]:
        """Return what is not as it should be in the set, worst first."""
        import meterlink.setwork.finders  # noqa: F401 - each module registers its finders
        from meterlink.setwork.checks import findings

        view, earlier = self.full_view()
        return findings(view._replace(waves=self.wave), earlier=earlier)

    def wave(self, reading_id: str, pop_index: int | None = None) -> tuple[Any, Any] | None:
        """Return (times in s from the trigger, light in lx) of a reading's kept waveform; None when there is none.

        ``pop_index`` counts the pops of a reading of several from 0; without it the last one is returned.
        """
        from meterlink.errors import AnalysisError, CalibrationError
        from meterlink.sensing.flash import wave_of

        block = self._block(reading_id, pop_index)
        if block is None:
            return None
        calibration = self.library.calibration(self.library.reading(reading_id).calibration_id)
        try:
            return wave_of(block, calibration)
        except (AnalysisError, CalibrationError, IndexError, ValueError):
            # A waveform from somebody else's library may not fit its calibration: then it is as good as none.
            return None

    def _block(self, reading_id: str, pop_index: int | None) -> WaveBlock | None:
        """The captured pop.  Each further pop of a reading makes a record of its own, which keeps that pop's waveform."""
        if pop_index is None:
            return self.library.waveform(reading_id)
        reading = self.library.reading(reading_id)
        if pop_index and (kept := self.library.waveform(reading_id, pop_index)) is not None:
            return kept
        while len(reading.pops) > pop_index + 1 and reading.supersedes_id:
            reading = self.library.reading(reading.supersedes_id)
        return self.library.waveform(reading.id) if len(reading.pops) == pop_index + 1 else None

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
        from meterlink.setwork.expected import expected_value, rough_value

        view = self.view()
        state = view.state(request.light_id)
        if state is None:
            return None
        if state.light.source_light_id:
            # The dome looks at the card and sees the source from the side, at half or so.
            source = view.state(state.light.source_light_id)
            return REFLECTED_POP * source.value if source is not None and source.value else None
        return expected_value(state, *self._past()) or rough_value(view, state)

    def _past(self) -> tuple[list[Reading], dict[str, Placement]]:
        """Readings that are not void, superseded ones too, and every placement that they were made of."""
        void = self.library.voids(self.setup.id)
        past = [r for r in self.library.all_readings(self.setup.id) if r.id not in void]
        placements = {p.id: p for light in self.lights() for p in self.library.placements(light.id)}
        return past, placements

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
        from meterlink.setwork.expected import swap_warning
        from meterlink.setwork.words import logged_sentence

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
            from meterlink.setwork.repeats import averaged

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


def check_placement(placement: Placement, light: Light | None = None) -> None:
    """Refuse a placement that cannot be, in one line that names the light."""
    who = f"{light.name}: " if light else ""
    for name, value, lowest, highest, unit in (
        ("distance", placement.distance_m, 0.0, 50.0, "m"),
        ("width", placement.width_m, 0.0, 20.0, "m"),
        ("height", placement.height_m, 0.0, 20.0, "m"),
        ("elevation", placement.elevation_deg, -90.0, 90.0, "°"),
        ("azimuth", placement.azimuth_deg, -360.0, 360.0, "°"),
        ("power", placement.power_stops, -20.0, 1.0, " stops"),
    ):
        if value is None:
            continue
        inside = lowest <= value <= highest if lowest < 0 else lowest < value <= highest
        if not inside:
            bound = f"between {lowest:g}{unit} and {highest:g}{unit}" if lowest < 0 else f"above 0 and at most {highest:g} {unit}"
            raise GeometryError(f"{who}a {name} of {value:g}{unit} cannot be: give one {bound}")
    if placement.shape != "point" and not placement.width_m:
        raise GeometryError(f"{who}a {placement.shape} needs its size: --disk 90cm or --rectangle 60x90cm")


def check_held_off(held_off_m: float | None, placement: Placement | None, name: str) -> None:
    """Refuse a held-off distance that cannot be: negative, or beyond the light itself."""
    if held_off_m is None:
        return
    if not 0.0 <= held_off_m <= 50.0:
        raise GeometryError(f"{name}: a dome held off by {held_off_m:g} m cannot be: give 0 to 50 m, e.g. {name}@20cm")
    if placement is not None and placement.distance_m is not None and held_off_m >= placement.distance_m:
        raise GeometryError(
            f"{name}: the dome cannot be held {held_off_m:g} m off, the light is only {placement.distance_m:g} m away: "
            "check both distances"
        )
