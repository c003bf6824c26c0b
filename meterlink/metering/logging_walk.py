"""A walk that keeps what it is given: the record of a measurement, stored in one transaction with the walk's memory."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy

from meterlink.judging.repeats import averaged
from meterlink.metering.set_walk import SetWalk
from meterlink.metering.walk import Request
from meterlink.records import Kind, Measurement, Pop, Purpose, Reading, new_id

_ASKED = ("light_id", "purpose", "point", "receptor", "aim", "lit")
_MEASURED = (
    "calibration_id", "sensor_id", "kind", "exposure_lxs", "illuminance_lx", "u_rel", "peak_lx", "t05_s", "t01_s", "ambient_lx",
    "cct_k", "duv", "x", "y", "range_index",
)  # fmt: skip
"""What a reading takes over from its request and its measurement.  One that was clipped or too dim becomes none."""


class LoggingWalk(SetWalk):
    """A walk through a set that makes readings and keeps them."""

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
