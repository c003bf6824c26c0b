"""From one sensor's samples to its measurements: calibration, pairing, judging, choice of range.

No input or output and no tasks in here: bytes come from ``sensor``, which also carries out what is wanted.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from meterlink.errors import CalibrationError
from meterlink.records import (
    Battery,
    Calibration,
    Colour,
    Evidence,
    HeldOff,
    Identity,
    Measurement,
    PopFigures,
    PopNotice,
    RangerState,
    Sample,
    Status,
    Steady,
    Trouble,
    WaveBlock,
)
from meterlink.sensor.measuring import flash, ranges
from meterlink.sensor.measuring.calibrate import REFERENCE_KEY, at_reference, default_calibration, supply_row, supply_words
from meterlink.sensor.measuring.levels import chromaticity_of
from meterlink.sensor.measuring.levels import level as _level_of
from meterlink.sensor.measuring.pops import PopBook
from meterlink.sensor.measuring.ranger import Held, Ranger
from meterlink.words.told import Told, told

FRESH_S = 2.0
"""A held-off distance or a colour that came longer ago is not of this pop."""
BATTERY_LOW = 0.15
ONE_PRESS_S = 0.7
"""A flash that was lost so soon after another came of the same press, and may have been the light itself."""

CalibrationFor = Callable[[Identity], Calibration | None]


class Outlets(NamedTuple):
    """Where an intake's results go."""

    measurement: Callable[[Measurement], None]
    level: Callable[[Measurement], None]
    range_wanted: Callable[[int], None]
    said: Callable[[Told], None]
    """Something that a person should hear once."""


