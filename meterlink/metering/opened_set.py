"""A set-up of a library, opened: its lights, where they stand, and the tables made of its readings.

What the library has is looked at each time (``KnownSet``), so that command line and app never show what is no longer so.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from meterlink import units
from meterlink.checks.finders import looked_at
from meterlink.checks.findings import Finding
from meterlink.errors import AnalysisError, CalibrationError, NotInLibrary, UsageError
from meterlink.judging.judge import AS_TOLD, judge_set
from meterlink.judging.judged_set import JudgedSet
from meterlink.library.store import Library
from meterlink.library.whole_sets import setup_at
from meterlink.metering.known_set import KnownSet
from meterlink.records import Light, Placement, Reading, Settings, Setup, WaveBlock, new_id
from meterlink.records.placement_rules import check_held_off, check_placement, only_tells
from meterlink.sensor.measuring.flash import wave_of
from meterlink.tables.ratios import RatioTable, ratio_table
from meterlink.words.actions import Do

CHANGEABLE_PLACEMENT = frozenset(Placement._fields) - {"id", "light_id", "created_at_s"}


class OpenedSet:
    """One set-up of a library."""

    calibration_id = ""
    """The calibration of the sensor in use, once the driver has said so: earlier readings with another one tell less."""

    def __init__(self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> None:
        """Open the set-up named, else the current one.

        Raises NotInLibrary when there is none.
        """
        self.library = library
        self.now = now
        self.known = KnownSet(library, library.setup(setup).id)
        self._waves: dict[tuple[str, int | None], tuple[Any, Any] | None] = {}

    @property
    def setup(self) -> Setup:
        """The set-up as it is now."""
        return self.known.records.setup

    @property
    def settings(self) -> Settings:
        """The library's limits and assumptions as they are now."""
        return self.known.settings

    # -- lights -----------------------------------------------------------------------------------------------

    def lights(self) -> list[Light]:
        """Lights of the set-up in their order."""
        return list(self.known.records.lights)

    @property
    def by_id(self) -> dict[str | None, Light]:
        """Lights of the set-up by their ids; None is no light's."""
        return {one.id: one for one in self.known.records.lights}

    def light(self, name: str) -> Light:
        """Return a light by name, whatever its capitals; NotInLibrary lists those that there are."""
        return self.library.light(self.setup.id, name)

    def named_light(self, text: str) -> tuple[Light, float | None]:
        """Return the light that ``KEY`` or ``KEY@20cm`` names, and how far the dome is held off, which must be one that can be."""
        known = {one.name.casefold() for one in self.lights()}
        # A light may itself be called A@B: the whole text is tried as a name first.
        held = units.Held(text, None) if text.casefold() in known else units.parse_held_off(text)
        light = self.light(held.name)
        check_held_off(held.held_off_m, self.placement(light.id), light.name)
        return light, held.held_off_m

    def placement(self, light_id: str) -> Placement | None:
        """The present placement of a light."""
        return self.known.records.current_placements.get(light_id)

    def placement_id(self, light_id: str | None) -> str | None:
        """The id of a light's present placement."""
        now = self.placement(light_id) if light_id is not None else None
        return now.id if now is not None else None

    def add_light(self, light: Light, placement: Placement) -> Light:
        """Add a light with its first placement, after checking that both can be."""
        check_placement(placement, light)
        source = self.by_id.get(light.source_light_id)
        if light.source_light_id and source is None:
            raise NotInLibrary("{light}: its source is no light of this set-up: add the source first", light=light.name)
        if source is not None and source.source_light_id:
            raise UsageError("{source} is a reflector itself: name the light whose flash it throws back", source=source.name)
        self.library.add_light(light)
        self.library.add_placement(placement)
        return light

    def remove(self, light: Light) -> None:
        """Take a light out of the set; its readings are kept.  UsageError while a reflector of the set takes its light from it."""
        fed = next((one.name for one in self.lights() if one.source_light_id == light.id), None)
        if fed is not None:
            raise UsageError("{light} feeds the reflector {other}: take that out first", light=light.name, other=fed)
        self.library.revise_light(light._replace(removed=True))

    def bring_back(self, name: str) -> Light:
        """Put a light that was taken out into the set again, with its readings.  UsageError where there is none."""
        gone = [one for one in self.library.lights(self.setup.id, include_removed=True) if one.removed]
        light: Light | None = next((one for one in reversed(gone) if one.name.casefold() == name.casefold()), None)
        if light is None:
            raise UsageError("no light '{light}' was taken out of this set-up: {do}", light=name[:30], do=Do("list_lights"))
        if light.source_light_id and not any(one.id == light.source_light_id for one in self.lights()):
            raise NotInLibrary("{light}: its source is no light of this set-up: add the source first", light=light.name)
        self.library.revise_light(light._replace(removed=False))
        return light

    def move(self, light: Light, *, as_told: bool = False, as_metered: bool = False, **changes: Any) -> Placement:
        """Move or re-power a light: a new placement, the reading of the old one becomes stale.

        ``as_told`` marks a small change that a match or a target told: what the light's pops lead to expect of it then stands in
        the tables until it is metered.  ``as_metered`` says that it stood so when it was metered (its dial was misread, its
        distance mistyped): its readings stay, as records that say so and supersede the old ones.  So they do where nothing is
        said but where it stands, of which nothing was known (``only_tells``).
        """
        wrong = set(changes) - CHANGEABLE_PLACEMENT
        if wrong:
            raise UsageError("a placement has no {wrong}", wrong=', '.join(sorted(wrong)))
        old = self.placement(light.id) or Placement(new_id(), light.id, self.now())
        # The mark belongs to the one change that was told, not to what is moved after it.
        details = {key: value for key, value in changes.pop("details", old.details).items() if key != AS_TOLD}
        if as_told:
            details[AS_TOLD] = True
        placement: Placement = old._replace(id=new_id(), created_at_s=self.now(), details=details, **changes)
        check_placement(placement, light)
        if not (as_metered or only_tells(old, placement)):
            self.library.add_placement(placement)
            return placement
        # It stood so from the beginning: pops of several lights that it fired in count as well.
        placement = placement._replace(created_at_s=old.created_at_s)
        reflectors = {s.light.id for s in self.view().lights if s.light.source_light_id == light.id and s.reading is not None}
        with self.library.together():
            mine = [r for r in self.known.records.effective if r.light_id == light.id and r.placement_id == old.id]
            # What is read of a reflector was read after its source stood so, and ids say what came after what.
            fed = [r for r in self.known.records.effective if r.light_id in reflectors]
            self.library.add_placement(placement)
            for reading in mine:
                self.restate(reading, placement_id=placement.id)
            for reading in fed:
                self.restate(reading)
        return placement

    def restate(self, reading: Reading, **changes: Any) -> Reading:
        """Say something else about a stored reading: a new record that supersedes it."""
        new: Reading = self.library.restate_reading(reading.id, **changes)
        return new

    def placements_fired(self) -> dict[str, Placement]:
        """How the lights stand, by light's id, when the next one fires."""
        return dict(self.known.records.current_placements)

    # -- tables -----------------------------------------------------------------------------------------------

    def view(self) -> JudgedSet:
        """Return the set as it is now, judged with everything that is known: table, checks, sentences and app all read this."""
        return self.known.judged._replace(waves=self.wave)

    def view_at(self, at_s: float) -> JudgedSet:
        """Return the set as it was at an earlier moment (seconds since 1970), judged by its own readings.

        Raises NotInLibrary when the set-up was not there yet.
        """
        past = setup_at(self.library, self.setup.id, at_s)
        lights, stood, readings = list(past.lights), past.current_placements, past.effective
        calibrations = {one: self.library.calibration(one) for one in {r.calibration_id for r in readings}}
        falloffs = self.known.judged.falloffs
        return judge_set(past.setup, lights, stood, readings, calibrations, self.settings, falloffs=falloffs)

    def ratios(self) -> RatioTable:
        """Return the ratio table of the set as it is now."""
        return ratio_table(self.view())

    def checks(self) -> list[Finding]:
        """Return what is not as it should be in the set, worst first."""
        return self.looked_at()[0]

    def looked_at(self) -> tuple[list[Finding], list[Finding]]:
        """Return what the checks found, worst first, and what they looked at and found well, each with its number."""
        return looked_at(self.view())

    def wave(self, reading_id: str, pop_index: int | None = None) -> tuple[Any, Any] | None:
        """Return (times in s from the trigger, light in lx) of a reading's kept waveform; None when there is none.

        ``pop_index`` counts the pops of a reading of several from 0; without it the last one is returned.
        """
        key = (reading_id, pop_index)
        if key not in self._waves:
            self._waves[key] = self._wave(reading_id, pop_index)
        return self._waves[key]

    def _wave(self, reading_id: str, pop_index: int | None) -> tuple[Any, Any] | None:
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
