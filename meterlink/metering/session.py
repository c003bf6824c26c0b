"""One metering session: measurements in, readings judged and logged, tables out.

The command line and the app both drive this object; it has no I/O but the library.  A sensor's measurements are handed
to ``take`` and an ``Outcome`` comes back: logged (it is on disk by then), asked for again, or ignored, always with a sentence
for the photographer and what is waited for next.  Lights and tables are those of ``OpenedSet``.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from math import isfinite, log, log2, sqrt
from typing import Any

from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.expected import swap_warning
from meterlink.judging.verdict import Judged, Verdict, Why
from meterlink.library.store import Library
from meterlink.metering.any_order_walk import AnyOrderWalk
from meterlink.metering.nearness import about_distance, typed_against_measured
from meterlink.metering.one_press import NEVER_REFUSED, Follower, LastFlash, Refused, follower
from meterlink.metering.outcome import Outcome, OutcomeCode, OutcomeKind, refusal, refusal_code
from meterlink.metering.walk import Request
from meterlink.records import Evidence, Kind, Light, Measurement, Purpose, Reading, Trouble
from meterlink.records.placement_rules import check_held_off
from meterlink.words.actions import Do
from meterlink.words.sentences import logged
from meterlink.words.told import NOTHING, Told, all_of, told

__all__ = ["Outcome", "OutcomeCode", "OutcomeKind", "Session"]

SAME = told("same_light")
NOISE_SHARE = 1 / 2
"""A pop that is small for its range counts while its noise is at most so much of a good reading's limit: a tenth of a stop."""


