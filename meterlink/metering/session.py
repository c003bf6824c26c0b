"""One metering session: measurements in, readings judged and logged, tables out.

The command line and the app both drive this object; it has no I/O but the library.  A sensor's measurements are handed
to ``take`` and an ``Outcome`` comes back: logged (it is on disk by then), asked for again, or ignored, always with a sentence
for the photographer and what is waited for next.  Lights and tables are those of ``OpenedSet``.
"""

from __future__ import annotations

from contextlib import suppress
from math import isfinite, log, log2, sqrt
from typing import Any

from meterlink.errors import MeterlinkError
from meterlink.judging.expected import swap_warning, unlike_before
from meterlink.judging.judge import judge_set
from meterlink.judging.verdict import Judged, Verdict, Why
from meterlink.metering.afterwards import Amended
from meterlink.metering.nearness import about_distance
from meterlink.metering.one_press import NEVER_REFUSED, Follower, LastFlash, Refused, follower
from meterlink.metering.outcome import Code, Outcome, OutcomeCode, OutcomeKind, refusal, refusal_code
from meterlink.metering.walk import Request
from meterlink.records import Evidence, Kind, Measurement, Purpose, Reading, Trouble
from meterlink.words.actions import Do
from meterlink.words.sentences import logged
from meterlink.words.told import NOTHING, all_of, told

__all__ = ["Outcome", "OutcomeCode", "OutcomeKind", "Session"]

NOISE_SHARE = sqrt(1 / 2)
"""A pop that is small for its range counts while its noise is at most so much of a good reading's limit, 0.14 stop: half of the
variance that such a reading may have.  Another pop would not be worth her time."""