class Intake:
    """All that is known of one sensor, and what its samples make of it."""

    def __init__(self, url: str, calibration_for: CalibrationFor | None, out: Outlets) -> None:
        self.identity: Identity | None = None
        self.calibration: Calibration | None = None
        self.battery: Battery | None = None
        self.status: Status | None = None
        self.range_index = 0
        """The range that the sensor said it uses."""
        self.pulse_s = ranges.DEFAULT_PULSE_S
        """Exposure over peak of the last good pop."""
        self.pops = PopBook()
        self.steady_sets_range = False
        """Whether steady light chooses the range; not while pops are metered, whose light is a thousand times more."""
        self._as_made: Calibration | None = None
        """The calibration as it was made; ``calibration`` is the same at the reference that the sensor now measures against."""
        self._sensor_id = url
        self._calibration_for = calibration_for
        self._out = out
        self.ranger = Ranger()
        """The range finder's last measurements; of sensors that tell how good each of them is."""
        self._held_at_pop: dict[int, Held] = {}
        """What the range finder knew when a pop was told, whose block is still on its way."""
        self._held_off: HeldOff | None = None
        self._tint: Colour | None = None
        self._room: Steady | None = None
        self._last_pop_s: float | None = None
        self._lost: int | None = None
        """Flashes that the sensor has seen and could not keep, as far as they have been told."""
        self._battery_told = False
        self._reference_told = False

    def meet(self, identity: Identity) -> None:
        """Take who the sensor is, and find its calibration."""
        if identity == self.identity:
            return
        self.identity, self._sensor_id = identity, identity.sensor_id
        stored = self._calibration_for(identity) if self._calibration_for is not None else None
        self.recalibrate(stored or default_calibration(identity))

    def take(self, sample: Sample) -> None:
        """Take one sample of a sensor whose identity is known, or that cannot be asked for it."""
        if isinstance(sample, Steady):
            self._take_steady(sample)
        elif isinstance(sample, WaveBlock):
            self._take_block(sample)
        elif isinstance(sample, PopNotice):
            self._take_notice(sample)
        elif isinstance(sample, PopFigures):
            self._take_figures(sample)
        elif isinstance(sample, Status):
            self.range_index = sample.range_index
            self._take_status(sample)
        elif isinstance(sample, HeldOff):
            self._take_distance(sample)
        elif isinstance(sample, Colour):
            self._tint = sample
        elif isinstance(sample, Battery):
            self._take_battery(sample)

    def _take_steady(self, sample: Steady) -> None:
        calibration = self.calibration
        if calibration is None:
            return
        self._room = sample
        self.range_index = sample.range_index
        try:
            level = _level_of(sample, self._sensor_id, calibration)
        except CalibrationError as why:
            self._out.said(told("note", note=str(why)))
            return
        if self.steady_sets_range and sample.raw is not None:
            better = ranges.for_steady(sample.raw, sample.clipped, sample.range_index, calibration)
            if better != sample.range_index:
                self._out.range_wanted(better)
        if self._held_off is not None or self._tint is not None or self.ranger.heard:
            level = self._with_extras(level, during_pop=False)
        self._out.level(level)

    def tell_missing(self, missing: list[PopNotice]) -> None:
        """Deliver pops whose block will not come, marked incomplete."""
        for pop in missing:
            self._tell_incomplete(pop, told("missing_data"), Trouble.LOST_DATA)

    def recalibrate(self, calibration: Calibration) -> None:
        """Use another calibration from the next sample on."""
        self._as_made = calibration
        self.calibration = at_reference(calibration, self.status) if self.status else calibration

    def supply(self) -> tuple[float, float] | None:
        """How far the converter's reference is from that of the calibration as it was made; see ``calibrate.supply_row``."""
        return supply_row(self._as_made, self.status) if self._as_made and self.status else None

    def restart(self) -> list[PopNotice]:
        """The sensor counts anew; returns the pop whose block will not come."""
        missing = self.pops.give_up()
        self.pops.restart()
        self._lost = self._last_pop_s = None
        return missing

    def _take_lost(self, status: Status) -> None:
        """A flash that came while the last one was still being sent may have been the light, and that one its pre-flash."""
        before, self._lost = self._lost, status.pops_lost
        last_s = self._last_pop_s
        if before is None or last_s is None or not 0 < status.pops_lost - before & 0xFFFF < 0x8000:
            return
        if 0.0 <= status.at_s - last_s <= ONE_PRESS_S:
            self._tell_incomplete(status, told("while_sent"), Trouble.WHICH_FLASH)

    def _take_status(self, status: Status) -> None:
        self.status = status
        self._take_lost(status)
        if self._as_made is None or not status.reference_raw:
            return
        first = supply_words(self._as_made, status)
        self.recalibrate(self._as_made)
        if REFERENCE_KEY not in self._as_made.details and self._as_made.method != "assumed" and self.calibration is not None:
            # Made before the reference was told: what holds is now, and what changes from here on is seen.
            self._as_made = self.calibration
        if first and not self._reference_told:
            self._reference_told = True
            self._out.said(first)

    def _take_distance(self, said: HeldOff) -> None:
        if said.u_m is None and said.signal is None and said.state == RangerState.GOOD:
            # A sensor that says a distance and nothing of how good it is: believed as it is.
            self._held_off = said
        else:
            self.ranger.hear(said)

    def _take_notice(self, pop: PopNotice) -> None:
        self.tell_missing(self.pops.notice(pop))
        self._last_pop_s = pop.at_s
        if self.ranger.heard:
            self._held_at_pop = {pop.pop: self.ranger.at(pop.at_s)}
        if pop.lost:
            self._lost = None if self._lost is None else self._lost + pop.lost & 0xFFFF
            self._out.said(told("pops_not_kept", lost=pop.lost, pop=pop.pop))

    def _take_block(self, block: WaveBlock) -> None:
        news, missing = self.pops.block(block)
        self.tell_missing(missing)
        calibration = self.calibration
        if not news:
            return
        self.range_index = block.range_index
        if calibration is None:
            self._tell_incomplete(block, told("before_named"), Trouble.TOO_EARLY)
            return
        memory = self.identity.ring_samples if self.identity else 0
        try:
            found = flash.measure(block, self._sensor_id, calibration, self._room_before(block), memory)
        except CalibrationError as why:
            self._tell_incomplete(block, told("note", note=str(why)), Trouble.UNCALIBRATED)
            return
        held = self._held_at_pop.pop(block.pop, None)
        self._out.measurement(self._with_extras(self._judge(found, block, calibration), during_pop=True, held=held))

    def _take_figures(self, pop: PopFigures) -> None:
        """Take a flash that the sensor has integrated itself; its figures are believed as they are."""
        calibration = self.calibration
        if calibration is None:
            self._tell_incomplete(PopNotice(pop.at_s, 0), told("before_named"), Trouble.TOO_EARLY)
            return
        factor = calibration.ranges[0].full_scale_lx
        room = self._room
        ambient = room.illuminance_lx if room is not None and pop.at_s - room.at_s <= FRESH_S else None
        found = Measurement(
            "flash", pop.at_s, self._sensor_id, calibration.id,
            exposure_lxs=pop.exposure_lxs * factor, u_rel=pop.u_rel,
            peak_lx=None if pop.peak_lx is None else pop.peak_lx * factor, t05_s=pop.t05_s, t01_s=pop.t01_s,
            ambient_lx=None if ambient is None else ambient * factor, clipped=pop.clipped,
            note=told("clips") if pop.clipped else "",
            evidence=Evidence() if pop.clipped else None,
        )  # fmt: skip
        self._out.measurement(self._with_extras(found, during_pop=True))

    def _room_before(self, block: WaveBlock) -> Steady | None:
        room = self._room
        fits = room is not None and room.range_index == block.range_index and block.at_s - room.at_s <= FRESH_S
        return room if fits else None

    def _judge(self, found: Measurement, block: WaveBlock, calibration: Calibration) -> Measurement:
        names = self.identity.ranges if self.identity else ()
        peak = flash.peak_raw(block, calibration)
        advice = ranges.after_pop(peak, found.clipped, block.range_index, calibration, names)
        if advice.range_index != block.range_index:
            self._out.range_wanted(advice.range_index)
        elif found.exposure_lxs and found.peak_lx and not (advice.clipped or advice.too_dim or found.incomplete):
            self.pulse_s = found.exposure_lxs / found.peak_lx
        evidence = found.evidence
        if advice.clipped or (advice.too_dim and not found.trouble):
            better = advice.range_index if advice.range_index != block.range_index else None
            evidence = Evidence(flash.record_s(block), peak_raw=peak, next_range=better)
        note = advice.note or found.note
        return found._replace(clipped=advice.clipped, too_dim=advice.too_dim, note=note, evidence=evidence)

    def _with_extras(self, found: Measurement, *, during_pop: bool, held: Held | None = None) -> Measurement:
        held_off, tint = self._held_off, self._tint
        if self.ranger.heard and found.held_off_m is None:
            held = held or self.ranger.at(found.at_s)
            found = found._replace(
                held_off_m=held.held_off_m, u_held_off_m=held.u_m, held_off_unknown=held.unknown or "", held_still=held.steady
            )
        if held_off is not None and found.held_off_m is None and abs(found.at_s - held_off.at_s) <= FRESH_S:
            found = found._replace(held_off_m=held_off.held_off_m)
        if tint is None or tint.during_pop != during_pop or abs(found.at_s - tint.at_s) > FRESH_S:
            return found
        if during_pop:
            self._tint = None
        x, y, cct_k, duv = chromaticity_of(tint, self.calibration)
        return found._replace(x=x, y=y, cct_k=cct_k, duv=duv)

    def _take_battery(self, battery: Battery) -> None:
        self.battery = battery
        low = battery.fraction is not None and battery.fraction <= BATTERY_LOW
        if low and not self._battery_told:
            self._out.said(told("battery_low", left=battery.fraction))
        self._battery_told = low

    def _tell_incomplete(self, pop: PopNotice | WaveBlock | Status, note: Told, trouble: Trouble) -> None:
        calibration_id = "" if self.calibration is None else self.calibration.id
        self._out.measurement(Measurement(
            "flash", pop.at_s, self._sensor_id, calibration_id, range_index=pop.range_index, incomplete=True, note=note,
            trouble=trouble, evidence=Evidence(),
        ))  # fmt: skip
