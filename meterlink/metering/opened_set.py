"""A set-up of a library, opened: its lights, where they stand, and the tables made of its readings.

Everything is made anew from the library each time, so that command line and app never show what is no longer so.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from meterlink.checks.damaged_notes import damaged_notes
from meterlink.checks.findings import Finding, findings
from meterlink.errors import AnalysisError, CalibrationError, NotInLibrary, UsageError
from meterlink.judging.case import Falloff
from meterlink.judging.contradiction import contradicted, contradictions
from meterlink.judging.expected import sum_surprise_stops, surprise_stops
from meterlink.judging.history import pasts_from
from meterlink.judging.prediction import Past
from meterlink.judging.view import SetView, look
from meterlink.library.fixtures import entries_elsewhere
from meterlink.library.past import setup_at
from meterlink.library.store import Library
from meterlink.records import Light, Placement, Reading, Settings, Setup, WaveBlock, new_id
from meterlink.records.placement_rules import check_placement
from meterlink.sensor.measuring.flash import wave_of
from meterlink.tables.ratios import RatioTable, ratio_table

SURPRISE_STOPS = 0.1
"""Below this nothing can be contradicted: the weighing needs three standard uncertainties, and none is so small."""
CHANGEABLE_PLACEMENT = frozenset(Placement._fields) - {"id", "light_id", "created_at_s"}


class OpenedSet:
    """One set-up of a library."""

    def __init__(self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> None:
        """Open the set-up named, else the current one.

        Raises NotInLibrary when there is none.
        """
        self.library = library
        self.now = now
        self.setup: Setup = library.setup(setup) if setup else library.current_setup()
        self.settings: Settings = library.settings()

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
        stored, _ = self.library.falloffs()
        if not stored:
            return {}
        modifiers = self._modifiers()
        return {modifiers[k]: v for k, v in stored.items() if k in modifiers}

    def _modifiers(self) -> dict[str, str]:
        return {light.modifier.casefold(): light.modifier for light in self.lights() if light.modifier}

    def ratios(self) -> RatioTable:
        """Return the ratio table of the set as it is now; a reading that the others contradict is a retake in it."""
        void = self.library.voids(self.setup.id)
        view = self.view()
        past = [r for r in self.library.all_readings(self.setup.id) if r.id not in void]
        # The weighing costs more than the table: only when something surprises.
        if self._surprises(view, past):
            view = view._replace(history=self._own_history(view, past))
            view = contradicted(view, contradictions(view, self._superseded(view, past)))
        return ratio_table(view)

    def _surprises(self, view: SetView, past: list[Reading]) -> bool:
        """Say whether a light reads otherwise than it did before (moves and powers taken off), or all together than their sum."""
        together = any(r.purpose == "together" for r in view.readings)
        if not together and len(past) == len(view.readings) <= len(view.lights):
            return False
        if together and sum_surprise_stops(view) > SURPRISE_STOPS:
            return True
        placements = {p.id: p for s in view.lights for p in self.library.placements(s.light.id)}
        return any(abs(surprise_stops(s, past, placements)) > SURPRISE_STOPS for s in view.lights)

    @staticmethod
    def _superseded(view: SetView, past: list[Reading]) -> list[Reading]:
        effective = {r.id for r in view.readings}
        return [r for r in past if r.id not in effective]

    def _own_history(self, view: SetView, past: list[Reading]) -> tuple[Past, ...]:
        """What this set's lights gave in their earlier placements."""
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
        view = self.view()
        past, _ = self.past()
        elsewhere = entries_elsewhere(self.library, self.setup.id, {s.light.fixture for s in view.lights})
        calibrations = {one: self.library.calibration(one) for one in {r.calibration_id for _, _, r in elsewhere}}
        others = pasts_from(elsewhere, self.settings, calibrations=calibrations, falloffs=view.falloffs)
        history = (*others, *self._own_history(view, past))
        return view._replace(history=history), self._superseded(view, past)

    def checks(self, full: tuple[SetView, list[Reading]] | None = None) -> list[Finding]:
        """Return what is not as it should be in the set, worst first; ``full`` is ``full_view()`` where it is at hand."""
        import meterlink.checks.finders  # noqa: F401 - each module registers its finders
        view, earlier = full or self.full_view()
        _, damaged = self.library.falloffs()
        modifiers = self._modifiers()
        names = [modifiers[key] for key in damaged if key in modifiers]
        return [*findings(view._replace(waves=self.wave), earlier=earlier), *damaged_notes(names)]

    def wave(self, reading_id: str, pop_index: int | None = None) -> tuple[Any, Any] | None:
        """Return (times in s from the trigger, light in lx) of a reading's kept waveform; None when there is none.

        ``pop_index`` counts the pops of a reading of several from 0; without it the last one is returned.
        """
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

    def past(self) -> tuple[list[Reading], dict[str, Placement]]:
        """Readings that are not void, superseded ones too, and every placement that they were made of."""
        void = self.library.voids(self.setup.id)
        past = [r for r in self.library.all_readings(self.setup.id) if r.id not in void]
        placements = {p.id: p for light in self.lights() for p in self.library.placements(light.id)}
        return past, placements