class Session(Amended):
    """A set-up, a walk through its lights, and what its measurements become."""

    _last_flash: LastFlash | None = None
    _refused = NEVER_REFUSED

    # -- measurements -----------------------------------------------------------------------------------------

    def take(self, m: Measurement) -> Outcome:
        """Give one measurement to the light that is waited for.  When this returns ``logged``, it is on disk."""
        with self.known.at_one_moment():
            return self._take(m)

    def rehearse(self) -> None:
        """Judge a light as it stands and say so, to nobody: what does both is then in the caches for the pop that is coming."""
        with suppress(MeterlinkError):  # the pop itself will tell
            view = self.view()
            state = next((one for one in view.lights if one.reading is not None), None)
            if state is not None and state.reading is not None and state.placement is not None:
                light, reading = state.light, state.reading
                alone = judge_set(view.setup, [light], {light.id: state.placement}, [reading], view.calibrations, view.settings)
                str(logged(alone, reading, alone.state(light.id), reading.purpose))

    def _take(self, m: Measurement) -> Outcome:
        after = self._right_after_another(m)
        if after is not None:
            return after
        request = self.walk.waiting
        if request is None or not self.walk.listening:
            said = told("not_listening")
            return Outcome(OutcomeKind.IGNORED, said, waiting=request, code=OutcomeCode.NOT_LISTENING)
        if m.kind != request.kind:
            said = told("other_kind", light=self._name(request.light_id)) if m.kind == Kind.FLASH else NOTHING
            light = self.by_id.get(request.light_id)
            return Outcome(OutcomeKind.IGNORED, said, light, waiting=request, code=OutcomeCode.OTHER_KIND)
        m = self._counted(m, request)
        code = refusal_code(m)
        if code is not None:
            return self._refusal(code, m, request, unsure=self.several())
        before, heard = self.view(), {one.reading_id for one in self.walk.heard}
        outcome = self._take_any(order, m) if (order := self.order()) is not None else None
        outcome = outcome or self._take_announced(m, request)
        state = before.state(outcome.light.id) if outcome.light is not None and request.purpose == Purpose.ALONE else None
        whole = outcome.numbers.get("pop") == request.pops and not outcome.cautions
        if whole and state is not None and state.reading is not None and state.reading.id not in heard:
            unlike = unlike_before(state, outcome.state)
            outcome = outcome._replace(cautions=(unlike,)) if unlike else outcome
        outcome = outcome._replace(cautions=(*outcome.cautions, *about_distance(outcome.reading, m, self.settings)))
        return self._remembered(m, outcome, request)

    def _take_announced(self, m: Measurement, request: Request) -> Outcome:
        with self._stored_with_walk():
            reading = self._log(m, request)
            more_pops = 0 < len(reading.pops) < request.pops
            if not more_pops:
                self.walk.serve()
        outcome = self._outcome(request, reading)
        return outcome if more_pops else self._waited_for_again(outcome, request)

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
            return Outcome(OutcomeKind.IGNORED, said, waiting=self.walk.waiting, code=OutcomeCode.STRAY, numbers={"gap_s": gap_s})
        both = m if code is not None else m._replace(evidence=Evidence(apart_s=gap_s, apart_stops=stops))
        self._refused = last.refused
        if what == Follower.LIGHT:
            return self._instead(earlier, both, last.request)
        self._take_back(earlier)
        outcome = self._refusal(code or Trouble.WHICH_FLASH, both, last.request)
        return outcome._replace(waiting=self.walk.waiting, numbers={**outcome.numbers, "taken_back": True})

    def _instead(self, earlier: Reading, m: Measurement, request: Request) -> Outcome:
        """Log a flash in place of the weaker one that came right before it; the walk stays where it is."""
        m = self._counted(m, request)
        if self._in_any_order(earlier):
            # whose it is may be another matter now
            self._take_back(earlier)
            waiting = self.walk.waiting or request
            outcome = self._take_any(order, m) if (order := self.order()) is not None else None
            return self._remembered(m, outcome or self._take_announced(m, waiting), waiting)
        with self._stored_with_walk():
            newest = self.walk.last_id == earlier.id
            last_id = self.walk.last_id
            reading = self._log(m, request, instead_of=earlier)
            self.walk.last_id = reading.id if newest else last_id
        return self._remembered(m, self._outcome(request, reading), request)

    def _in_any_order(self, reading: Reading) -> bool:
        return self.walk.any_order and any(one.reading_id == reading.id for one in self.walk.heard[-1:])

    def _take_back(self, reading: Reading) -> None:
        """Void the last reading and wait for its light again."""
        self._last_flash = None
        if self._in_any_order(reading):
            self._undo_any()
        else:
            self._back_to_before(reading)

    def _counted(self, m: Measurement, request: Request) -> Measurement:
        """What counts although it was doubted: several heads where all are wanted, and a peak that is bounded well."""
        both = m.trouble in (Trouble.TWO_FLASHES, Trouble.WHICH_FLASH) and m.exposure_lxs is not None
        if both and request.purpose == Purpose.TOGETHER:
            m = m._replace(incomplete=False, trouble=None, evidence=None)
        return self._small_but_sure(self._within_bounds(m))

    def _refusal(self, code: Code, m: Measurement, request: Request, *, unsure: bool = False) -> Outcome:
        """Say the real reason and, the second time in a row, what else to do.

        ``unsure``: nobody knows whose it was, and naming the light that comes next would send her to the wrong one.
        """
        times = self._refused.times + 1 if self._refused[:2] == (request, code) else 1
        self._refused = Refused(request, code, times)
        said = refusal(code, told("same_light") if unsure else self._name(request.light_id), m.note, times)
        numbers: dict[str, Any] = {"times": times, "range": m.range_index}
        if m.evidence is not None and m.evidence.apart_s is not None:
            numbers.update(apart_s=m.evidence.apart_s, apart_stops=m.evidence.apart_stops)
        light = None if unsure else self.by_id.get(request.light_id)
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

    def _outcome(self, request: Request, reading: Reading) -> Outcome:
        view, light = self.view(), self.by_id.get(request.light_id)
        state = view.state(light.id) if light else None
        alone = light is not None and request.purpose == Purpose.ALONE
        warning = swap_warning(view, light.id) if light is not None and alone else NOTHING
        if warning and self._goes_on():
            warning = warning._replace(values={**warning.values, "do": Do("undo_in_walk")})
        said = logged(view, reading, state, request.purpose)
        if 0 < len(reading.pops) < request.pops:
            said = all_of(said, told("pop_of", pop=len(reading.pops), pops=request.pops))
        return Outcome(
            OutcomeKind.LOGGED, said, light, reading, state, (warning,) if warning else (), self.walk.waiting,
            numbers={"pop": len(reading.pops), "pops": request.pops},
        )  # fmt: skip

    def _goes_on(self) -> bool:
        """Whether the walk waits for another pop, so that what is typed goes to it."""
        return self.walk.waiting is not None


def _cured_by_a_pop(judged: Judged, reading: Reading | None) -> bool:
    """Whether a retake may be better for firing once more.

    Not where a distance was not said, the dial was said wrong, or another light's pop is as wrong; nor where the dome is farther
    off than can be corrected, and said to be: it is read the same there, until it is brought nearer and that is said.  Where a
    range finder says it, a pop is all.
    """
    measured = reading is not None and reading.u_held_off_m is not None
    lacks_words = (judged.why == Why.TOO_WIDE and not measured) or judged.against.code in ("against_past_like", "against_swap")
    return judged.verdict == Verdict.RETAKE and judged.why != Why.NO_FIGURE and not lacks_words