class Session(AnyOrderWalk):
    """A set-up, a walk through its lights, and what its measurements become."""

    def __init__(self, library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> None:
        """Open a session on the set-up named, else on the current one.

        Raises NotInLibrary when there is none.
        """
        super().__init__(library, setup, now=now)
        self.disagreement = ""
        """What the last distance that was said has against what the range finder measured; empty when they agree."""
        self.restored = NOTHING
        """The distance that holds again after an undo that took only a distance back."""
        self._last_flash: LastFlash | None = None
        self._refused = NEVER_REFUSED
        self._retaken = ""
        """The light whose reading is to be retaken: it is waited for a second time, and no third."""

    # -- measurements -----------------------------------------------------------------------------------------

    def take(self, m: Measurement) -> Outcome:
        """Give one measurement to the light that is waited for.  When this returns ``logged``, it is on disk."""
        with self.known.at_one_moment():
            return self._take(m)

    def _take(self, m: Measurement) -> Outcome:
        after = self._right_after_another(m)
        if after is not None:
            return after
        request = self.walk.waiting
        if request is None or not self.walk.listening:
            said = told("not_listening")
            return Outcome(OutcomeKind.IGNORED, said, waiting=request, code=OutcomeCode.NOT_LISTENING)
        light = self._light_of(request)
        if m.kind != request.kind:
            said = told("other_kind", light=self._name(light)) if m.kind == Kind.FLASH else NOTHING
            return Outcome(OutcomeKind.IGNORED, said, light, waiting=request, code=OutcomeCode.OTHER_KIND)
        m = self._counted(m, request)
        code = refusal_code(m)
        if code is not None:
            # Nobody knows whose it was: naming the light that comes next would send her to the wrong one.
            return self._refusal(code, m, request, light) if not self.several() else self._refusal(code, m, request, SAME)
        outcome = self._take_any(order, m) if (order := self.order()) is not None else None
        outcome = outcome or self._take_announced(m, request, light)
        outcome = outcome._replace(cautions=(*outcome.cautions, *about_distance(outcome.reading, m, self.settings)))
        return self._remembered(m, outcome, request)

    def _take_announced(self, m: Measurement, request: Request, light: Light | None) -> Outcome:
        with self._stored_with_walk():
            reading = self._log(m, request)
            finished = len(reading.pops) >= request.pops or request.kind == Kind.STEADY
            if finished:
                self.walk.serve()
        outcome = self._outcome(request, reading, light, finished)
        return self._waited_for_again(outcome, request) if finished else outcome

    def _waited_for_again(self, outcome: Outcome, request: Request) -> Outcome:
        """A pop that is to be retaken keeps its light waiting, once: who hears *retake* fires the same light again.

        A second one that is no better is not cured by firing: the walk goes on, and the light is among those that lack.
        """
        light, judged = outcome.light, outcome.state.judged if outcome.state is not None else None
        alone = request.purpose == Purpose.ALONE and request.kind == Kind.FLASH
        cured = judged is not None and _cured_by_a_pop(judged, outcome.reading)
        if light is None or not alone or not cured or self._retaken == light.id:
            self._retaken = ""
            return outcome
        self._retaken = light.id
        self.walk.back_to(light.id)
        self._remember_walk()
        return outcome._replace(waiting=self.walk.waiting)

    def _cured(self, light: Light | None) -> None:
        """What was said of a pop made it count: its light is waited for no longer."""
        if light is None or light.id != self._retaken:
            return
        state, waiting = self.view().state(light.id), self.walk.waiting
        if state is not None and state.judged is not None and state.judged.verdict != Verdict.RETAKE:
            self._retaken = ""
            if waiting is not None and waiting.light_id == light.id:
                self.walk.advance()
                self._remember_walk()

    def _remembered(self, m: Measurement, outcome: Outcome, request: Request) -> Outcome:
        """Remember the flash that was logged, and say what was left out as its pre-flash."""
        reading = outcome.reading
        if m.kind == Kind.FLASH and reading is not None:
            self._last_flash = LastFlash(m.at_s, m.at_s, m.exposure_lxs or 0.0, reading.id, request, self._refused)
        self._refused = NEVER_REFUSED
        left_out = m.evidence
        if reading is None or left_out is None or left_out.apart_s is None:
            return outcome
        numbers = {**outcome.numbers, "preflash_s": left_out.apart_s, "preflash_stops": left_out.apart_stops}
        return outcome._replace(said=all_of(outcome.said, told("pre_flash", before_ms=left_out.apart_s * 1e3)), numbers=numbers)

    # -- two flashes of one press -----------------------------------------------------------------------------

    def _right_after_another(self, m: Measurement) -> Outcome | None:
        """What becomes of a flash so soon after a logged one that both belong to one press; None: they do not.

        Where it is not clear which of them is the light, or the later one cannot be read, the light is asked for again.
        """
        last = self._last_flash
        if m.kind != Kind.FLASH or last is None or not 0 <= m.at_s - last.at_s < self.settings.min_gap_s:
            return None
        gap_s = m.at_s - last.at_s
        self._last_flash = last._replace(seen_s=m.at_s)
        earlier = next((r for r in self.known.records.effective if r.id == last.reading_id), None)
        code = refusal_code(self._counted(m, last.request))
        stops = log2(m.exposure_lxs / last.exposure_lxs) if m.exposure_lxs and last.exposure_lxs > 0.0 else 0.0
        what = follower(m.at_s - last.seen_s, stops if code is None else None)
        if earlier is None or code == OutcomeCode.TOO_DIM or what == Follower.STRAY:
            said = told("stray", gap_s=gap_s)
            return Outcome(
                OutcomeKind.IGNORED, said, waiting=self.walk.waiting, code=OutcomeCode.STRAY, numbers={"gap_s": gap_s}
            )
        both = m if code is not None else m._replace(evidence=Evidence(apart_s=gap_s, apart_stops=stops))
        self._refused = last.refused
        if what == Follower.LIGHT:
            return self._instead(earlier, both, last.request)
        self._take_back(earlier)
        outcome = self._refusal(code or OutcomeCode.WHICH_FLASH, both, last.request, self._light_of(last.request))
        return outcome._replace(waiting=self.walk.waiting, numbers={**outcome.numbers, "taken_back": True})

    def _instead(self, earlier: Reading, m: Measurement, request: Request) -> Outcome:
        """Log a flash in place of the weaker one that came right before it; the walk stays where it is."""
        m = self._counted(m, request)
        if self._in_any_order(earlier):
            # whose it is may be another matter now
            self._take_back(earlier)
            waiting = self.walk.waiting or request
            outcome = self._take_any(order, m) if (order := self.order()) is not None else None
            return self._remembered(m, outcome or self._take_announced(m, waiting, self._light_of(waiting)), waiting)
        with self._stored_with_walk():
            newest = self.walk.last_id == earlier.id
            last_id = self.walk.last_id
            reading = self._log(m, request, instead_of=earlier)
            self.walk.last_id = reading.id if newest else last_id
        finished = len(reading.pops) >= request.pops
        return self._remembered(m, self._outcome(request, reading, self._light_of(request), finished), request)

    def _in_any_order(self, reading: Reading) -> bool:
        return self.walk.any_order and any(one.reading_id == reading.id for one in self.walk.heard[-1:])

    def _take_back(self, reading: Reading) -> None:
        """Void the last reading and wait for its light again."""
        self._last_flash = None
        if self._in_any_order(reading):
            self._undo_any()
            return
        with self._stored_with_walk():
            self.library.void_reading(reading.id, "taken back")
            self.walk.back_to(reading.light_id)
            self.walk.last_id = self._in_progress = ""

    def _counted(self, m: Measurement, request: Request) -> Measurement:
        """What counts although it was doubted: several heads where all are wanted, and a peak that is bounded well."""
        both = m.trouble in (Trouble.TWO_FLASHES, Trouble.WHICH_FLASH) and m.exposure_lxs is not None
        if both and request.purpose == Purpose.TOGETHER:
            m = m._replace(incomplete=False, trouble=None, evidence=None)
        return self._small_but_sure(self._within_bounds(m))

    def _refusal(self, code: OutcomeCode, m: Measurement, request: Request, whose: Light | Told | None) -> Outcome:
        """Say the real reason and, the second time in a row, what else to do; ``whose``: a light, all (None) or ``SAME``."""
        times = self._refused.times + 1 if self._refused[:2] == (request, code) else 1
        self._refused = Refused(request, code, times)
        light = whose if isinstance(whose, Light) else None
        said = refusal(code, whose if isinstance(whose, Told) else self._name(light), m.note, times)
        numbers: dict[str, Any] = {"times": times, "range": m.range_index}
        if m.evidence is not None and m.evidence.apart_s is not None:
            numbers.update(apart_s=m.evidence.apart_s, apart_stops=m.evidence.apart_stops)
        return Outcome(OutcomeKind.AGAIN, said, light, waiting=request, code=code, numbers=numbers)

    def _small_but_sure(self, m: Measurement) -> Measurement:
        """A pop that is small for its range counts when its noise takes a small part of a good reading's limit.

        The sensor has gone to a finer range all the same, for the next one.
        """
        finer = m.evidence is not None and m.evidence.next_range is not None
        if not (m.too_dim and finer and not m.clipped and not m.incomplete and m.exposure_lxs):
            return m
        u95_stops = 2.0 * m.u_rel / log(2.0)
        sure = 0.0 < u95_stops <= NOISE_SHARE * self.settings.good_u95_stops
        return m._replace(too_dim=False, note="") if sure else m

    def _within_bounds(self, m: Measurement) -> Measurement:
        """A clipped pop counts when what was clipped can be bounded within the limit of a good reading."""
        if not m.clipped or m.incomplete or m.exposure_bounds_lxs is None:
            return m
        low, high = m.exposure_bounds_lxs
        if not (0.0 < low <= high and isfinite(high)):
            return m
        half_stops = log2(high / low) / 2.0
        if half_stops > self.settings.good_u95_stops:
            return m
        middle = sqrt(low * high)
        # A flat chance between the bounds; nothing can be said of peak and durations.
        u_rel = (high - low) / (2.0 * sqrt(3.0) * middle)
        return m._replace(clipped=False, exposure_lxs=middle, u_rel=u_rel, peak_lx=None, t05_s=None, t01_s=None, note="")

    def _outcome(self, request: Request, reading: Reading, light: Light | None, finished: bool) -> Outcome:
        view = self.view()
        state = view.state(light.id) if light else None
        alone = light is not None and request.purpose == Purpose.ALONE
        warning = swap_warning(view, light.id) if light is not None and alone else NOTHING
        if warning and self._goes_on():
            warning = warning._replace(values={**warning.values, "do": Do("undo_in_walk")})
        said = logged(view, reading, state, request.purpose)
        if not finished:
            said = all_of(said, told("pop_of", pop=len(reading.pops), pops=request.pops))
        return Outcome(
            OutcomeKind.LOGGED, said, light, reading, state, (warning,) if warning else (), self.walk.waiting,
            numbers={"pop": len(reading.pops), "pops": request.pops},
        )  # fmt: skip

    def _goes_on(self) -> bool:
        """Whether the walk waits for another pop, so that what is typed goes to it."""
        return self.walk.waiting is not None

    # -- what is said afterwards ------------------------------------------------------------------------------

    def held_for(self) -> str | None:
        """The light that a held-off distance said now belongs to: the last pop's, else the one that is waited for."""
        last = self._last_of_walk()
        if last is not None:
            return last.light_id
        return self.walk.waiting.light_id if self.walk.waiting is not None else None

    def _last_of_walk(self) -> Reading | None:
        last_id = self.walk.last_id
        return next((r for r in self.known.records.effective if r.id == last_id), None) if last_id else None

    def held(self, held_off_m: float | None, light_id: str | None = None) -> Light | None:
        """Say how far the dome was, or will be, held off; None takes it back.  No new pop: a new record supersedes.

        Without ``light_id`` it belongs to the last pop, or to the one that is waited for when none came yet.  Returns the light
        that it was taken for (None: all together).  Raises GeometryError for a distance that cannot be, UsageError when there
        is neither a reading nor a request that it could belong to.
        """
        last = self._last_of_walk()
        unnamed = light_id is None
        if light_id is None:
            waiting = self.walk.waiting
            if last is None and waiting is None:
                raise UsageError("there is no pop that this distance could belong to: name the light")
            light_id = last.light_id if last is not None else waiting.light_id if waiting is not None else None
        light = next((one for one in self.lights() if one.id == light_id), None)
        check_held_off(held_off_m, self.placement(light.id) if light else None, self._name(light))
        self.disagreement = ""
        said = self._said_of_readings(held_off_m, light_id, last)
        if not said or (light_id is not None and (not unnamed or self._runs_on(light_id))):
            said = self._said_of_requests(held_off_m, light_id) or said
        if not said:
            raise UsageError("{light} has no reading and is not waited for: meter it first", light=self._name(light))
        self._cured(light)
        return light

    def _said_of_readings(self, held_off_m: float | None, light_id: str | None, last: Reading | None) -> bool:
        """Restate what stands of a light; of the whole set only the last pop."""
        mine = [r for r in self.known.records.effective if r.light_id == light_id]
        if light_id is None:
            mine = [r for r in mine if last is not None and r.id == last.id]
        current = self.placement(light_id) if light_id is not None else None
        for r in mine:
            if current is not None and r.placement_id != current.id:
                continue
            if r.held_off_m == held_off_m:
                continue
            if held_off_m is not None and r.u_held_off_m is not None:
                self.disagreement = typed_against_measured(held_off_m, r.held_off_m, r.u_held_off_m, self.settings)
            new = self.library.restate_reading(r.id, held_off_m=held_off_m, u_held_off_m=None)
            self.walk.restated(r.id, new.id)
            if self._in_progress == r.id:
                self._in_progress = new.id
        self._remember_walk()
        return any(current is None or r.placement_id == current.id for r in mine)

    def _runs_on(self, light_id: str) -> bool:
        """Whether the waiting request belongs to a reading of this light that is under way."""
        waiting = self.walk.waiting
        if waiting is None or not self.walk.listening or waiting.light_id != light_id:
            return False
        return waiting.purpose == Purpose.WITHOUT or bool(self._in_progress and self._in_progress == self.walk.last_id)

    def _said_of_requests(self, held_off_m: float | None, light_id: str | None) -> bool:
        found = False
        for i, request in enumerate(self.walk.requests):
            if request.light_id == light_id and i not in self.walk.served:
                self.walk.requests[i] = request._replace(held_off_m=held_off_m)
                found = True
        self._remember_walk()
        return found

    def undo(self) -> Reading:
        """Take back what was done last: a distance that was said after a pop, else the last pop, whose light then waits again.

        Returns the record that counts no more; ``restored`` says what holds again where only a distance was taken back.
        """
        self._retaken, self.restored = "", NOTHING
        said = [] if self.walk.stranger else self._said_last()
        if said:
            return self._distance_back(said)
        if self.walk.any_order and (taken := self._undo_any()) is not None:
            return taken
        last = self.library.last_reading(self.setup.id)
        if last is None:
            raise NotInLibrary("{setup}: there is no reading to take back", setup=self.setup.name)
        with self._stored_with_walk():
            self.library.void_reading(last.id, "taken back")
            self.walk.back_to(last.light_id)
            self.walk.last_id = self._in_progress = ""
        return last

    def _said_last(self) -> list[tuple[Reading, Reading]]:
        """The records that the distance said last made, each with the one that it superseded; none where a pop came after it."""
        everything = {r.id: r for r in self.library.all_readings(self.setup.id)}
        void, found = self.library.voids(self.setup.id), list[tuple[Reading, Reading]]()
        for new in reversed([r for r in everything.values() if r.id not in void]):
            old, first = everything.get(new.supersedes_id or ""), found[0][0] if found else new
            # A light has a reading at each point where it was metered, and they were said together.
            if old is None or not _restates(new, old) or (new.light_id, new.held_off_m) != (first.light_id, first.held_off_m):
                break
            found.append((new, old))
        return found

    def _distance_back(self, said: list[tuple[Reading, Reading]]) -> Reading:
        last, before = said[0]
        with self._stored_with_walk():
            for new, old in said:
                self.library.void_reading(new.id, "distance taken back")
                self.walk.restated(new.id, old.id)
                self._in_progress = old.id if self._in_progress == new.id else self._in_progress
            for i, request in enumerate(self.walk.requests):
                if i not in self.walk.served and (request.light_id, request.held_off_m) == (last.light_id, last.held_off_m):
                    self.walk.requests[i] = request._replace(held_off_m=before.held_off_m)
        light = next((one for one in self.lights() if one.id == last.light_id), None)
        distances = last.held_off_m, before.held_off_m
        was, now = (told("not_held_off") if one is None else told("held_off", length=one) for one in distances)
        self.restored = told("distance_back", light=self._name(light), was=was, now=now)
        return last

    def reassign(self, name: str) -> tuple[Reading, Light | None]:
        """Give the last reading to another light; the light that it was logged for is waited for again.

        Returns the new reading and the light that lost it.  In any order the other pops may change their lights with it.
        UsageError for a pop that can be no reading of that light: one alone for a reflector, which takes two.
        """
        last, light = self._last_pop(), self.light(name)
        fits = last is None or can_be_of(last, light)
        if light.source_light_id and not fits:
            do = Do("meter", light=light.name)
            raise UsageError("{light} is a reflector, which takes two pops: {do}", light=light.name, do=do)
        if self.walk.any_order and (self.walk.stranger or self.walk.heard):
            return self._said_whose(light)
        if last is None:
            raise NotInLibrary("{setup}: there is no reading to give to another light", setup=self.setup.name)
        if not fits:
            raise UsageError("the last pop was not fired by one light alone, take it back: {do}", do=Do("undo"))
        if last.light_id == light.id:
            raise UsageError("the last reading is {light}'s already", light=light.name)
        placement = self.placement(light.id)
        with self._stored_with_walk():
            stands = placement.id if placement else None
            new = self.library.restate_reading(last.id, light_id=light.id, placement_id=stands, point=light.point)
            self.walk.back_to(last.light_id)
            self.walk.drop(light.id)
            self.walk.last_id, self._in_progress = new.id, ""
        return new, next((one for one in self.lights() if one.id == last.light_id), None)

    def _last_pop(self) -> Reading | None:
        """The reading whose pop came last: what was said of an earlier one since made a newer record, and no newer pop."""
        every = {r.id: r for r in self.library.all_readings(self.setup.id)}

        def logged_first(r: Reading) -> str:
            old = every.get(r.supersedes_id or "")
            return logged_first(old) if old is not None and old.id < r.id and old.taken_at_s == r.taken_at_s else r.id

        return max(self.known.records.effective, key=logged_first, default=None)


def can_be_of(reading: Reading, light: Light) -> bool:
    """Whether a reading can be this light's: a reflector's is one of two pops of its source, a lamp's is of a pop alone."""
    return reading.purpose in ((Purpose.WITH, Purpose.WITHOUT) if light.source_light_id else (Purpose.ALONE,))


def _cured_by_a_pop(judged: Judged, reading: Reading | None) -> bool:
    """Whether a retake may be better for firing once more.

    Not where a distance was not said, the dial was said wrong, or another light's pop is as wrong; nor where the dome is farther
    off than can be corrected, and said to be: it is read the same there, until it is brought nearer and that is said.  Where a
    range finder says it, a pop is all.
    """
    measured = reading is not None and reading.u_held_off_m is not None
    lacks_words = (judged.why == Why.TOO_WIDE and not measured) or judged.against.code in ("against_past_like", "against_swap")
    return judged.verdict == Verdict.RETAKE and judged.why != Why.NO_FIGURE and not lacks_words


def _restates(new: Reading, old: Reading) -> bool:
    """Whether a record says nothing new but how far the dome was held off."""
    same = old._replace(
        id=new.id, supersedes_id=new.supersedes_id, held_off_m=new.held_off_m, u_held_off_m=new.u_held_off_m
    )  # fmt: skip
    return same == new and old.held_off_m != new.held_off_m
