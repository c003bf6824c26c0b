"""What is known of one set-up, loaded and judged once, and again only when the library has changed.

All that shows a set asks here, so that all show the same; and a pop costs its own record, not the library's.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from meterlink.judging.case import Falloff
from meterlink.judging.history import Heads
from meterlink.judging.judge import Judge, judge_set
from meterlink.judging.judged_set import JudgedSet
from meterlink.library.store import Library
from meterlink.library.whole_sets import sets_elsewhere, whole_set
from meterlink.records import Calibration, Reading, Settings, WaveBlock
from meterlink.records.whole_set import WholeSet


class KnownSet:
    """One set-up's records, those of its heads in other sets, and what they are worth together."""

    def __init__(self, library: Library, setup_id: str) -> None:
        self.library = library
        self.setup_id = setup_id
        self._state = (-1, -1, -1)
        self._at_one_moment = False
        self._records: WholeSet | None = None
        self._elsewhere: list[WholeSet] | None = None
        self._others: Heads | None = None
        self._judged: JudgedSet | None = None
        self._settings = Settings()
        self._falloffs: dict[str, Falloff] = {}
        self._damaged: tuple[str, ...] = ()
        self._calibrations: dict[str, Calibration] = {}
        self.judge = Judge(self._settings, self._calibrations)

    # -- records ------------------------------------------------------------------------------------------------

    @property
    def records(self) -> WholeSet:
        """The set-up whole, as the library has it now.  Raises NotInLibrary."""
        self._forget_when_changed()
        if self._records is None:
            self._settings = self.library.settings()
            self._records = whole_set(self.library, self.setup_id)
            self._falloffs = self._measured_falloffs(self._records)
        return self._records

    @property
    def settings(self) -> Settings:
        """The library's limits and assumptions as they are now."""
        assert self.records
        return self._settings

    @property
    def elsewhere(self) -> list[WholeSet]:
        """The newest other sets that this set's heads stood in, oldest first."""
        lights = self.records.lights
        if self._elsewhere is None:
            self._elsewhere = sets_elsewhere(self.library, self.setup_id, {light.fixture for light in lights})
        return self._elsewhere

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """Within the block other programs' changes are not looked for: all of it sees the same library."""
        self.look_again()
        before, self._at_one_moment = self._at_one_moment, True
        try:
            yield
        finally:
            self._at_one_moment = before

    def add_reading(self, reading: Reading, waveform: WaveBlock | None = None) -> None:
        """Store an accepted reading; when this returns it is on the disk, and known here without reading the set anew."""
        records = self.records
        before = self._state
        self.library.add_reading(reading, waveform=waveform)
        self._records, self._judged = records.with_reading(reading), None
        # What others wrote since is not in these records: that number stays as it was.
        self._state = (self.library.db.generation, self.library.db.undone, before[2])

    def look_again(self) -> None:
        """Look for what other programs have written, also at one moment: within a transaction nothing can change any more."""
        before, self._at_one_moment = self._at_one_moment, False
        self._forget_when_changed()
        self._at_one_moment = before

    def _forget_when_changed(self) -> None:
        db = self.library.db
        state = db.generation, db.undone, self._state[2] if self._at_one_moment else db.others_writes()
        if state != self._state:
            self._state = state
            self._records = self._elsewhere = self._others = self._judged = None

    # -- what they are worth ------------------------------------------------------------------------------------

    @property
    def judged(self) -> JudgedSet:
        """The set judged with everything that is known of it."""
        records = self.records
        if self._judged is None:
            self._learn(records)
            heads = self._heads()
            doubted = self.judge.doubted(records, heads)
            self._judged = judge_set(
                records.setup,
                records.lights,
                records.current_placements,
                records.effective,
                {one: self._calibrations[one] for one in {r.calibration_id for r in records.effective}},
                self._settings,
                falloffs=self._falloffs,
                history=self.judge.history(records, doubted),
                elsewhere=heads,
                earlier=records.earlier,
                doubted=doubted,
                judge=self.judge,
            )._replace(damaged_falloffs=self._damaged)
        return self._judged

    def _learn(self, records: WholeSet) -> None:
        """Fetch calibrations that are not at hand; what was judged by other settings or falloffs counts no more."""
        sets = [records, *(self.elsewhere if self._others is None else ())]
        for one in sorted({r.calibration_id for known in sets for r in known.readings} - self._calibrations.keys()):
            self._calibrations[one] = self.library.calibration(one)
        if self.judge.settings != self._settings or self.judge.falloffs != self._falloffs:
            self.judge = Judge(self._settings, self._calibrations, self._falloffs)
            self._others = None

    def _measured_falloffs(self, records: WholeSet) -> dict[str, Falloff]:
        """Measured falloff of the set's modifiers, from this and other sets."""
        modifiers = {one.modifier.casefold(): one.modifier for one in records.lights if one.modifier}
        stored, damaged = self.library.falloffs()
        self._damaged = tuple(modifiers[key] for key in damaged if key in modifiers)
        return {modifiers[key]: found for key, found in stored.items() if key in modifiers}

    def _heads(self) -> Heads:
        """What the set's heads gave in other sets."""
        if self._others is None:
            self._others = self.judge.heads(self.elsewhere, {light.fixture for light in self.records.lights})
        return self._others
