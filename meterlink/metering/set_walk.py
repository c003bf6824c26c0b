"""A set-up with the walk through its lights: what is asked for, what is missing, what becomes a reading; remembered over a kill."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from typing import Any

from meterlink.errors import UsageError
from meterlink.judging.repeats import averaged
from meterlink.judging.verdict import RETAKE
from meterlink.library.store import Library
from meterlink.library.whole_sets import entries_elsewhere
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request, Walk
from meterlink.records import Kind, Light, Measurement, Pop, Purpose, Reading, new_id
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.words.told import told

_ASKED = ("light_id", "purpose", "point", "receptor", "aim", "lit")
_MEASURED = (
    "calibration_id", "sensor_id", "kind", "exposure_lxs", "illuminance_lx", "u_rel", "peak_lx", "t05_s", "t01_s", "ambient_lx",
    "cct_k", "duv", "x", "y", "range_index",
)  # fmt: skip
"""What a reading takes over from its request and its measurement.  One that was clipped or too dim becomes none."""


class SetWalk(OpenedSet):
    """An opened set and a walk through its lights, which keeps what it is given."""

    def __init__(self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> None:
        super().__init__(library, setup, now=now)
        self.walk = Walk()
        self.auto_advance = True
        """Whether a logged reading moves the walks that are begun on, or the person does."""
        self._in_progress = ""
        """The reading of several pops that the next pop joins."""

    def request(self, light: Light, **how: Any) -> Request:
        """What is asked for when a light is metered as the library's settings say, with the changes in ``how``."""
        usual = Request(light.id, point=light.point, aim=self.settings.default_aim, receptor=self.settings.default_receptor)
        return usual._replace(**how)

    def request_together(self, lit: Iterable[Light] = (), **how: Any) -> Request:
        """What is asked for when lights fire at once: those given, else all that reach the face."""
        lights = list(lit) or [one for one in self.lights() if one.role not in OWN_POINT_ROLES]
        usual = Request(None, Purpose.TOGETHER, aim="camera", receptor=self.settings.default_receptor)
        return usual._replace(lit=tuple(one.id for one in lights), **how)

    def restate(self, reading: Reading, **changes: Any) -> Reading:
        """As for any set; the walk knows its pops by their records."""
        new = super().restate(reading, **changes)
        self.walk.restated(reading.id, new.id)
        if self._in_progress == reading.id:
            self._in_progress = new.id
        return new

    def begin(self, requests: Iterable[Request]) -> None:
        """Begin a walk; reflectors become two pops of their source, with and without them."""
        self.walk = Walk(self._expanded(requests), auto_advance=self.auto_advance)
        self._in_progress = ""
        self._remember_walk()

    def resume(self) -> bool:
        """Come back to the walk that was under way when the program ended; False when there is none."""
        data = self.library.recall(f"walk:{self.setup.id}")
        self.walk = Walk.from_json(data) if isinstance(data, dict) else Walk()
        known = self.by_id
        if any(r.light_id is not None and r.light_id not in known for r in self.walk.requests):
            self.walk = Walk()
        return self.walk.waiting is not None

    def _remember_walk(self) -> None:
        self.library.remember(f"walk:{self.setup.id}", self.walk.as_json())

    def _expanded(self, requests: Iterable[Request]) -> list[Request]:
        lights = self.by_id
        out: list[Request] = []
        for r in requests:
            light = lights.get(r.light_id)
            if r.purpose == Purpose.ALONE and light is not None and light.source_light_id:
                # Both pops are taken the same way, so that nothing but the reflector differs between them.
                out.append(r._replace(purpose=Purpose.WITH))
                out.append(r._replace(purpose=Purpose.WITHOUT))
            else:
                out.append(r)
        return out

    def skip(self, shown: Request | None = None) -> Request | None:
        """Leave out what is waited for; return what was left out.

        ``shown``: what the person saw waited for on deciding so.  Raises UsageError when that is waited for no more, because
        its pop came meanwhile: the next light is not meant.
        """
        waiting = self.walk.waiting
        if shown is not None and (waiting is None or _who(shown) != _who(waiting)):
            raise UsageError("the pop of {light} came first: nothing is skipped", light=self._name(shown.light_id))
        self.walk.advance()
        self._remember_walk()
        return waiting

    def again(self, light_id: str) -> None:
        """Wait for this light once more (it was turned or moved after its pop)."""
        self.walk.back_to(light_id)
        self._remember_walk()

    def wait_for(self, request: Request) -> None:
        """Wait for this now, also when its light has a reading; then go on with what had been waited for.

        Where the walk has its light, that is metered as is asked now; a held-off distance that was said for it stays.
        """
        if request.light_id is None or not self.walk.go_to(request.light_id):
            self.walk.insert(self._expanded([request]))
        else:
            self.walk.change(request)
        self._remember_walk()

    def forget(self, light_id: str) -> None:
        """Wait for this light no more: it was taken out of the set."""
        self.walk.forget(light_id)
        self._remember_walk()

    def advance_by_itself(self, on: bool) -> None:
        """Whether a logged reading moves the walk on, or the person does."""
        self.auto_advance = self.walk.auto_advance = on
        self._remember_walk()

    def pending(self) -> list[Light]:
        """Lights without a valid reading: none, a stale one, or one that has to be taken again."""
        return [s.light for s in self.view().lights if s.reading is None or s.judged is None or s.judged.verdict == RETAKE]

    def held_before(self, light: Light) -> float | None:
        """How far the dome was held off in the light's last reading, else in its head's last one in another set; None: not said."""
        own = [r for r in self.known.records.readings if r.light_id == light.id and r.held_off_m is not None]
        if own:
            return own[-1].held_off_m
        elsewhere = entries_elsewhere(self.library, self.setup.id, {light.fixture} if light.fixture else ())
        return next((r.held_off_m for _, _, r in reversed(elsewhere) if r.held_off_m is not None), None)

    def _name(self, light_id: str | None) -> str:
        light = self.by_id.get(light_id)
        return light.name if light is not None else str(told("all_lights"))

    # -- readings ---------------------------------------------------------------------------------------------

    def _log(self, m: Measurement, request: Request, instead_of: Reading | None = None) -> Reading:
        """Store a measurement as this request's reading; it belongs into ``_stored_with_walk``.

        ``instead_of``: the reading whose last pop it replaces.
        """
        reading = self._reading(m, request, instead_of)
        self.known.add_reading(reading, m.wave)
        self.walk.last_id = reading.id
        return reading

    def _reading(self, m: Measurement, request: Request, instead_of: Reading | None = None) -> Reading:
        """Make the record: a further pop of one reading joins those before it, a retake replaces the last one."""
        placement_id = self.placement_id(request.light_id)
        earlier = instead_of or self._earlier(request)
        pops: tuple[Pop, ...] = ()
        if m.kind == Kind.FLASH:
            bounded = m.exposure_bounds_lxs is not None
            pop = Pop(m.exposure_lxs or 0.0, m.u_rel, m.peak_lx, m.t05_s, m.t01_s, m.ambient_lx, bounded, m.range_index)
            running = earlier is not None and 0 < len(earlier.pops) < request.pops and self._in_progress == earlier.id
            if running and earlier is not None and (light := self.by_id.get(request.light_id)) is not None:
                # A reflector gives otherwise once its source was moved: what came before is no part of it.
                running = (self.placement_id(light.source_light_id) or "") < earlier.id
            before = instead_of.pops[:-1] if instead_of else earlier.pops if earlier and running else ()
            pops = (*before, pop)
        typed = request.held_off_m is not None
        held_off = request.held_off_m if typed else m.held_off_m
        # A range finder looks back along the dome's axis: what it measures was held off toward what the dome looks at.
        toward = request.held_off_toward if typed or m.held_off_m is None else request.aim
        reading = Reading(
            id=new_id(), setup_id=self.setup.id, placement_id=placement_id, taken_at_s=self.now(),
            held_off_m=held_off, held_off_toward=toward, u_held_off_m=None if typed else m.u_held_off_m, pops=pops,
            supersedes_id=earlier.id if earlier else None,
            note=request.note,
            **{name: getattr(request, name) for name in _ASKED}, **{name: getattr(m, name) for name in _MEASURED},
        )  # fmt: skip
        if len(pops) > 1:
            reading = averaged(reading)
        self._in_progress = reading.id
        return reading

    def _earlier(self, request: Request) -> Reading | None:
        """The effective reading that a new one of this request replaces."""
        wanted = request.light_id, request.purpose, request.point, request.kind, self.placement_id(request.light_id)
        found = [
            r for r in self.known.records.effective
            if (r.light_id, r.purpose, r.point, r.kind, r.placement_id) == wanted
            # All but one light is another question than all of them: both pops stand side by side.
            and (request.purpose != Purpose.TOGETHER or set(r.lit) == set(request.lit))
        ]  # fmt: skip
        return found[-1] if found and request.purpose != Purpose.ROOM else None

    @contextmanager
    def _stored_with_walk(self) -> Iterator[None]:
        """Store what the block stores and the walk's memory in one transaction; where that fails, the walk is as before it."""
        walk, progress = deepcopy(self.walk), self._in_progress
        try:
            with self.library.together():
                self.known.look_again()
                yield
                self._remember_walk()
        except BaseException:
            self.walk, self._in_progress = walk, progress
            raise


def _who(request: Request) -> tuple[str | None, str]:
    return request.light_id, request.purpose
